/*
 * reference_nonlinear.c - outside checks of nonlinear regression. A row of a
 * certified set is computed from both its starts; the answer further from the
 * row's value is the one handed back.
 */
#include "curve_models.h"
#include "reference_linear.h"
#include "stats/curve.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 8 };

static const struct set {
	const char *dataset, *x, *y;
	pd_curve_model *model;
	size_t p;
	const char *names[MOST];
} sets[] = {
	{ "nist_misra1a.csv", "x", "y", curve_rise, 2, { 0 } },
	{ "nist_boxbod.csv", "x", "y", curve_rise, 2, { 0 } },
	{ "nist_chwirut2.csv", "x", "y", curve_chwirut, 3, { 0 } },
	{ "nist_lanczos3.csv", "x", "y", curve_decays, 6, { 0 } },
	{ "nist_gauss1.csv", "x", "y", curve_peaks, 8, { 0 } },
	{ "nist_danwood.csv", "x", "y", curve_power, 2, { 0 } },
	{ "nist_misra1c.csv", "x", "y", curve_root, 2, { 0 } },
	{ "nist_kirby2.csv", "x", "y", curve_ratio, 5, { 0 } },
	{ "nist_mgh09.csv", "x", "y", curve_enzyme, 4, { 0 } },
	{ "nist_rat42.csv", "x", "y", curve_logistic, 3, { 0 } },
	{ "nist_eckerle4.csv", "x", "y", curve_bell, 3, { 0 } },
	{ "puromycin.csv", "conc", "rate", curve_saturates, 2, { "Vm", "K" } },
	{ "puromycin.csv", "conc", "rate", curve_saturates_two, 3,
	  { "Vm", "delV", "K" } },
};

static const char *const by_number[MOST] = { "b1", "b2", "b3", "b4",
	                                     "b5", "b6", "b7", "b8" };

static const struct set *set_of(const struct check *c)
{
	int two = strstr(c->spec, "all rows") != NULL;

	for (size_t i = 0; i < sizeof sets / sizeof *sets; i++)
		if (!strcmp(sets[i].dataset, c->dataset) &&
		    two == (sets[i].model == curve_saturates_two))
			return &sets[i];
	return NULL;
}

/* The starts, from this row's spec or, where it names none, one of the sets'
 * own. Returns whether start number `which` (1, 2) is there. */
static int start_of(const struct check *c, const struct set *s, int which,
                    double *start)
{
	static const double enzyme[2][3] = { { 200, 0.05 }, { 160, 40, 0.05 } };
	char words[24];
	const char *at;
	char *end;

	if (s->names[0]) {
		memcpy(start, enzyme[s->p - 2], s->p * sizeof *start);
		return which == 1;
	}
	snprintf(words, sizeof words, "start %d = ", which);
	at = strstr(c->spec, words);
	if (!at)
		return 0;
	at += strlen(words);
	for (size_t j = 0; j < s->p; j++, at = end) {
		start[j] = strtod(at, &end);
		if (end == at)
			return 0;
	}
	return 1;
}

/* The quantity of a fit, parameters under `names`. */
static int quantity(const struct check *c, const pd_nonlinear_fit *f,
                    const char *const *names, double *got)
{
	const struct named_value list[] = {
		{ "residual_ss", f->residual_ss },
		{ "residual_sd", f->residual_sd },
		{ "residual_df", f->residual_df },
		{ NULL, 0 },
	};

	for (size_t j = 0; j < f->p; j++) {
		const char *q = c->quantity, *tail = strchr(q, '_');
		pd_estimate e = pd_nonlinear_wald(f, j, 0.95);

		if (!strcmp(q, names[j]) ||
		    (!strncmp(q, "coef_", 5) && !strcmp(tail + 1, names[j])))
			*got = e.value;
		else if (!tail || strcmp(tail + 1, names[j]))
			continue;
		else if (!strncmp(q, "se_", 3))
			*got = e.se;
		else if (!strncmp(q, "lcl95_", 6))
			*got = e.low;
		else
			*got = e.high;
		return 1;
	}
	return reference_pick(c, list, got);
}

/* Rows of a set, treated ones first marked 1; leaves what the set is about. */
static size_t rows(const struct set *s, double *x, double *y, double *group,
                   size_t most)
{
	const pd_frame *f = reference_data(s->dataset);
	const pd_column *a = f ? pd_frame_find(f, s->x) : NULL;
	const pd_column *b = f ? pd_frame_find(f, s->y) : NULL;
	const pd_column *g = f ? pd_frame_find(f, "state") : NULL;
	size_t n = 0;

	if (!a || !b || pd_frame_rows(f) > most)
		return 0;
	for (size_t i = 0; i < pd_frame_rows(f); i++) {
		int treated = g && !strcmp(g->level[g->code[i]], "treated");

		if (s->model == curve_saturates && !treated)
			continue;
		x[n] = a->real[i];
		y[n] = b->real[i];
		group[n++] = treated;
	}
	return n;
}

static int plateau(const struct check *c, double *got)
{
	int base = strstr(c->spec, "c0+a*(1-exp(-volume_ml/k))") != NULL;
	const char *const names[] = { "a", "k", "c0" };
	const char *tail = strchr(c->quantity, '_');
	size_t n;
	const double *v = reference_real(c->dataset, "volume_ml", &n);
	const double *y = reference_real(c->dataset, "yield", &n);
	pd_plateau o;

	if (!v || !y || !strstr(c->spec, "a*(1-exp(-volume_ml/k))") ||
	    pd_plateau_fit(v, y, n, base, 0.95, &o, NULL) != PD_OK)
		return 0;
	const struct named_value list[] = {
		{ "residual_ss", o.residual_ss },
		{ "residual_sd", o.residual_sd },
		{ NULL, 0 },
	};
	for (size_t j = 0; tail && j < PD_PLATEAU_N; j++) {
		const pd_estimate *e = &o.wald[j];

		if (strcmp(tail + 1, names[j]))
			continue;
		*got = c->quantity[0] == 'c'   ? e->value
		       : c->quantity[0] == 's' ? e->se
		       : c->quantity[0] == 'l' ? e->low
		                               : e->high;
		return 1;
	}
	return reference_pick(c, list, got);
}

int reference_nonlinear(const struct check *c, double *got)
{
	const struct set *s = set_of(c);
	double x[512], y[512], group[512], start[MOST], value, worst = -1;
	struct curve_x at = { 0, x, group };
	int done = 0;

	if (!strcmp(c->dataset, "sim_volume_plateau.csv"))
		return plateau(c, got);
	if (!s || !(at.n = rows(s, x, y, group, 512)))
		return 0;
	/* The df need no fit of their own: any start of the same model. */
	if (!strcmp(c->quantity, "residual_df")) {
		*got = (double)(at.n - s->p);
		return 1;
	}
	const char *const *names = s->names[0] ? s->names : by_number;
	const pd_nonlinear_data d = { at.n, s->p, y, s->model, &at, names };

	for (int which = 1; which <= 2; which++) {
		pd_nonlinear_fit *f = NULL;
		pd_error err = { 0 };

		if (!start_of(c, s, which, start))
			continue;
		if (pd_nonlinear(&d, start, &f, &err) != PD_OK) {
			printf("%s, start %d: %s\n", c->id, which, err.text);
			*got = NAN;
			return 1;
		}
		if (quantity(c, f, names, &value)) {
			done = 1;
			if (fabs(value - c->value) > worst) {
				worst = fabs(value - c->value);
				*got = value;
			}
		}
		pd_nonlinear_free(f);
	}
	return done;
}
