/*
 * reference_linear.c - outside checks of linear and robust regression, bends,
 * autocorrelation and drift; nonlinear ones are in reference_nonlinear.c.
 */
#include "reference.h"
#include "reference_linear.h"
#include "stats/curve.h"
#include "stats/linear.h"
#include "stats/robust.h"
#include "stats/series.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- linear ----------------------------------------------------------- */

/* What a data file is regressed on; x_1 NULL: powers of `x` to `degree`. */
static const struct design {
	const char *dataset, *y, *x[7];
	size_t degree;
	int intercept;
} designs[] = {
	{ "nist_norris.csv", "y", { "x" }, 1, 1 },
	{ "nist_wampler1.csv", "y", { "x" }, 5, 1 },
	{ "nist_wampler2.csv", "y", { "x" }, 5, 1 },
	{ "nist_wampler3.csv", "y", { "x" }, 5, 1 },
	{ "nist_noint1.csv", "y", { "x" }, 1, 0 },
	{ "cars.csv", "dist", { "speed" }, 2, 1 },
	{ "nist_longley.csv", "y", { "x1", "x2", "x3", "x4", "x5", "x6" }, 0,
	  1 },
	{ "stackloss.csv", "stack.loss",
	  { "Air.Flow", "Water.Temp", "Acid.Conc." }, 0, 1 },
};

static const struct design *design_of(const char *dataset)
{
	for (size_t i = 0; i < sizeof designs / sizeof *designs; i++)
		if (!strcmp(designs[i].dataset, dataset))
			return &designs[i];
	return NULL;
}

/* The columns of a design without powers, as pd_linear takes them. */
static int several(const struct design *g, pd_regressor *column,
                   pd_linear_data *d)
{
	size_t k = 0;

	*d = (pd_linear_data){ .intercept = g->intercept, .column = column };
	d->y = reference_real(g->dataset, g->y, &d->n);
	for (; g->x[k]; k++) {
		column[k] = (pd_regressor){
			g->x[k], reference_real(g->dataset, g->x[k], &d->n),
			NULL
		};
		if (!column[k].value)
			return 0;
	}
	d->n_columns = k;
	return d->y != NULL;
}

static pd_status fit_linear(const struct design *g, pd_linear_fit **f)
{
	pd_regressor column[7];
	pd_linear_data d;
	size_t n;

	if (!g->degree)
		return several(g, column, &d) ? pd_linear(&d, f, NULL)
		                              : PD_DATA;
	const double *x = reference_real(g->dataset, g->x[0], &n);
	const double *y = reference_real(g->dataset, g->y, &n);

	return x && y ? pd_polynomial(x, y, n, g->degree, g->intercept, f, NULL)
	              : PD_DATA;
}

/* "coef_" or "se_" of a coefficient by number (B0 the intercept) or name. */
static int coefficient(const struct check *c, const struct design *g,
                       const double *coef, const double *se, size_t p,
                       double *got)
{
	int is_se = !strncmp(c->quantity, "se_", 3);
	const char *name = c->quantity + (is_se ? 3 : 5);
	size_t at = p;

	if (!is_se && strncmp(c->quantity, "coef_", 5))
		return 0;
	if (sscanf(name, "B%zu", &at) == 1)
		at -= g->intercept ? 0 : 1;
	else if (!strcmp(name, "Intercept"))
		at = 0;
	else if (!strncmp(name, "Ispeed^2", 8))
		at = 2;
	else
		for (size_t k = 0; k < 7 && g->x[k]; k++)
			if (!strcmp(g->x[k], name))
				at = k + 1;
	if (at >= p)
		return 0;
	*got = is_se ? se[at] : coef[at];
	return 1;
}

static int linear(const struct check *c, double *got)
{
	const struct design *g = design_of(c->dataset);
	pd_linear_fit *f;
	int done;

	if (!g || fit_linear(g, &f) != PD_OK)
		return 0;
	const struct named_value list[] = {
		{ "residual_sd", f->residual_sd },
		{ "residual_ss", f->residual_ss },
		{ "regression_ss", f->regression_ss },
		{ "r_squared", f->r_squared },
		{ "F_statistic", f->f },
		{ "residual_df", f->residual_df },
		{ NULL, 0 },
	};
	done = coefficient(c, g, f->coef, f->se, f->p, got) ||
	       reference_pick(c, list, got);
	pd_linear_free(f);
	return done;
}

static int robust(const struct check *c, double *got)
{
	const struct design *g = design_of(c->dataset);
	pd_robust_rule rule = strstr(c->spec, "M-estimator huber k=1.345")
	                          ? PD_HUBER
	                          : PD_BISQUARE;
	pd_regressor column[7];
	pd_linear_data d;
	pd_robust_fit *f;
	int done;

	if (rule == PD_BISQUARE &&
	    !strstr(c->spec, "M-estimator bisquare c=4.685"))
		return 0;
	if (!g || !several(g, column, &d) ||
	    pd_robust(&d, rule, &f, NULL) != PD_OK)
		return 0;
	const struct named_value list[] = { { "scale", f->scale },
		                                { NULL, 0 } };
	done = coefficient(c, g, f->coef, f->se, f->p, got) ||
	       reference_pick(c, list, got);
	pd_robust_free(f);
	return done;
}

/* ---- bends ------------------------------------------------------------ */

static int bend(const struct check *c, double *got)
{
	size_t n;
	const double *v = reference_real(c->dataset, "volume_ml", &n);
	const double *y = reference_real(c->dataset, "yield", &n);
	pd_breakpoint b;

	if (!strstr(c->spec, "min(volume_ml, breakpoint)") || !v || !y ||
	    pd_breakpoint_fit(v, y, n, PD_BEND_LEVEL, 0.95, &b, NULL) != PD_OK)
		return 0;
	const struct named_value list[] = {
		{ "breakpoint", b.bend.value },
		{ "intercept", b.intercept.value },
		{ "slope_before", b.slope.value },
		{ "residual_ss", b.residual_ss },
		{ "bp_lcl95", b.bend.low },
		{ "bp_ucl95", b.bend.high },
		{ NULL, 0 },
	};
	return reference_pick(c, list, got);
}

/* ---- series ----------------------------------------------------------- */

static int durbin_watson(const double *y, size_t n, double *got)
{
	double *t = calloc(n, sizeof *t);
	pd_linear_fit *f = NULL;

	for (size_t i = 0; t && i < n; i++)
		t[i] = (double)(i + 1);
	if (t && pd_polynomial(t, y, n, 1, 1, &f, NULL) == PD_OK)
		*got = pd_durbin_watson(f->residual, n);
	free(t);
	pd_linear_free(f);
	return f != NULL;
}

static int autocorrelation(const struct check *c, double *got)
{
	const char *test = strstr(c->spec, " test, ");
	double acf[16], pacf[16];
	size_t n, lag;
	const double *x = reference_real(c->dataset, "flow", &n);
	pd_portmanteau b;

	if (!x)
		return 0;
	if (!strcmp(c->quantity, "dw"))
		return durbin_watson(x, n, got);
	if (test) {
		int ljung = strstr(c->spec, "Ljung-Box") != NULL;
		int p = !strcmp(c->quantity, "p");

		lag = strtoul(test + 7, NULL, 10);
		if (pd_portmanteau_test(x, n, lag, &b, NULL) != PD_OK)
			return 0;
		*got = ljung ? (p ? b.ljung_box_p : b.ljung_box)
		             : (p ? b.box_pierce_p : b.box_pierce);
		return 1;
	}
	if (pd_autocorrelation(x, n, 16, acf, pacf, NULL) != PD_OK)
		return 0;
	if (sscanf(c->quantity, "acf_lag%zu", &lag) == 1 && lag - 1 < 16)
		*got = acf[lag - 1];
	else if (sscanf(c->quantity, "pacf_lag%zu", &lag) == 1 && lag - 1 < 16)
		*got = pacf[lag - 1];
	else
		return 0;
	return 1;
}

static int drift(const struct check *c, double *got)
{
	size_t n;
	const double *x = reference_real(c->dataset, "flow", &n);
	pd_drift d;

	if (!x || pd_drift_test(x, NULL, n, 0.95, &d, NULL) != PD_OK)
		return 0;
	const struct named_value list[] = {
		{ "S", d.s }, { "varS", d.var_s }, { "z", d.z }, { "p", d.p },
		{ "tau_b", d.tau_b }, { "theil_sen", d.slope }, { NULL, 0 },
	};
	return reference_pick(c, list, got);
}

int reference_linear(const struct check *c, double *got)
{
	static const struct {
		const char *method;
		reference_handler *answer;
	} by_method[] = {
		{ "linear regression", linear },
		{ "robust regression", robust },
		{ "nonlinear regression", reference_nonlinear },
		{ "breakpoint regression", bend },
		{ "autocorrelation", autocorrelation },
		{ "trend", drift },
	};

	for (size_t i = 0; i < sizeof by_method / sizeof *by_method; i++)
		if (!strcmp(by_method[i].method, c->method))
			return by_method[i].answer(c, got);
	return 0;
}
