/* missing_test.c - does a missing result go with poor marrow? */
#include "plan/missing.h"
#include "plan/missing_own.h"
#include "stats/propensity.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* Row of each patient's first pull: of the first case met, the lowest site
 * number, then pull number; row[patients], (size_t)-1 where none. */
static void first_rows(const pd_frame *f, size_t *row)
{
	const pd_column *patient = pd_frame_find(f, "patient");
	const pd_column *cases = pd_frame_find(f, "case");
	const pd_column *site = pd_frame_find(f, "site_no");
	const pd_column *no = pd_frame_find(f, "aliquot_no");

	for (size_t k = 0; k < patient->n_levels; k++)
		row[k] = (size_t)-1;
	for (size_t i = 0; i < pd_frame_rows(f); i++) {
		size_t *r = &row[patient->code[i]];

		if (*r == (size_t)-1) {
			*r = i;
			continue;
		}
		if (cases->code[i] != cases->code[*r])
			continue;
		if (site->real[i] < site->real[*r] ||
		    (site->real[i] == site->real[*r] &&
		     no->real[i] < no->real[*r]))
			*r = i;
	}
}

pd_status pd_missing_first(const pd_frame *f, pd_arena *arena,
                           struct pd_first_pulls *out, pd_error *err)
{
	const pd_column *patient = pd_frame_find(f, "patient");
	const pd_column *low = pd_frame_find(f, "low");
	const pd_column *high = pd_frame_find(f, "high");
	size_t n = patient->n_levels;
	size_t *row = PD_NEW(arena, size_t, n + 1);

	out->n = n;
	out->patient = PD_NEW(arena, const char *, n + 1);
	out->log2_tnc = PD_NEW(arena, double, n + 1);
	if (!row || !out->patient || !out->log2_tnc)
		return no_memory(err);
	first_rows(f, row);
	for (size_t k = 0; k < n; k++) {
		size_t r = row[k];
		bool known = r != (size_t)-1 && low->real[r] > 0 &&
		             low->real[r] == high->real[r];

		out->patient[k] = pd_arena_copy(arena, patient->level[k]);
		if (!out->patient[k])
			return no_memory(err);
		out->log2_tnc[k] = known ? log2(low->real[r]) : (double)NAN;
	}
	return PD_OK;
}

/* First pulls with known TNC: rows of the outcome's frame. */
struct pulls {
	size_t n, n_without;
	size_t *row;
	double *x;               /* log2 TNC                                   */
	int32_t *without;
};

/* Patients stand in the same order in both frames; one may lack some. */
static size_t seek(const struct pd_first_pulls *t, const char *patient,
                   size_t from)
{
	for (size_t j = 0; j < t->n; j++) {
		size_t k = (from + j) % t->n;

		if (strcmp(t->patient[k], patient) == 0)
			return k;
	}
	return t->n;
}

static pd_status gather(const pd_frame *f, const int *without,
                        const struct pd_first_pulls *t, pd_arena *arena,
                        struct pulls *p, pd_error *err)
{
	const pd_column *patient = pd_frame_find(f, "patient");
	size_t m = patient->n_levels, at = 0;
	size_t *row = PD_NEW(arena, size_t, m + 1);

	p->row = PD_NEW(arena, size_t, m + 1);
	p->x = PD_NEW(arena, double, m + 1);
	p->without = PD_NEW(arena, int32_t, m + 1);
	if (!row || !p->row || !p->x || !p->without)
		return no_memory(err);
	first_rows(f, row);
	for (size_t k = 0; k < m; k++) {
		size_t j = seek(t, patient->level[k], at), r = row[k];

		if (j == t->n)
			continue;
		at = j + 1;
		if (isnan(t->log2_tnc[j]) || r == (size_t)-1 || without[r] < 0)
			continue;
		p->row[p->n] = r;
		p->x[p->n] = t->log2_tnc[j];
		p->without[p->n] = without[r];
		p->n_without += (size_t)without[r];
		p->n++;
	}
	return PD_OK;
}

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static pd_status thirds(const struct pulls *p, pd_arena *arena,
                        pd_missing_answer *a, pd_missing_outcome *o,
                        pd_error *err)
{
	double *x = PD_NEW(arena, double, p->n + 1);

	if (!x)
		return no_memory(err);
	memcpy(x, p->x, p->n * sizeof *x);
	qsort(x, p->n, sizeof *x, ascending);
	if (p->n < 3 * PD_MISSING_LEAST)
		return PD_OK;
	double low = x[p->n / 3], high = x[2 * p->n / 3];

	if (isnan(a->cut[0])) {
		a->cut[0] = exp2(low);
		a->cut[1] = exp2(high);
	}
	low = log2(a->cut[0]);
	high = log2(a->cut[1]);
	for (size_t i = 0; i < p->n; i++) {
		pd_missing_share *s =
		    &o->third[(p->x[i] >= low) + (p->x[i] >= high)];

		s->n++;
		s->n_without += (size_t)p->without[i];
	}
	return PD_OK;
}

/* Columns of the regression: 1, log2 TNC, then operators and time. */
static size_t columns(const pd_frame *f, const struct pulls *p, int more,
                      double *x, size_t width)
{
	const pd_column *op = pd_frame_find(f, "operator");
	const pd_column *date = pd_frame_find(f, "case_date");
	size_t k = 2;

	for (size_t i = 0; i < p->n; i++) {
		double *row = x + i * width;
		double day = date->real[p->row[i]];

		memset(row, 0, width * sizeof *row);
		row[0] = 1;
		row[1] = p->x[i];
		k = 2;
		if (more < 1)
			continue;
		row[k++] = isnan(day) ? 0 : day - 2000;
		if (more < 2)
			continue;
		for (size_t c = 1; c < op->n_levels; c++)
			row[k++] = op->code[p->row[i]] == (int32_t)c;
	}
	return k;
}

static pd_status fit(const pd_frame *f, const struct pulls *p, int more,
                     double *x, size_t width, pd_logistic **out,
                     pd_error *err)
{
	size_t k = columns(f, p, more, x, width);

	for (size_t i = 0; i < p->n; i++) /* rows drawn together */
		memmove(x + i * k, x + i * width, k * sizeof *x);
	pd_logistic_data data = { .n = p->n, .p = k, .x = x,
		                  .arm = p->without };

	return pd_logistic_fit(&data, out, err);
}

static void take_odds(const pd_logistic *l, double level,
                      pd_missing_outcome *o)
{
	double z = pd_normal_quantile((1 + level) / 2);

	o->odds = exp(l->coef[1]);
	o->odds_low = exp(l->coef[1] - z * l->se[1]);
	o->odds_high = exp(l->coef[1] + z * l->se[1]);
	o->p = 2 * pd_normal_upper(fabs(l->coef[1] / l->se[1]));
}

/* As much held equal as the pulls bear. */
static pd_status test(const pd_frame *f, const struct pulls *p, double level,
                      pd_missing_outcome *o, pd_error *err)
{
	static const char *const held[] = { NULL, "year",
		                            "operator and year" };
	size_t width = 3 + pd_frame_find(f, "operator")->n_levels;
	double *x = malloc((p->n + 1) * width * sizeof *x);
	pd_logistic *l = NULL;
	pd_status st = x ? PD_REFUSED : no_memory(err);

	for (int more = 2; st == PD_REFUSED && more >= 0; more--) {
		pd_error inner = { 0 };

		st = fit(f, p, more, x, width, &l, &inner);
		if (st == PD_OK) {
			o->held = held[more];
			take_odds(l, level, o);
		} else if (st != PD_REFUSED && st != PD_NUMERIC && err) {
			*err = inner;
		}
	}
	if (st == PD_REFUSED || st == PD_NUMERIC) {
		o->not_tested = "results are missing on one side of a value "
		                "only, so that no odds can be given";
		st = PD_OK;
	}
	pd_logistic_free(l);
	free(x);
	return st;
}

pd_status pd_missing_depends(const pd_frame *f, const int *without,
                             const struct pd_first_pulls *tnc, bool own,
                             pd_arena *arena, pd_missing_answer *a,
                             pd_missing_outcome *o, pd_error *err)
{
	struct pulls p = { .n = 0 };

	o->odds = o->odds_low = o->odds_high = o->p = o->p_adjusted = NAN;
	if (own) {
		o->not_tested = "it is itself what richness is told from";
		return PD_OK;
	}
	if (tnc->n == 0) {
		o->not_tested = "no nucleated count is recorded";
		return PD_OK;
	}
	pd_status st = gather(f, without, tnc, arena, &p, err);

	if (st == PD_OK)
		st = thirds(&p, arena, a, o, err);
	if (st != PD_OK)
		return st;
	if (p.n_without < PD_MISSING_LEAST ||
	    p.n - p.n_without < PD_MISSING_LEAST) {
		o->not_tested = p.n_without < PD_MISSING_LEAST
		    ? "fewer than 10 first pulls are without it"
		    : "fewer than 10 first pulls have it";
		return PD_OK;
	}
	return test(f, &p, a->level, o, err);
}
