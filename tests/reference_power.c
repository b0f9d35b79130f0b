/*
 * reference_power.c - outside checks of the laws behind several comparisons
 * and of power, of comparisons of groups, and of looks at growing data.
 */
#include "reference.h"
#include "stats/contrast.h"
#include "stats/noncentral.h"
#include "stats/power.h"
#include "stats/range.h"
#include "stats/sequential.h"
#include "stats/quantile.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 32 };

/* The number after `key` in a row's spec, NaN when it is not there. */
static double after(const struct check *c, const char *key)
{
	const char *at = strstr(c->spec, key);

	return at ? strtod(at + strlen(key), NULL) : NAN;
}

/* ---- laws ------------------------------------------------------------- */

static int range_law(const struct check *c, double *got)
{
	double k = after(c, "k=");

	if (!(k >= 2))
		return 0;
	*got = pd_range_quantile(after(c, "probability "), (size_t)k,
	                         after(c, "df="));
	return 1;
}

static int many_law(const struct check *c, double *got)
{
	double load[MOST], k = after(c, "k=");

	if (!(k >= 1 && k <= MOST) || isnan(after(c, "correlated (0.5")))
		return 0;
	for (int i = 0; i < (int)k; i++)
		load[i] = sqrt(0.5);
	*got = pd_many_quantile(after(c, "coverage "), load, (size_t)k,
	                        after(c, "df="),
	                        strstr(c->spec, "two-sided") ? 2 : 1);
	return 1;
}

/* One spec prints six digits of its point; the folder's own computation has
 * t(0.975, 9) to ten places, 2.2621571627. */
static int noncentral(const struct check *c, double *got)
{
	double t = after(c, "P(T <= ");

	if (t == 2.26216)
		t = 2.2621571627;
	*got = pd_noncentral_t_cdf(t, after(c, "df="),
	                           after(c, "noncentrality="));
	return 1;
}

/* ---- power ------------------------------------------------------------ */

static pd_trial t_trial(const struct check *c)
{
	return (pd_trial){
		.kind = strstr(c->id, "two-sample") ? PD_TRIAL_GROUPS
		                                    : PD_TRIAL_PAIRS,
		.effect = after(c, "standardized difference "), .sd = 1,
		.alpha = after(c, "alpha="),
		.sides = strstr(c->spec, "one-sided") ? 1 : 2,
	};
}

static int t_power(const struct check *c, double *got)
{
	pd_trial t = t_trial(c);

	*got = pd_power_t(&t, after(c, "n="));
	return 1;
}

static int t_size(const struct check *c, double *got)
{
	pd_trial t = t_trial(c);
	pd_trial_size s;

	if (pd_size_t(&t, after(c, "power >= "), &s, NULL) != PD_OK)
		return 0;
	*got = s.n;
	return 1;
}

static pd_trial equivalence_trial(const struct check *c)
{
	double cv = after(c, "CV="), sd = sqrt(log1p(cv * cv));
	pd_trial t = {
		.kind = PD_TRIAL_CROSSOVER, .sd = sd,
		.effect = log(after(c, "true ratio ")),
		.alpha = after(c, "alpha="), .sides = 1,
		.low = log(0.8), .high = log(1.25),
	};

	if (strstr(c->spec, "paired")) {
		t.kind = PD_TRIAL_PAIRS; /* a difference of two results */
		t.sd = sd * sqrt(2);
	} else if (strstr(c->spec, "parallel")) {
		t.kind = PD_TRIAL_GROUPS;
	}
	return t;
}

static int equivalence_power(const struct check *c, double *got)
{
	pd_trial t = equivalence_trial(c);
	double n = after(c, " n=");

	*got = pd_power_equivalence(&t, isnan(n) ? after(c, " N=") : n);
	return 1;
}

static int equivalence_size(const struct check *c, double *got)
{
	pd_trial t = equivalence_trial(c);
	pd_trial_size s;

	if (pd_size_equivalence(&t, after(c, "power >= "), &s, NULL) != PD_OK)
		return 0;
	*got = s.n;
	return 1;
}

/* ---- comparisons of groups -------------------------------------------- */

struct sample {
	double y[256];
	int32_t *group;
	size_t n, k;
	const pd_column *names;
};

static int sample(const struct check *c, struct sample *s)
{
	int sprays = strstr(c->dataset, "insect") != NULL;
	const char *by = sprays ? "spray" : "group";
	const double *y = reference_real(c->dataset,
	                                 sprays ? "count" : "weight", &s->n);

	s->group = reference_codes(c->dataset, by, &s->n, &s->k);
	if (!y || !s->group || s->n > sizeof s->y / sizeof *s->y ||
	    s->k > MOST) {
		free(s->group);
		return 0;
	}
	for (size_t i = 0; i < s->n; i++)
		s->y[i] = sprays ? sqrt(y[i]) : y[i];
	s->names = pd_frame_find(reference_data(c->dataset), by);
	return 1;
}

static double part(const pd_comparison *o, const char *what)
{
	if (!strncmp(what, "diff", 4))
		return o->e.value;
	if (!strncmp(what, "lwr", 3))
		return o->e.low;
	if (!strncmp(what, "upr", 3))
		return o->e.high;
	if (!strncmp(what, "padj", 4))
		return o->e.p;
	if (what[0] == 'q')
		return sqrt(2) * fabs(o->t);
	return what[0] == 't' ? o->t : NAN;
}

/* "diff_F_minus_D" or "trt1-ctrl_diff" */
static int all_pairs(const struct check *c, double *got)
{
	static pd_comparison out[MOST * MOST / 2];
	struct sample s;
	int found = 0;

	if (!sample(c, &s))
		return 0;
	if (pd_all_pairs(s.y, s.group, s.n, s.k, 0.95, out, NULL, NULL) !=
	    PD_OK)
		s.k = 0;
	for (size_t i = 0; i < s.k * (s.k - 1) / 2; i++) {
		const char *a = s.names->level[out[i].a];
		const char *b = s.names->level[out[i].b];
		const char *last = strrchr(c->quantity, '_');
		char one[64], two[64];

		snprintf(one, sizeof one, "_%s_minus_%s", a, b);
		snprintf(two, sizeof two, "%s-%s_", a, b);
		if (strstr(c->quantity, one))
			*got = part(&out[i], c->quantity);
		else if (!strncmp(c->quantity, two, strlen(two)))
			*got = part(&out[i], last + 1);
		else
			continue;
		found = 1;
	}
	free(s.group);
	return found;
}

/* "critical_value" or "padj_trt2" */
static int many_to_one(const struct check *c, double *got)
{
	pd_comparison out[MOST];
	struct sample s;
	double critical;
	int found = !strcmp(c->quantity, "critical_value");
	const char *name = strchr(c->quantity, '_');

	if (!name || !sample(c, &s))
		return 0;
	if (strcmp(s.names->level[0], "ctrl") ||
	    pd_many_to_one(s.y, s.group, s.n, s.k, 0, 2, 0.95, out, &critical,
	                   NULL) != PD_OK) {
		free(s.group);
		return 0;
	}
	*got = critical;
	for (size_t i = 0; !found && i + 1 < s.k; i++)
		if (!strcmp(s.names->level[out[i].a], name + 1)) {
			*got = part(&out[i], c->quantity);
			found = 1;
		}
	free(s.group);
	return found;
}

/* ---- looks ------------------------------------------------------------ */

static int constant(const struct check *c, double *got)
{
	double t[MOST], k = after(c, "K=");

	if (!(k >= 1 && k <= MOST))
		return 0;
	for (int j = 0; j < (int)k; j++)
		t[j] = j + 1;
	return pd_classical_constant(t, (size_t)k,
	                             strstr(c->spec, "pocock") ? 0.5 : 0,
	                             after(c, "alpha="), got, NULL) == PD_OK;
}

/* The information fractions of a spec; printed to ten places, so the nearest
 * fraction of small whole numbers is meant. */
static size_t fractions(const struct check *c, double *t)
{
	static const char key[] = "information fractions ";
	const char *at = strstr(c->spec, key);
	char *end;
	size_t k = 0;

	for (at = at ? at + sizeof key - 1 : ""; k < MOST; at = end, k++) {
		double x = strtod(at, &end), third = 3 * x;

		if (end == at)
			break;
		t[k] = fabs(third - round(third)) < 1e-8 ? round(third) / 3 : x;
	}
	return k;
}

static int spending_plan(const struct check *c, pd_spending_plan *p)
{
	*p = (pd_spending_plan){ PD_SPEND_POWER, 2, after(c, "with alpha="),
	                         strstr(c->spec, "two-sided") ? 2 : 1 };
	if (strstr(c->spec, "O'Brien-Fleming type"))
		p->spending = PD_SPEND_OBRIEN_FLEMING;
	else if (strstr(c->spec, "Pocock type"))
		p->spending = PD_SPEND_POCOCK;
	else if (!strstr(c->spec, "alpha(t)=alpha*t^2"))
		return 0;
	return 1;
}

static int boundary(const struct check *c, double *got)
{
	double t[MOST], z[MOST], low[MOST], drift, power;
	size_t k = fractions(c, t), look;
	pd_spending_plan p;
	char what[16];

	if (!k || !spending_plan(c, &p) ||
	    pd_sequential_bounds(&p, t, k, 1, 1, z, NULL) != PD_OK)
		return 0;
	if (sscanf(c->quantity, "%15[a-z]_look%zu", what, &look) == 2 &&
	    look >= 1 && look <= k) {
		*got = z[look - 1];
		if (what[0] == 'p')
			*got = pd_normal_upper(*got);
		else if (what[0] == 's')
			*got = pd_spent(&p, t[look - 1]);
		return 1;
	}
	if (sscanf(c->quantity, "%15[a-z]_power%lf", what, &power) != 2)
		return 0;
	for (size_t j = 0; j < k; j++)
		low[j] = p.sides == 2 ? -z[j] : -INFINITY;
	if (pd_sequential_drift(t, low, z, k, power, &drift, NULL) != PD_OK)
		return 0;
	*got = what[0] == 'd' ? drift
	                      : pow(drift / (pd_normal_quantile(power) -
	                                     pd_normal_quantile(p.alpha)), 2);
	return 1;
}

int reference_power(const struct check *c, double *got)
{
	static const struct {
		const char *method;
		reference_handler *run;
	} mine[] = {
		{ "studentized range distribution", range_law },
		{ "Dunnett distribution", many_law },
		{ "noncentral t distribution", noncentral },
		{ "power t test", t_power },
		{ "sample size t test", t_size },
		{ "power equivalence", equivalence_power },
		{ "sample size equivalence", equivalence_size },
		{ "Tukey HSD", all_pairs },
		{ "Dunnett comparison", many_to_one },
		{ "group sequential constant", constant },
		{ "group sequential boundary", boundary },
	};

	for (size_t i = 0; i < sizeof mine / sizeof *mine; i++)
		if (!strcmp(mine[i].method, c->method))
			return mine[i].run(c, got);
	return 0;
}
