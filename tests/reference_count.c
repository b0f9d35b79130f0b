/*
 * reference_count.c - outside checks of the regressions of counts and of
 * values known by limits. Models stand in a table by data file; the fits last
 * made are kept, as the rows of one fit stand together.
 */
#include "reference.h"
#include "base/arena.h"
#include "base/status.h"
#include "stats/censored.h"
#include "stats/count.h"
#include "stats/count_mixed.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COLUMNS = 10 };

/* A column: a number, ln(number + 10), an indicator of `level`, or the
 * product of the two columns before it. */
struct column {
	enum { END, NUMBER, LOG_TEN, LEVEL, PRODUCT } kind;
	const char *column, *level, *name;
};

struct model {
	const char *dataset, *begins, *outcome, *exposure, *group;
	struct column column[COLUMNS];
};

static const struct model models[] = {
	{ "quine.csv", "Days on Eth, Sex, Age, Lrn", "Days", NULL, NULL,
	  { { LEVEL, "Eth", "N", "EthN" }, { LEVEL, "Sex", "M", "SexM" },
	    { LEVEL, "Age", "F1", "AgeF1" }, { LEVEL, "Age", "F2", "AgeF2" },
	    { LEVEL, "Age", "F3", "AgeF3" },
	    { LEVEL, "Lrn", "SL", "LrnSL" } } },
	{ "salmonella.csv", "colonies on log(dose+10) and dose", "colonies",
	  NULL, NULL,
	  { { LOG_TEN, "dose", 0, "ld" }, { NUMBER, "dose", 0, "dose" } } },
	{ "epil.csv", "y on lbase, trt (reference placebo), lbase:trt, lage, "
	  "V4", "y", NULL, "subject",
	  { { NUMBER, "lbase", 0, "lbase" },
	    { LEVEL, "trt", "progabide", "trtprogabide" },
	    { PRODUCT, "", 0, "lbase:trtprogabide" },
	    { NUMBER, "lage", 0, "lage" }, { NUMBER, "V4", 0, "V4" } } },
	{ "sim_colonies.csv", "colonies on syringe_ml, offset "
	  "log(cells_plated_1e5)", "colonies", "cells_plated_1e5", "patient",
	  { { NUMBER, "syringe_ml", 0, "syringe_ml" } } },
	{ "tobin.csv", "durable on age and quant", "durable", NULL, NULL,
	  { { NUMBER, "age", 0, "age" }, { NUMBER, "quant", 0, "quant" } } },
	{ "sim_nondetect.csv", "log(value) normal on grp", "value", NULL, NULL,
	  { { LEVEL, "grp", "second", "grpsecond" },
	    { NUMBER, "vol", 0, "vol" } } },
	{ "sim_nondetect.csv", "log(value) normal, intercept only", "value",
	  NULL, NULL, { { 0 } } },
};

/* ---- the model's arrays ------------------------------------------------- */

static struct {
	const struct model *model;
	pd_arena *arena;
	size_t n, p;
	double *x, *offset;
	int32_t *group;
	const char *name[COLUMNS + 1];
} now;

static void give_up(const char *what, const pd_error *err)
{
	fprintf(stderr, "reference_count: %s: %s\n", what,
	        err ? err->text : "no memory or no such column");
	exit(99);
}

static void *need(void *p)
{
	if (!p)
		give_up("setting up", NULL);
	return p;
}

static double cell(const struct column *c, size_t i, const double *row)
{
	const pd_column *d = pd_frame_find(
	    reference_data(now.model->dataset), c->column);

	if (c->kind == PRODUCT)
		return row[-1] * row[-2];
	need((void *)(d != NULL ? now.x : NULL));
	if (c->kind == LEVEL)
		return !strcmp(d->level[d->code[i]], c->level);
	return c->kind == LOG_TEN ? log(d->real[i] + 10) : d->real[i];
}

static void set_up(const struct model *m)
{
	size_t n_groups;

	if (now.model == m)
		return;
	pd_arena_free(now.arena);
	now.arena = need(pd_arena_new());
	now.model = m;
	now.n = pd_frame_rows(reference_data(m->dataset));
	now.name[0] = "Intercept";
	for (now.p = 1; m->column[now.p - 1].kind != END; now.p++)
		now.name[now.p] = m->column[now.p - 1].name;
	now.x = need(PD_NEW(now.arena, double, now.n * now.p));
	for (size_t i = 0; i < now.n; i++) {
		double *row = now.x + i * now.p;

		row[0] = 1;
		for (size_t j = 1; j < now.p; j++)
			row[j] = cell(&m->column[j - 1], i, row + j);
	}
	now.offset = NULL;
	if (m->exposure) {
		const double *e = reference_real(m->dataset, m->exposure,
		                                 &now.n);

		now.offset = need(PD_NEW(now.arena, double, now.n));
		for (size_t i = 0; i < now.n; i++)
			now.offset[i] = log(e[i]);
	}
	free(now.group);
	now.group = m->group ? need(reference_codes(m->dataset, m->group,
	                                            &now.n, &n_groups))
	                     : NULL;
}

static const struct model *find(const struct check *c)
{
	for (size_t i = 0; i < sizeof models / sizeof *models; i++)
		if (!strcmp(models[i].dataset, c->dataset) &&
		    !strncmp(models[i].begins, c->spec,
		             strlen(models[i].begins)))
			return &models[i];
	return NULL;
}

/* Column of "coef_NAME" behind the prefix; p when it is none. */
static size_t named(const char *quantity, const char *prefix)
{
	size_t l = strlen(prefix);

	for (size_t j = 0; j < now.p && !strncmp(quantity, prefix, l); j++)
		if (!strcmp(quantity + l, now.name[j]))
			return j;
	return now.p;
}

static pd_count_spec rows(bool extra)
{
	size_t n;

	return (pd_count_spec){
		.n = now.n, .p = now.p, .x = now.x, .offset = now.offset,
		.y = reference_real(now.model->dataset, now.model->outcome,
		                    &n),
		.extra = extra,
	};
}

/* ---- counts without groups ---------------------------------------------- */

static int profile_limit(const pd_count_spec *spec, const pd_count_fit *fit,
                         const struct check *c, double *got)
{
	int upper = !strncmp(c->quantity, "profucl95_", 10);
	size_t j = named(c->quantity, upper ? "profucl95_" : "proflcl95_");
	double low, high;
	pd_error err;

	if (j < now.p) {
		if (pd_count_profile(spec, fit, j, 0.95, &low, &high, &err))
			give_up(c->id, &err);
	} else if (!strncmp(c->quantity, "theta_", 6)) {
		upper = !strcmp(c->quantity, "theta_ucl95");
		if (pd_count_theta_limits(spec, fit, 0.95, &low, &high, &err))
			give_up(c->id, &err);
	} else {
		return 0;
	}
	*got = upper ? high : low;
	return 1;
}

static int count_scalar(const pd_count_fit *fit, const struct check *c,
                        double *got)
{
	double ratio, p;

	pd_count_extra_test(fit, &ratio, &p);
	const struct {
		const char *name;
		double value;
	} known[] = {
		{ "deviance", fit->deviance },
		{ "null_deviance", fit->null_deviance },
		{ "loglik", fit->log_likelihood },
		{ "aic", 2 * (double)fit->p - 2 * fit->log_likelihood },
		{ "pearson_chisq", fit->pearson },
		{ "dispersion", fit->dispersion },
		{ "theta", fit->theta },
		{ "alpha_1_over_theta", fit->alpha },
		{ "seobs_log_theta", fit->se_log_theta },
		{ "lr_overdispersion", ratio },
		{ "p_overdispersion", p },
	};

	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (!strcmp(c->quantity, known[i].name)) {
			*got = known[i].value;
			return 1;
		}
	return 0;
}

static int counts(const struct check *c, bool extra, double *got)
{
	static const struct model *last;
	static bool last_extra;
	static pd_count_fit fit;
	pd_count_spec spec = rows(extra);
	size_t j;
	pd_error err;

	if (last != now.model || last_extra != extra) {
		if (pd_count_regression(now.arena, &spec, &fit, &err))
			give_up(c->id, &err);
		last = now.model;
		last_extra = extra;
	}
	if ((j = named(c->quantity, "coef_")) < now.p)
		*got = fit.beta[j];
	else if ((j = named(c->quantity, "se_")) < now.p)
		*got = sqrt(fit.fixed[j * now.p + j]);
	else if ((j = named(c->quantity, "seobs_")) < now.p)
		*got = sqrt(fit.covariance[j * now.p + j]);
	else
		return count_scalar(&fit, c, got) ||
		       profile_limit(&spec, &fit, c, got);
	return 1;
}

/* ---- counts with a random intercept ------------------------------------- */

static unsigned nodes_of(const struct check *c)
{
	const char *at = strstr(c->spec, "adaptive Gauss-Hermite, ");

	if (at)
		return (unsigned)strtoul(at + 24, NULL, 10);
	return strstr(c->spec, "Laplace approximation") ? 1 : 0;
}

static int mixed(const struct check *c, bool extra, double *got)
{
	static const struct model *last;
	static bool last_extra;
	static unsigned last_nodes;
	static pd_mixed_fit fit;
	pd_mixed_spec spec = { rows(extra), now.group, nodes_of(c) };
	size_t j;
	pd_error err;

	if (!spec.nodes || !now.group)
		return 0;
	if (last != now.model || last_extra != extra ||
	    last_nodes != spec.nodes) {
		if (pd_count_mixed(now.arena, &spec, &fit, &err))
			give_up(c->id, &err);
		last = now.model;
		last_extra = extra;
		last_nodes = spec.nodes;
	}
	if ((j = named(c->quantity, "coef_")) < now.p)
		*got = fit.beta[j];
	else if ((j = named(c->quantity, "se_")) < now.p)
		*got = sqrt(fit.covariance[j * fit.n_free + j]);
	else if (!strncmp(c->quantity, "sd_", 3))
		*got = fit.sd;
	else if (!strcmp(c->quantity, "theta"))
		*got = fit.theta;
	else if (!strcmp(c->quantity, "loglik"))
		*got = fit.log_likelihood;
	else
		return 0;
	return 1;
}

/* ---- limits ------------------------------------------------------------- */

/* Zeros of the first file are "at most 0"; the other marks its rows. */
static void fit_limits(size_t p, const double *x, pd_censored_fit *fit)
{
	const char *file = now.model->dataset;
	size_t n;
	const double *y = reference_real(file, now.model->outcome, &n);
	const double *mark = reference_real(file, "nondetect", &n);
	double *low = need(PD_NEW(now.arena, double, now.n));
	pd_censored_spec spec = { now.n, p, x, low, y, mark != NULL };
	pd_error err;

	for (size_t i = 0; i < now.n; i++)
		low[i] = (mark ? mark[i] != 0 : y[i] <= 0) ? -INFINITY : y[i];
	if (pd_censored_regression(now.arena, &spec, fit, &err))
		give_up(file, &err);
}

static double ratio_to_constant(const pd_censored_fit *fit)
{
	double *ones = need(PD_NEW(now.arena, double, now.n));
	pd_censored_fit constant;

	for (size_t i = 0; i < now.n; i++)
		ones[i] = 1;
	fit_limits(1, ones, &constant);
	return 2 * (fit->log_likelihood - constant.log_likelihood);
}

static int limits(const struct check *c, double *got)
{
	static const struct model *last;
	static pd_censored_fit fit;
	double e[COLUMNS] = { 0 };
	pd_estimate z;
	size_t j, m = now.p + 1;

	if (last != now.model)
		fit_limits(now.p, now.x, &fit);
	last = now.model;
	if ((j = named(c->quantity, "coef_")) < now.p) {
		*got = fit.beta[j];
	} else if ((j = named(c->quantity, "se_")) < now.p) {
		*got = sqrt(fit.covariance[j * m + j]);
	} else if ((j = named(c->quantity, "lcl95_")) < now.p ||
	           (j = named(c->quantity, "ucl95_")) < now.p) {
		e[j] = 1;
		if (pd_censored_contrast(&fit, e, 0.95, &z, NULL))
			give_up(c->id, NULL);
		*got = c->quantity[0] == 'l' ? z.low : z.high;
	} else if (!strcmp(c->quantity, "se_log_scale")) {
		*got = fit.se_log_scale;
	} else if (!strcmp(c->quantity, "scale")) {
		*got = fit.scale;
	} else if (!strcmp(c->quantity, "loglik")) {
		*got = fit.log_likelihood;
	} else if (!strcmp(c->quantity, "lr_chisq")) {
		*got = ratio_to_constant(&fit);
	} else if (!strcmp(c->quantity, "lr_p")) {
		*got = pd_chisq_upper(ratio_to_constant(&fit),
		                      (double)now.p - 1);
	} else {
		return 0;
	}
	return 1;
}

int reference_count(const struct check *c, double *got)
{
	const struct model *m = find(c);

	if (!m)
		return 0;
	set_up(m);
	if (!strcmp(c->method, "Poisson regression"))
		return counts(c, false, got);
	if (!strcmp(c->method, "negative binomial regression"))
		return counts(c, true, got);
	if (!strcmp(c->method, "mixed Poisson regression"))
		return mixed(c, false, got);
	if (!strcmp(c->method, "mixed negative binomial regression"))
		return mixed(c, true, got);
	if (!strcmp(c->method, "censored regression"))
		return limits(c, got);
	return 0;
}
