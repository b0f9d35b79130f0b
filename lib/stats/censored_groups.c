/*
 * censored_groups.c - rows by group, the rule, and the sums over nodes.
 */
#include "stats/censored_groups.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_MODE_STEPS = 200, MOST_HALVINGS = 50, MOST_POINTS = 10000 };
static const double NOTHING = 1e-19; /* of the middle's height */
static const double RANGE = 18;      /* of z that can hold more */
static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;

/* ---- setting up --------------------------------------------------------- */

struct place {
	int32_t code;
	size_t row;
};

static int by_code(const void *a, const void *b)
{
	const struct place *x = a, *y = b;

	if (x->code != y->code)
		return x->code < y->code ? -1 : 1;
	return (x->row > y->row) - (x->row < y->row);
}

static pd_status make_room(pd_arena *arena, pd_censored_groups *g,
                           pd_error *err)
{
	size_t n = g->n, m = g->p + 2;
	struct { double **at; size_t n; } want[] = {
		{ &g->q, n * g->p }, { &g->low, n }, { &g->high, n },
		{ &g->mode, n }, { &g->linear, n }, { &g->part_of_g, m },
		{ &g->mean, m }, { &g->second, m * m },
	};
	bool short_of = false;

	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(arena, double, want[i].n);
		short_of = short_of || !*want[i].at;
	}
	g->first = PD_NEW(arena, size_t, n + 1);
	g->row = PD_NEW(arena, size_t, n);
	g->code = PD_NEW(arena, int32_t, n);
	g->slopes = PD_NEW(arena, pd_censored_slopes, n);
	g->sum = PD_NEW(arena, pd_censored_slopes, n);
	if (short_of || !g->first || !g->row || !g->code || !g->slopes ||
	    !g->sum)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

static void cut_groups(pd_censored_groups *g, const struct place *place)
{
	for (size_t i = 0; i < g->n; i++) {
		g->row[i] = place[i].row;
		if (!i || place[i].code != place[i - 1].code) {
			g->code[g->n_groups] = place[i].code;
			g->first[g->n_groups++] = i;
		}
	}
	g->first[g->n_groups] = g->n;
	for (size_t k = 0; k < g->n_groups; k++)
		if (g->first[k + 1] - g->first[k] > g->longest)
			g->longest = g->first[k + 1] - g->first[k];
}

pd_status pd_censored_groups_new(pd_arena *arena, size_t n, size_t p,
                                 const double *q, const double *low,
                                 const double *high, const int32_t *group,
                                 pd_censored_groups *out, pd_error *err)
{
	struct place *place = PD_NEW(arena, struct place, n);
	pd_status st;

	*out = (pd_censored_groups){ .n = n, .p = p };
	if (!place)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++) {
		if (group[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu has no group",
			               i + 1);
		place[i] = (struct place){ group[i], i };
	}
	st = make_room(arena, out, err);
	if (st != PD_OK)
		return st;
	qsort(place, n, sizeof *place, by_code);
	cut_groups(out, place);
	for (size_t i = 0; i < n; i++) {
		size_t from = out->row[i];

		memcpy(out->q + i * p, q + from * p, p * sizeof *q);
		out->low[i] = low[from];
		out->high[i] = high[from];
	}
	return PD_OK;
}

pd_status pd_censored_groups_nodes(pd_censored_groups *g, unsigned nodes,
                                   pd_error *err)
{
	gsl_integration_fixed_workspace *w;

	if (!nodes || nodes > PD_CENSORED_MOST_NODES)
		return pd_fail(err, PD_DATA, "%u quadrature nodes, expected 1 "
		               "to %d", nodes, PD_CENSORED_MOST_NODES);
	g->nodes = nodes;
	g->node[0] = 0;
	g->log_weight[0] = 0.5 * log(M_PI);
	if (nodes == 1)
		return PD_OK;
	pd_base_init();
	w = gsl_integration_fixed_alloc(gsl_integration_fixed_hermite, nodes,
	                                0, 1, 0, 0);
	if (!w)
		return pd_fail(err, PD_NO_MEMORY, "no quadrature rule of %u "
		               "nodes", nodes);
	for (unsigned k = 0; k < nodes; k++) {
		double x = gsl_integration_fixed_nodes(w)[k];

		g->node[k] = x;
		g->log_weight[k] = log(gsl_integration_fixed_weights(w)[k]) +
		                   x * x;
	}
	gsl_integration_fixed_free(w);
	return PD_OK;
}

void pd_censored_groups_even(pd_censored_groups *g, double part)
{
	g->nodes = 0;
	g->part = part;
}

/* ---- one group ---------------------------------------------------------- */

/* Sums over the rows of a group at one z. */
struct at {
	double z, l, u, h, uu, uh, hh;
};

static void at_z(pd_censored_groups *g, size_t group, double w, double h,
                 double z, struct at *a)
{
	size_t first = g->first[group], n = g->first[group + 1] - first;

	*a = (struct at){ .z = z, .l = -0.5 * z * z - HALF_LOG_TWO_PI };
	for (size_t i = 0; i < n; i++) {
		pd_censored_slopes *s = &g->slopes[i];

		pd_censored_row(g->low[first + i], g->high[first + i],
		                g->linear[i] + w * z, h, s);
		a->l += s->l;
		a->u += s->u;
		a->h += s->h;
		a->uu += s->uu;
		a->uh += s->uh;
		a->hh += s->hh;
	}
}

/* The top of G; false when it cannot be found. */
static bool find_mode(pd_censored_groups *g, size_t group, double w, double h,
                      struct at *a)
{
	double z = w > 0 ? g->mode[group] : 0, step, before;

	at_z(g, group, w, h, z, a);
	if (!isfinite(a->l) || !isfinite(a->u))
		at_z(g, group, w, h, z = 0, a);
	for (int k = 0; k < MOST_MODE_STEPS; k++) {
		if (!isfinite(a->l))
			return false;
		step = (w * a->u - z) / (1 - w * w * a->uu);
		if (fabs(step) <= 1e-11 * (1 + fabs(z)))
			break;
		before = a->l;
		for (int i = 0; i < MOST_HALVINGS; i++, step /= 2) {
			at_z(g, group, w, h, z + step, a);
			if (a->l >= before - 1e-13 * (1 + fabs(before)))
				break;
		}
		z += step;
	}
	g->mode[group] = z;
	return isfinite(a->l);
}

/* Slopes of G in the parameters, of the rows at z in g->slopes. */
static void slopes_of_g(pd_censored_groups *g, size_t group, double w,
                        const struct at *a)
{
	size_t p = g->p, first = g->first[group];
	size_t n = g->first[group + 1] - first;

	memset(g->part_of_g, 0, p * sizeof *g->part_of_g);
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			g->part_of_g[j] += g->slopes[i].u *
			                   g->q[(first + i) * p + j];
	g->part_of_g[p] = a->h;
	g->part_of_g[p + 1] = w * a->z * a->u;
}

/* Second derivatives that hang on one node: G_a G_b, and G_ab but for the
 * sums of the rows, which wait in g->sum (uu, uh, hh; u: z times uu). */
static void add_second(pd_censored_groups *g, size_t group, double w,
                       const struct at *a, double share)
{
	size_t m = g->p + 2, p = g->p, n = g->first[group + 1] -
	                                   g->first[group];
	double v = w * a->z;

	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k <= j; k++)
			g->second[j * m + k] += share * g->part_of_g[j] *
			                        g->part_of_g[k];
	for (size_t i = 0; i < n; i++) {
		const pd_censored_slopes *s = &g->slopes[i];

		g->sum[i].uu += share * s->uu;
		g->sum[i].uh += share * s->uh;
		g->sum[i].u += share * v * s->uu;
	}
	g->second[p * m + p] += share * a->hh;
	g->second[(p + 1) * m + p] += share * v * a->uh;
	g->second[(p + 1) * m + p + 1] += share * v * (v * a->uu + a->u);
}

/* The rows' part of the second derivatives, lower triangle. */
static void finish_second(pd_censored_groups *g, size_t group)
{
	size_t p = g->p, m = p + 2, first = g->first[group];
	size_t n = g->first[group + 1] - first;

	for (size_t i = 0; i < n; i++) {
		const double *q = g->q + (first + i) * p;
		const pd_censored_slopes *s = &g->sum[i];

		for (size_t j = 0; j < p; j++) {
			for (size_t k = 0; k <= j; k++)
				g->second[j * m + k] += s->uu * q[j] * q[k];
			g->second[p * m + j] += s->uh * q[j];
			g->second[(p + 1) * m + j] += s->u * q[j];
		}
	}
}

/* One point z of the integral over a group. */
struct point {
	pd_censored_groups *g;
	size_t group;
	double w, h, top; /* top: G at the mode                              */
	double total;     /* of the shares so far                            */
	unsigned points;
	bool second;
};

static double add_point(struct point *o, double z, double log_weight)
{
	pd_censored_groups *g = o->g;
	struct at a;
	double share;

	at_z(g, o->group, o->w, o->h, z, &a);
	share = exp(a.l - o->top + log_weight);
	if (!(share > 0))
		return 0;
	o->total += share;
	o->points++;
	slopes_of_g(g, o->group, o->w, &a);
	for (size_t j = 0; j < g->p + 2; j++)
		g->mean[j] += share * g->part_of_g[j];
	if (o->second)
		add_second(g, o->group, o->w, &a, share);
	return share;
}

/* Outward from the middle; returns what a step is worth, NaN when there is no
 * end to it. */
static double even_points(struct point *o, double middle)
{
	const pd_censored_groups *g = o->g;
	double n = (double)(g->first[o->group + 1] - g->first[o->group]);
	double step = g->part / sqrt(1 + o->w * o->w * n);

	if (!(step > 0) || RANGE / step > MOST_POINTS)
		return NAN;
	add_point(o, middle, 0);
	for (int side = -1; side <= 1; side += 2) {
		unsigned k = 1;

		while (k < MOST_POINTS &&
		       add_point(o, middle + side * step * (double)k, 0) >=
		       NOTHING)
			k++;
		if (k == MOST_POINTS)
			return NAN;
	}
	return step;
}

static double hermite_points(struct point *o, double middle, double bend)
{
	const pd_censored_groups *g = o->g;
	double r = sqrt(2 / bend);

	for (unsigned k = 0; k < g->nodes; k++)
		add_point(o, middle + r * g->node[k], g->log_weight[k]);
	return r;
}

/* Log-likelihood of a group, slopes and curvatures added to the answer. */
static double group_value(pd_censored_groups *g, size_t group, double w,
                          double h, double *gradient, double *hessian)
{
	struct at mode;
	struct point o = { g, group, w, h, 0, 0, 0, hessian != NULL };
	double step = 1;
	size_t m = g->p + 2, used = g->p + 1 + g->free_sd;

	if (!find_mode(g, group, w, h, &mode))
		return NAN;
	o.top = mode.l;
	memset(g->mean, 0, m * sizeof *g->mean);
	memset(g->second, 0, m * m * sizeof *g->second);
	memset(g->sum, 0, g->longest * sizeof *g->sum);
	if (!(w > 0))
		add_point(&o, 0, HALF_LOG_TWO_PI);
	else if (g->nodes)
		step = hermite_points(&o, mode.z, 1 - w * w * mode.uu);
	else
		step = even_points(&o, mode.z);
	if (o.points > g->points)
		g->points = o.points;
	if (hessian)
		finish_second(g, group);
	for (size_t j = 0; j < used; j++) {
		g->mean[j] /= o.total;
		gradient[j] += g->mean[j];
		for (size_t k = 0; hessian && k <= j; k++)
			hessian[j * used + k] +=
			    g->second[j * m + k] / o.total -
			    g->mean[j] * g->mean[k];
	}
	return mode.l + log(o.total) + log(step);
}

/* ---- all groups --------------------------------------------------------- */

static void set_linear(pd_censored_groups *g, size_t group, const double *par)
{
	size_t first = g->first[group];

	for (size_t i = first; i < g->first[group + 1]; i++) {
		double sum = 0;

		for (size_t j = 0; j < g->p; j++)
			sum += g->q[i * g->p + j] * par[j];
		g->linear[i - first] = sum;
	}
}

void pd_censored_groups_likelihood(void *with, const double *par,
                                   double *value, double *gradient,
                                   double *hessian)
{
	pd_censored_groups *g = with;
	size_t used = g->p + 1 + g->free_sd;
	double h = par[g->p], w = g->free_sd ? exp(par[g->p + 1]) : 0;

	*value = h > 0 && isfinite(w) ? 0 : NAN;
	if (!isfinite(*value))
		return;
	g->points = 0;
	memset(gradient, 0, used * sizeof *gradient);
	if (hessian)
		memset(hessian, 0, used * used * sizeof *hessian);
	for (size_t k = 0; k < g->n_groups && isfinite(*value); k++) {
		set_linear(g, k, par);
		*value += group_value(g, k, w, h, gradient, hessian);
	}
	for (size_t j = 0; hessian && j < used; j++)
		for (size_t k = 0; k < j; k++)
			hessian[k * used + j] = hessian[j * used + k];
}
