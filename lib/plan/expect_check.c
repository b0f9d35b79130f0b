/*
 * expect_check.c - the clinic's own cases against what the others foretell.
 * Patients are put into parts; each part is foretold by the model fitted
 * without it, at the sites, pulls and mL that were drawn. Of every patient the
 * first case counts whose every mL has a result of its own, so that patients
 * stand for themselves once and exact limits of the shares hold.
 */
#include "plan/expect_own.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

enum { DRAWS = 1000, SETS = 3, PARTS = 10, ALONE = 30 };

/* The cases of one part, laid out. */
struct part {
	struct pd_expect_work *w;
	size_t number;
	unsigned char *keep;     /* rows of the other parts                    */
	size_t n_cases, *which;
	pd_total_layout *layout;
	size_t n_rows;
	double *x;
	double *beta, *covariance;
	pd_total_law law;
};

/* Cases inside; log(observed / middle) of measured ones and its square. */
struct sums {
	double in_80, in, off, square;
	size_t n;
};

static int in_part(const struct part *p, int32_t patient)
{
	return (size_t)patient % p->w->a->parts == p->number;
}

/* All that was drawn in the case is in these pulls. */
static int is_whole(const struct pd_expect_case *c)
{
	return fabs(c->ml - c->recorded_ml) <= 1e-6 * c->recorded_ml;
}

static void choose_cases(struct part *p)
{
	const struct pd_expect_work *w = p->w;
	int32_t last = -1;

	p->n_cases = 0;
	for (size_t k = 0; k < w->n_cases; k++) {
		const struct pd_expect_case *c = &w->by_case[k];

		if (c->patient == last || !in_part(p, c->patient) ||
		    !is_whole(c))
			continue;
		last = c->patient;
		p->which[p->n_cases++] = k;
	}
	for (size_t i = 0; i < w->rows.n; i++)
		p->keep[i] = !in_part(p, w->rows.group[0][i]);
}

/* Case k as it was drawn: places count up within it. */
static pd_status lay_case(struct part *p, size_t k, pd_total_layout *out,
                          pd_error *err)
{
	const struct pd_expect_work *w = p->w;
	const struct pd_expect_case *c = &w->by_case[p->which[k]];
	size_t cols = w->design.p, side = 0, site = 0;
	pd_total_pull *pull = PD_NEW(w->scratch, pd_total_pull, c->n + 1);

	if (!pull)
		return no_memory(err);
	for (size_t j = 0; j < c->n; j++) {
		size_t i = w->lead[c->first + j];

		if (j) {
			size_t before = w->lead[c->first + j - 1];

			side += w->rows.group[2][i] != w->rows.group[2][before];
			site += w->rows.group[3][i] != w->rows.group[3][before];
		}
		memcpy(p->x + p->n_rows * cols, w->design.x + i * cols,
		       cols * sizeof *p->x);
		pull[j] = (pd_total_pull){ p->n_rows++, side, site, j };
	}
	*out = (pd_total_layout){ c->n, pull };
	return PD_OK;
}

/* What was observed: between the sums of its limits. */
static void observed(const struct pd_expect_work *w,
                     const struct pd_expect_case *c, double *low, double *high)
{
	*low = *high = 0;
	for (size_t j = c->first; j < c->first + c->n; j++) {
		*low += exp(w->rows.low[w->lead[j]]);
		*high += exp(w->rows.high[w->lead[j]]);
	}
}

static double share_below(const double *t, size_t n, double x)
{
	size_t below = 0;

	for (size_t r = 0; r < n; r++)
		below += t[r] < x;
	return (double)below / (double)n;
}

/*
 * Share of [from, to], places of an observation in the foretold law, inside
 * the middle `level`: 0 or 1 for a measured one (from = to). Of one known only
 * between limits it is the chance of being inside if the law is right, so that
 * the sum over cases is not bent by leaving such cases out.
 */
static double inside(double from, double to, double level)
{
	double tail = (1 - level) / 2;

	if (to - from < 1e-12)
		return from >= tail && from <= 1 - tail;
	return fmax(0, fmin(to, 1 - tail) - fmax(from, tail)) / (to - from);
}

static void judge_case(struct part *p, size_t k, double *t, struct sums *sum)
{
	pd_expect_answer *a = p->w->a;
	double low, high;

	observed(p->w, &p->w->by_case[p->which[k]], &low, &high);
	double from = share_below(t, DRAWS, low);
	double to = share_below(t, DRAWS, high);

	a->n_checked++;
	a->n_unclear += low < high;
	sum->in_80 += inside(from, to, 0.8);
	sum->in += inside(from, to, a->level);
	if (low < high)
		return;
	pd_total_sort(t, DRAWS);
	double d = log(low / pd_total_quantile(t, DRAWS, 0.5, NULL));

	sum->off += d;
	sum->square += d * d;
	sum->n++;
}

/* A part whose others do not bear the model is not judged. */
static pd_status judge_part(struct part *p, struct sums *sum, pd_error *err)
{
	struct pd_expect_work *w = p->w;
	pd_error inner = { 0 };
	double *t = PD_NEW(w->scratch, double, p->n_cases * DRAWS + 1);

	if (!t)
		return no_memory(err);
	pd_status st = pd_expect_fit(w, p->keep, SETS, p->beta, p->covariance,
	                             &p->law, &inner);

	p->law.x = p->x;
	p->law.n_rows = p->n_rows;
	if (st == PD_OK)
		st = pd_total_draw(&p->law, p->layout, p->n_cases, DRAWS,
		                   w->plan->seed + 1 + p->number, t, &inner);
	if (st == PD_REFUSED || st == PD_NUMERIC)
		return PD_OK;
	if (st != PD_OK) {
		if (err)
			*err = inner;
		return st;
	}
	for (size_t k = 0; k < p->n_cases; k++)
		judge_case(p, k, t + k * DRAWS, sum);
	return PD_OK;
}

static pd_status one_part(struct part *p, struct sums *sum, pd_error *err)
{
	pd_status st = PD_OK;

	choose_cases(p);
	p->n_rows = 0;
	for (size_t k = 0; st == PD_OK && k < p->n_cases; k++)
		st = lay_case(p, k, &p->layout[k], err);
	return st == PD_OK && p->n_cases ? judge_part(p, sum, err) : st;
}

static pd_status make(struct part *p, pd_error *err)
{
	struct pd_expect_work *w = p->w;
	size_t cols = w->design.p;

	p->keep = PD_NEW(w->scratch, unsigned char, w->rows.n + 1);
	p->which = PD_NEW(w->scratch, size_t, w->n_cases + 1);
	p->layout = PD_NEW(w->scratch, pd_total_layout, w->n_cases + 1);
	p->x = PD_NEW(w->scratch, double, (w->n_lead + 1) * cols);
	p->beta = PD_NEW(w->scratch, double, cols + 1);
	p->covariance = PD_NEW(w->scratch, double, cols * cols + 1);
	return p->keep && p->which && p->layout && p->x && p->beta &&
	               p->covariance
	           ? PD_OK
	           : no_memory(err);
}

static void settle(pd_expect_answer *a, const struct sums *sum)
{
	double n = (double)sum->n, mean = sum->off / n;
	double sd = sqrt(fmax(sum->square - n * mean * mean, 0) / (n - 1));
	double t = pd_t_quantile(0.975, n - 1);

	a->off = (pd_estimate){ mean, sd / sqrt(n), n - 1, NAN, NAN, 0.95,
		                NAN };
	a->off.low = mean - t * a->off.se;
	a->off.high = mean + t * a->off.se;
	a->off.p = pd_t_two_sided(mean / a->off.se, n - 1);
}

pd_status pd_expect_check(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;
	struct part p = { .w = w };
	struct sums sum = { 0, 0, 0, 0, 0 };
	pd_status st = make(&p, err);

	a->parts = a->n_patients <= ALONE ? a->n_patients : PARTS;
	a->off.value = NAN;
	for (p.number = 0; st == PD_OK && p.number < a->parts; p.number++) {
		pd_arena_mark mark = pd_arena_here(w->scratch);

		st = one_part(&p, &sum, err);
		pd_arena_rewind(w->scratch, mark);
	}
	if (st != PD_OK || a->n_checked == 0)
		return st;
	a->n_in_80 = (size_t)(sum.in_80 + 0.5);
	a->n_in = (size_t)(sum.in + 0.5);
	pd_binomial_limits((double)a->n_in_80, (double)a->n_checked, 0.95,
	                   &a->in_80_low, &a->in_80_high);
	pd_binomial_limits((double)a->n_in, (double)a->n_checked, 0.95,
	                   &a->in_low, &a->in_high);
	if (sum.n > 2)
		settle(a, &sum);
	return PD_OK;
}
