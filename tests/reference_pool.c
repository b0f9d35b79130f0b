/*
 * reference_pool.c - outside checks of pools of studies; hands agreement,
 * charts and bootstraps on to their own files.
 */
#include "reference_pool.h"
#include "stats/pool.h"

#include <math.h>
#include <string.h>

enum { STUDIES = 13 };

/* ---- the studies ------------------------------------------------------ */

struct studies {
	double y[STUDIES], v[STUDIES], x[2 * STUDIES];
};

static int read_studies(const struct check *c, struct studies *s)
{
	size_t n, m = 0;
	const double *a = reference_real(c->dataset, "tpos", &n);
	const double *b = reference_real(c->dataset, "tneg", &m);
	const double *p = reference_real(c->dataset, "cpos", &m);
	const double *q = reference_real(c->dataset, "cneg", &m);
	const double *lat = reference_real(c->dataset, "ablat", &m);
	int odds = !strncmp(c->spec, "log odds ratio", 14);

	if (!a || !b || !p || !q || !lat || n != STUDIES)
		return 0;
	for (size_t i = 0; i < n; i++) {
		double t = a[i] + b[i], u = p[i] + q[i];

		s->y[i] = odds ? log(a[i] * q[i] / (b[i] * p[i]))
		               : log(a[i] / t / (p[i] / u));
		s->v[i] = odds ? 1 / a[i] + 1 / b[i] + 1 / p[i] + 1 / q[i]
		               : 1 / a[i] - 1 / t + 1 / p[i] - 1 / u;
		s->x[2 * i] = 1;
		s->x[2 * i + 1] = lat[i];
	}
	return 1;
}

/* The way a row speaks of, from its spec or (prediction) its name. */
static int way_of(const struct check *c, pd_pool_way *way)
{
	static const struct {
		const char *word, *mark;
		pd_pool_way way;
	} known[] = {
		{ "method FE,", NULL, PD_POOL_COMMON },
		{ "method DL,", "_DL_PI_", PD_POOL_MOMENTS },
		{ "method REML,", "_REML_PI_", PD_POOL_REML },
		{ "method ML,", NULL, PD_POOL_ML },
		{ "method PM,", "_PM_PI_", PD_POOL_MATCHED },
		{ "method EB,", NULL, PD_POOL_MATCHED },
		{ "method HE,", NULL, PD_POOL_UNWEIGHTED },
		{ "method SJ,", NULL, PD_POOL_TWO_STEP },
		{ "method HS,", NULL, PD_POOL_WEIGHTED },
		{ "heterogeneity", NULL, PD_POOL_MOMENTS },
	};

	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (strstr(c->spec, known[i].word) ||
		    (known[i].mark && strstr(c->id, known[i].mark))) {
			*way = known[i].way;
			return 1;
		}
	return 0;
}

static int pooled(const struct check *c, double *got)
{
	struct studies s;
	pd_pool_way way;
	pd_pool p;
	double low, high;

	if (!read_studies(c, &s))
		return 0;
	if (strstr(c->spec, "Q-profile")) {
		if (pd_pool_spread_limits(s.y, s.v, STUDIES, 0.95, &low, &high,
		                          NULL) != PD_OK)
			return 0;
		return reference_pick(c, (struct named_value[]){
			{ "tau2_lcl", low }, { "tau2_ucl", high }, { NULL, 0 }
		}, got);
	}
	if (!way_of(c, &way) ||
	    pd_pool_fit(s.y, s.v, STUDIES, way, 0.95, &p, NULL) != PD_OK)
		return 0;
	const pd_estimate *e = strstr(c->spec, "method") &&
	                       strstr(c->spec, "Hartung") ? &p.knapp
	                                                  : &p.normal;

	return reference_pick(c, (struct named_value[]){
		{ "tau2", p.spread.tau2 }, { "mu", e->value },
		{ "se", e->se }, { "lcl95", e->low }, { "ucl95", e->high },
		{ "z", e->value / e->se }, { "t", e->value / e->se },
		{ "p", e->p }, { "Q", p.spread.q }, { "Q_df", p.spread.q_df },
		{ "Q_p", p.spread.q_p }, { "I2_DL", p.spread.i2 },
		{ "H2_DL", p.spread.h2 }, { "pi_lcl_z", p.predict_low },
		{ "pi_ucl_z", p.predict_high },
		{ "pi_lcl_hk", p.knapp_predict_low },
		{ "pi_ucl_hk", p.knapp_predict_high }, { NULL, 0 }
	}, got);
}

static int regressed(const struct check *c, double *got)
{
	struct studies s;
	pd_estimate e[2];
	pd_spread w;
	double q_model;

	if (!read_studies(c, &s) ||
	    pd_pool_regress(s.y, s.v, s.x, STUDIES, 2, PD_POOL_REML, 0.95, e,
	                    NULL, &q_model, &w, NULL) != PD_OK)
		return 0;
	return reference_pick(c, (struct named_value[]){
		{ "tau2", w.tau2 }, { "coef_intercept", e[0].value },
		{ "coef_ablat", e[1].value }, { "se_intercept", e[0].se },
		{ "se_ablat", e[1].se }, { "QE", w.q }, { "QM", q_model },
		{ NULL, 0 }
	}, got);
}

int reference_pool(const struct check *c, double *got)
{
	static const struct {
		const char *method;
		reference_handler *ask;
	} known[] = {
		{ "meta-analysis", pooled },
		{ "meta-regression", regressed },
		{ "Bland-Altman", reference_agree },
		{ "Deming regression", reference_agree },
		{ "Passing-Bablok", reference_agree },
		{ "concordance", reference_agree },
		{ "repeatability", reference_agree },
		{ "control chart constant", reference_control },
		{ "control chart", reference_control },
		{ "control chart ARL", reference_control },
		{ "bootstrap BCa", reference_boot },
	};

	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (!strcmp(known[i].method, c->method))
			return known[i].ask(c, got);
	return 0;
}
