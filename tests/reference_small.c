/*
 * reference_small.c - outside checks of the methods without a model. A table
 * says which function answers a method, another which column (or difference
 * of two) a data file is about.
 */
#include "reference.h"
#include "stats/counts.h"
#include "stats/equivalence.h"
#include "stats/multiple.h"
#include "stats/paired.h"
#include "stats/quantile.h"
#include "stats/rank.h"
#include "stats/summary.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 64 };

/* ---- samples ---------------------------------------------------------- */

/* second - first, or their log ratio; second NULL: first as it stands. */
static const struct sample {
	const char *dataset, *first, *second;
	int log_ratio;
} samples[] = {
	{ "student_sleep.csv", "drug1", "drug2", 0 },
	{ "darwin_maize.csv", "diff_eighths", NULL, 0 },
	{ "sim_paired.csv", "first", "second", 1 },
	{ "sim_equivalence.csv", "reference", "test", 1 },
};

static size_t differences(const char *dataset, double *d)
{
	for (size_t k = 0; k < sizeof samples / sizeof *samples; k++) {
		const struct sample *s = &samples[k];
		const double *a, *b = NULL;
		size_t n;

		if (strcmp(s->dataset, dataset))
			continue;
		a = reference_real(dataset, s->first, &n);
		if (s->second)
			b = reference_real(dataset, s->second, &n);
		if (!a || n > MOST || (s->second && !b))
			return 0;
		for (size_t i = 0; i < n; i++)
			d[i] = !b ? a[i]
			          : s->log_ratio ? log(b[i] / a[i]) : b[i] - a[i];
		return n;
	}
	return 0;
}

/* A quantity's name and its value; NULL ends the list. */
struct named {
	const char *name;
	double value;
};

static int pick(const struct check *c, const struct named *list, double *got)
{
	for (; list->name; list++)
		if (!strcmp(list->name, c->quantity)) {
			*got = list->value;
			return 1;
		}
	return 0;
}

/* ---- laws ------------------------------------------------------------- */

static int student(const struct check *c, double *got)
{
	const char *at = strstr(c->spec, "df=");
	double df = at ? strtod(at + 3, NULL) : NAN, x;

	if (sscanf(c->quantity, "q_%lf", &x) == 1)
		*got = pd_t_quantile(x, df);
	else if (sscanf(c->quantity, "sf_%lf", &x) == 1)
		*got = pd_t_upper(x, df);
	else
		return 0;
	return 1;
}

static int f_law(const struct check *c, double *got)
{
	double df1, df2, f;

	if (sscanf(c->spec, "upper tail probability of F(%lf,%lf)", &df1,
	           &df2) != 2 || sscanf(c->quantity, "sf_%lf", &f) != 1)
		return 0;
	*got = pd_f_upper(f, df1, df2);
	return 1;
}

static int poisson(const struct check *c, double *got)
{
	double level, count, exposure, low, high;

	if (sscanf(c->spec, "exact (Garwood) two-sided %lf%% interval for a "
	           "rate, count %lf, exposure %lf", &level, &count,
	           &exposure) != 3)
		return 0;
	pd_poisson_limits(count, exposure, level / 100, &low, &high);
	*got = c->quantity[0] == 'l' ? low : high;
	return 1;
}

static int share(const struct check *c, double *got)
{
	double k, n, low, high;

	if (sscanf(c->spec, "Clopper-Pearson 95%% interval, %lf of %lf", &k,
	           &n) == 2)
		pd_binomial_limits(k, n, 0.95, &low, &high);
	else if (sscanf(c->spec, "Wilson score 95%% interval, %lf of %lf", &k,
	                &n) == 2)
		pd_wilson_limits(k, n, 0.95, &low, &high);
	else
		return 0;
	*got = strstr(c->quantity, "lcl") ? low : high;
	return 1;
}

/* ---- families --------------------------------------------------------- */

static int family(const struct check *c, double *got)
{
	static const struct {
		const char *name;
		pd_adjust how;
	} rules[] = {
		{ "holm", PD_HOLM }, { "hochberg", PD_HOCHBERG },
		{ "hommel", PD_HOMMEL }, { "BH", PD_BENJAMINI_HOCHBERG },
		{ "BY", PD_BENJAMINI_YEKUTIELI },
		{ "bonferroni", PD_BONFERRONI },
	};
	char name[32];
	double adjusted[MOST];
	size_t n, i;
	const double *p = reference_real(c->dataset, "p", &n);

	if (!p || n > MOST ||
	    sscanf(c->spec, "adjusted p-values, method %31s", name) != 1 ||
	    sscanf(c->quantity, "padj_%zu", &i) != 1 || i < 1 || i > n)
		return 0;
	for (size_t k = 0; k < sizeof rules / sizeof *rules; k++)
		if (!strcmp(rules[k].name, name)) {
			pd_adjust_p(p, n, rules[k].how, adjusted, NULL);
			*got = adjusted[i - 1];
			return 1;
		}
	return 0;
}

/* ---- pairs ------------------------------------------------------------ */

static int paired(const struct check *c, double *got)
{
	double d[MOST];
	size_t n = differences(c->dataset, d);
	pd_estimate e;

	if (!n || pd_paired_mean(d, n, 0.95, &e, NULL) != PD_OK)
		return 0;
	const struct named list[] = {
		{ "mean_diff", e.value }, { "t", e.value / e.se },
		{ "df", e.df }, { "p", e.p }, { "lcl95", e.low },
		{ "ucl95", e.high }, { "ratio", exp(e.value) },
		{ "ratio_lcl95", exp(e.low) }, { "ratio_ucl95", exp(e.high) },
		{ NULL, 0 },
	};
	return pick(c, list, got);
}

/* Two one-sided tests at 5 % each. */
static int equivalence(const struct check *c, double *got)
{
	const char *at = strstr(c->spec, "limits ");
	double d[MOST];
	size_t n = differences(c->dataset, d);
	pd_margin margin;
	pd_equivalence q;
	pd_estimate e;

	if (!n || !at ||
	    sscanf(at, "limits %lf and %lf", &margin.low, &margin.high) != 2 ||
	    pd_paired_mean(d, n, 0.90, &e, NULL) != PD_OK ||
	    pd_equivalence_of(&e, &margin, 0.05, &q, NULL) != PD_OK)
		return 0;
	const struct named list[] = {
		{ "ratio", q.ratio }, { "df", q.log.df },
		{ "t_lower", q.t_low }, { "t_upper", q.t_high },
		{ "p_lower", q.p_low }, { "p_upper", q.p_high },
		{ "p_tost", q.p },
		{ "ratio_lcl90", q.ratio_low }, { "ratio_ucl90", q.ratio_high },
		{ NULL, 0 },
	};
	return pick(c, list, got);
}

static int signed_rank(const struct check *c, double *got)
{
	double d[MOST];
	size_t n = differences(c->dataset, d);
	pd_zeros zeros = strstr(c->quantity, "pratt") ? PD_ZEROS_RANKED
	                                              : PD_ZEROS_DROPPED;
	pd_rank_result r, r90;
	pd_signed_test t;

	if (!n || pd_signed_rank(d, n, 0.95, &r, NULL) != PD_OK ||
	    pd_signed_rank(d, n, 0.90, &r90, NULL) != PD_OK ||
	    pd_signed_rank_test(d, n, zeros, &t, NULL) != PD_OK)
		return 0;
	double plain = pd_normal_p(t.v, t.mean, t.variance, 0);
	double corrected = pd_normal_p(t.v, t.mean, t.variance, 0.5);
	const struct named list[] = {
		{ "V", r.v }, { "p", r.p }, { "hl", r.value },
		{ "hl_lcl", r.low }, { "hl_ucl", r.high },
		{ "achieved_level", r.achieved },
		{ "hodges_lehmann", r.value }, { "hl_lcl95", r.low },
		{ "hl_ucl95", r.high }, { "hl_lcl90", r90.low },
		{ "hl_ucl90", r90.high },
		{ "V_wilcoxon", t.v }, { "p_two_sided_wilcoxon", t.p },
		{ "p_greater_wilcoxon", t.p_above },
		{ "p_normal_wilcoxon_cc0", plain },
		{ "p_normal_wilcoxon_cc0.5", corrected },
		{ "V_pratt", t.v }, { "p_two_sided_pratt", t.p },
		{ "p_greater_pratt", t.p_above },
		{ "p_normal_pratt_cc0", plain },
		{ "p_normal_pratt_cc0.5", corrected },
		{ NULL, 0 },
	};
	return pick(c, list, got);
}

static int permutation(const struct check *c, double *got)
{
	double d[MOST];
	size_t n, m;
	pd_flip_result f;
	pd_status st;

	if (strstr(c->spec, "two independent samples")) {
		const double *a = reference_real(c->dataset, "drug1", &n);
		const double *b = reference_real(c->dataset, "drug2", &m);

		st = a && b ? pd_relabel(a, n, b, m, 0, 1, &f, NULL) : PD_DATA;
	} else {
		n = differences(c->dataset, d);
		st = pd_sign_flip(d, n, 0, 1, &f, NULL);
	}
	if (st != PD_OK || !f.exact)
		return 0;
	const struct named list[] = {
		{ "count_ge_abs", f.hits }, { "count_ge", f.hits_above },
		{ "p_two_sided", f.p }, { "n_splits", f.patterns },
		{ NULL, 0 },
	};
	return pick(c, list, got);
}

/* ---- groups ----------------------------------------------------------- */

static int welch(const struct check *c, double *got)
{
	size_t n, m;
	const double *a = reference_real(c->dataset, "drug1", &n);
	const double *b = reference_real(c->dataset, "drug2", &m);
	pd_estimate e;

	if (!a || !b || pd_welch(a, n, b, m, 0.95, &e, NULL) != PD_OK)
		return 0;
	const struct named list[] = {
		{ "t", e.value / e.se }, { "df", e.df }, { "p", e.p },
		{ "lcl95", e.low }, { "ucl95", e.high }, { NULL, 0 },
	};
	return pick(c, list, got);
}

static int correlation(const struct check *c, double *got)
{
	size_t n;
	const double *x = reference_real(c->dataset, "lsat", &n);
	const double *y = reference_real(c->dataset, "gpa", &n);

	if (!x || !y || strcmp(c->quantity, "correlation"))
		return 0;
	*got = pd_correlation(x, y, n);
	return 1;
}

static int summary(const struct check *c, double *got)
{
	size_t n;
	const double *y = reference_real(c->dataset, "y", &n);
	pd_summary s;

	if (!y)
		return 0;
	s = pd_summarise(y, n);
	const struct named list[] = {
		{ "mean", s.mean }, { "sd", s.sd },
		{ "autocorr_lag1", pd_lag_one(y, n) }, { NULL, 0 },
	};
	return pick(c, list, got);
}

static int one_way(const struct check *c, double *got)
{
	size_t n, n_groups;
	const double *y = reference_real(c->dataset, "y", &n);
	int32_t *group = reference_codes(c->dataset, "group", &n, &n_groups);
	pd_one_way a;
	pd_status st = PD_DATA;

	if (y && group)
		st = pd_one_way_fit(y, group, n, n_groups, &a, NULL);
	free(group);
	if (st != PD_OK)
		return 0;
	const struct named list[] = {
		{ "between_ss", a.between },
		{ "between_ms", a.between / a.df_between },
		{ "within_ss", a.within },
		{ "within_ms", a.within / a.df_within },
		{ "F_statistic", a.f }, { "r_squared", a.r_squared },
		{ "residual_sd", a.residual_sd },
		{ "df_between", a.df_between }, { "df_within", a.df_within },
		{ "p_value", a.p }, { NULL, 0 },
	};
	return pick(c, list, got);
}

/* ---- methods ---------------------------------------------------------- */

static const struct {
	const char *method;
	reference_handler *answer;
} methods[] = {
	{ "Student t distribution", student },
	{ "F distribution", f_law },
	{ "exact Poisson interval", poisson },
	{ "exact binomial interval", share },
	{ "Wilson interval", share },
	{ "multiplicity", family },
	{ "paired comparison", paired },
	{ "equivalence test", equivalence },
	{ "signed-rank", signed_rank },
	{ "permutation test", permutation },
	{ "two-sample t", welch },
	{ "correlation", correlation },
	{ "univariate summary", summary },
	{ "one-way ANOVA", one_way },
};

/* Every row of these methods is ours: one that gets no answer (a refusal, a
 * missing file, a quantity nobody knows) fails rather than goes unrun. */
int reference_small(const struct check *c, double *got)
{
	for (size_t k = 0; k < sizeof methods / sizeof *methods; k++)
		if (!strcmp(methods[k].method, c->method)) {
			if (!methods[k].answer(c, got))
				*got = NAN;
			return 1;
		}
	return 0;
}
