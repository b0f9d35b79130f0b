/*
 * reference_agree.c - outside checks of agreement between two measurements.
 */
#include "reference_pool.h"
#include "stats/agree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 64 };

/* Two columns of a data file, in the order the spec names them. */
struct two {
	double x[MOST], y[MOST];
	size_t n;
};

static const struct {
	const char *begins, *x, *y;
	int logs;
} known[] = {
	{ "wright1 - mini1", "wright1", "mini1", 0 },
	{ "wright1 - wright2", "wright1", "wright2", 0 },
	{ "mini1 - mini2", "mini1", "mini2", 0 },
	{ "log(method1) - log(method2)", "method1", "method2", 1 },
	{ "mini1 (y) on wright1 (x)", "wright1", "mini1", 0 },
	{ "method2 (y) on method1 (x)", "method1", "method2", 0 },
};

static int fill(const struct check *c, const char *x, const char *y, int logs,
                struct two *t)
{
	const double *a = reference_real(c->dataset, x, &t->n);
	const double *b = reference_real(c->dataset, y, &t->n);

	if (!a || !b || t->n > MOST)
		return 0;
	for (size_t i = 0; i < t->n; i++) {
		t->x[i] = logs ? log(a[i]) : a[i];
		t->y[i] = logs ? log(b[i]) : b[i];
	}
	return 1;
}

static int read_two(const struct check *c, struct two *t)
{
	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (!strncmp(c->spec, known[i].begins,
		             strlen(known[i].begins)))
			return fill(c, known[i].x, known[i].y, known[i].logs,
			            t);
	return 0;
}

static int limits(const struct check *c, double *got)
{
	struct two t;
	pd_limits l, two;

	if (!read_two(c, &t) ||
	    pd_agree_limits(t.x, t.y, t.n, 1.96, 0.95, &l, NULL) != PD_OK ||
	    pd_agree_limits(t.x, t.y, t.n, 2, 0.95, &two, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "bias", l.bias.value }, { "sd_diff", l.sd },
		{ "loa_lower_2sd", two.low }, { "loa_upper_2sd", two.high },
		{ "loa_lower_196", l.low }, { "loa_upper_196", l.high },
		{ "bias_se", l.bias.se }, { "bias_lcl95", l.bias.low },
		{ "bias_ucl95", l.bias.high }, { "loa_se_sqrt3", l.se_1986 },
		{ "loa_se_196", l.se }, { "corr_diff_mean", l.trend },
		{ NULL, 0 }
	}, got);
}

static int deming(const struct check *c, double *got)
{
	const char *at = strstr(c->spec, "var(y errors)/var(x errors) = ");
	struct two t;
	pd_line l;

	if (!at || !read_two(c, &t) ||
	    pd_agree_deming(t.x, t.y, t.n, strtod(strchr(at, '=') + 1, NULL),
	                    0.95, &l, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "slope", l.slope.value }, { "intercept", l.intercept.value },
		{ "slope_jack_se", l.slope.se },
		{ "intercept_jack_se", l.intercept.se },
		{ "slope_lcl95", l.slope.low }, { "slope_ucl95", l.slope.high },
		{ "intercept_lcl95", l.intercept.low },
		{ "intercept_ucl95", l.intercept.high }, { NULL, 0 }
	}, got);
}

static int ranked(const struct check *c, double *got)
{
	struct two t;
	pd_line a, b;

	if (!read_two(c, &t) ||
	    pd_agree_ranks(t.x, t.y, t.n, 0.90, &a, NULL) != PD_OK ||
	    pd_agree_ranks(t.x, t.y, t.n, 0.95, &b, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "n_slopes", (double)b.n_slopes },
		{ "offset_K", (double)b.offset },
		{ "slope", b.slope.value }, { "intercept", b.intercept.value },
		{ "slope_lcl90", a.slope.low }, { "slope_ucl90", a.slope.high },
		{ "slope_lcl95", b.slope.low }, { "slope_ucl95", b.slope.high },
		{ "intercept_lcl90", a.intercept.low },
		{ "intercept_ucl90", a.intercept.high },
		{ "intercept_lcl95", b.intercept.low },
		{ "intercept_ucl95", b.intercept.high }, { NULL, 0 }
	}, got);
}

static int concordance(const struct check *c, double *got)
{
	struct two t;
	pd_estimate e;

	if (!read_two(c, &t) || strcmp(c->quantity, "ccc") ||
	    pd_agree_concordance(t.x, t.y, t.n, 0.95, &e, NULL) != PD_OK)
		return 0;
	*got = e.value;
	return 1;
}

static int repeated(const struct check *c, double *got)
{
	struct two t;
	pd_repeat r;
	int mini = !strncmp(c->id, "repeat_mini", 11);

	if (!fill(c, mini ? "mini1" : "wright1", mini ? "mini2" : "wright2", 0,
	          &t) ||
	    pd_agree_repeat(t.x, t.y, t.n, 0.95, &r, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "sw", r.sw }, { "repeatability_2sd", r.coefficient_1986 },
		{ NULL, 0 }
	}, got);
}

int reference_agree(const struct check *c, double *got)
{
	switch (c->method[0]) {
	case 'B':
		return limits(c, got);
	case 'D':
		return deming(c, got);
	case 'P':
		return ranked(c, got);
	case 'c':
		return concordance(c, got);
	default:
		return repeated(c, got);
	}
}
