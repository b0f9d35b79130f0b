/*
 * count_groups.c - the groups' integrals added up, with slopes and curvature.
 */
#include "stats/count_groups.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHARE_NODES = 5 };
static const double DIFFERENCE = 1e-4; /* of a parameter of order 1 */

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

/* Rows by group into g->from. */
static pd_status sort_rows(pd_arena *arena, pd_count_groups *g,
                           const int32_t *group, pd_error *err)
{
	pd_arena_mark mark = pd_arena_here(arena);
	struct place *place;
	int sorted = 1;

	for (size_t i = 0; i < g->n; i++) {
		if (group[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu has no group",
			               i + 1);
		g->from[i] = i;
		sorted &= !i || group[i] >= group[i - 1];
	}
	if (sorted)
		return PD_OK;
	place = PD_NEW(arena, struct place, g->n);
	if (!place)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < g->n; i++)
		place[i] = (struct place){ group[i], i };
	qsort(place, g->n, sizeof *place, by_code);
	for (size_t i = 0; i < g->n; i++)
		g->from[i] = place[i].row;
	pd_arena_rewind(arena, mark);
	return PD_OK;
}

static pd_status cut_groups(pd_arena *arena, pd_count_groups *g,
                            const int32_t *group, pd_error *err)
{
	const size_t *from = g->from;
	size_t k = 0;

	for (size_t i = 0; i < g->n; i++)
		g->n_groups += !i || group[from[i]] != group[from[i - 1]];
	g->first = PD_NEW(arena, size_t, g->n_groups + 1);
	g->code = PD_NEW(arena, int32_t, g->n_groups);
	if (!g->first || !g->code)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < g->n; i++)
		if (!i || group[from[i]] != group[from[i - 1]]) {
			g->code[k] = group[from[i]];
			g->first[k++] = i;
		}
	g->first[k] = g->n;
	for (k = 0; k < g->n_groups; k++)
		if (g->first[k + 1] - g->first[k] > g->longest)
			g->longest = g->first[k + 1] - g->first[k];
	return PD_OK;
}

static void copy_rows(pd_count_groups *g, const pd_count_spec *rows,
                      const double *q)
{
	for (size_t k = 0; k < g->n_groups; k++)
		for (size_t i = g->first[k]; i < g->first[k + 1]; i++) {
			size_t from = g->from[i];

			for (size_t j = 0; j < g->p; j++)
				g->x.column[j * g->n + i] =
				    q[from * g->p + j];
			g->offset[i] = rows->offset ? rows->offset[from] : 0;
			g->y[i] = rows->y[from];
			g->at_least[i] = rows->at_least &&
			                 rows->at_least[from];
			g->cut[k] |= g->at_least[i];
			g->any_cut |= g->at_least[i];
		}
}

static int make_rows(pd_arena *arena, pd_count_groups *g)
{
	size_t n = g->n;

	g->from = PD_NEW(arena, size_t, n);
	g->offset = PD_NEW(arena, double, n);
	g->y = PD_NEW(arena, double, n);
	g->x = (pd_count_columns){ n, g->p,
	                           PD_NEW(arena, double, n * g->p + 1) };
	g->linear = PD_NEW(arena, double, n);
	g->mean = PD_NEW(arena, double, n);
	g->weight = PD_NEW(arena, double, n);
	g->bend = PD_NEW(arena, double, n);
	g->at_least = PD_NEW(arena, unsigned char, n);
	return g->from && g->offset && g->y && g->at_least && g->x.column &&
	       g->linear && g->mean && g->weight && g->bend;
}

static int make_scratch(pd_arena *arena, pd_count_groups *g)
{
	size_t l = g->longest, m = g->p + 2;
	double **new[] = { &g->unit_weight, &g->spread.ee, &g->spread.ez,
	                   &g->spread.et, &g->bar, &g->hessian_low,
	                   &g->hessian_high, &g->moved, &g->spread.part,
	                   &g->spread.first };

	for (size_t k = 0; k < sizeof new / sizeof *new; k++) {
		*new[k] = PD_NEW(arena, double, k < 4 ? l : m);
		if (!*new[k])
			return 0;
	}
	g->spread.p = g->p;
	g->spread.stride = g->n;
	g->alone = (pd_count_spread){ 1, 1, g->alone_room, g->alone_room + 1,
	                              g->alone_room + 2, g->alone_room + 3,
	                              g->alone_room + 4, g->alone_room + 7,
	                              g->alone_room + 10 };
	g->alone_room[0] = 1;
	g->spread.second = PD_NEW(arena, double, m * m);
	g->cut = PD_NEW(arena, unsigned char, g->n_groups);
	g->mode = PD_NEW(arena, double, g->n_groups);
	return g->spread.second && g->cut && g->mode;
}

pd_status pd_count_groups_new(pd_arena *arena, const pd_mixed_spec *spec,
                              const double *q, pd_count_groups *out,
                              pd_error *err)
{
	const pd_count_spec *rows = &spec->rows;
	pd_arena_mark mark = pd_arena_here(arena);
	size_t most = 0, *whole = PD_NEW(arena, size_t, rows->n);
	pd_status st;

	*out = (pd_count_groups){ .n = rows->n, .p = rows->p,
	                          .exact = true };
	if (!whole)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_count_whole(rows->y, rows->n, whole, &most, err);
	pd_arena_rewind(arena, mark); /* checked, not kept */
	if (st == PD_OK && !make_rows(arena, out))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = sort_rows(arena, out, spec->group, err);
	if (st == PD_OK)
		st = cut_groups(arena, out, spec->group, err);
	if (st != PD_OK)
		return st;
	if (!make_scratch(arena, out))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	copy_rows(out, rows, q);
	st = pd_count_rule_set(&out->shares, SHARE_NODES, err);
	if (st != PD_OK)
		return st;
	st = pd_count_table_new(arena, most, &out->table, err);
	if (st == PD_OK)
		st = pd_count_table_cut(arena, &out->table, out->y,
		                        out->at_least, out->n, err);
	if (st == PD_OK)
		st = pd_count_desk_new(arena, &out->table, out->longest,
		                       &out->desk, err);
	return st;
}

pd_status pd_count_groups_nodes(pd_count_groups *g, unsigned nodes,
                                pd_error *err)
{
	return pd_count_rule_set(&g->rule, nodes, err);
}

/* ---- one group ---------------------------------------------------------- */

static void sum_rows(const pd_count_table *t, size_t n, const double *linear,
                     const double *y, pd_count_unit *u)
{
	for (size_t j = 0; j < n; j++) {
		size_t k = (size_t)y[j];

		u->sum_y += y[j];
		u->base += t->rise[k] - t->log_factorial[k] +
		           (k ? y[j] * linear[j] : 0);
		u->base_t += t->rise_t[k];
		u->base_tt += t->rise_tt[k];
	}
}

int pd_count_unit_make(const pd_count_desk *d, size_t n,
                       const double *linear, double *mean, const double *y,
                       const unsigned char *at_least, int cut,
                       pd_count_one *one, pd_count_unit *out)
{
	double sum = 0;

	*out = (pd_count_unit){ .n = n, .e = linear, .mu = mean, .y = y,
	                        .at_least = cut ? at_least : NULL };
	d->kernel->exp(linear, mean, n);
	for (size_t j = 0; j < n; j++)
		sum += mean[j];
	if (!cut)
		sum_rows(d->table, n, linear, y, out);
	if (cut || isfinite(d->table->theta) || !(sum > 0) || isinf(sum))
		return 0;
	*one = (pd_count_one){ log(sum), sum, out->sum_y };
	out->n = 1;
	out->e = &one->e;
	out->mu = &one->mu;
	out->y = &one->y;
	return 1;
}

/* What one group adds, at `par`; sd and theta set. */
struct group {
	size_t k, first, n;
	pd_count_one one;
	pd_count_unit unit;
	int summed;        /* the unit is the sum of the rows                */
	double sd;
	pd_count_integral in;
	double left;       /* of the sum: its weight less its count          */
};

static void begin_group(pd_count_groups *g, size_t k, double sd,
                        struct group *at)
{
	size_t first = at->first = g->first[k];

	at->k = k;
	at->n = g->first[k + 1] - first;
	at->sd = sd;
	at->summed = pd_count_unit_make(&g->desk, at->n, g->linear + first,
	                                g->mean + first, g->y + first,
	                                g->at_least + first, g->cut[k],
	                                &at->one, &at->unit);
}

/* Integral, and the rows' weights in the gradient into g->weight. */
static void integrate(pd_count_groups *g, struct group *at,
                      pd_count_spread *spread)
{
	double *weight = g->weight + at->first;

	if (spread && !at->summed)
		spread->x = g->x.column + at->first;
	at->in = pd_count_unit_integral(&g->desk, &g->rule, &at->unit, 0,
	                                at->sd, &g->mode[at->k],
	                                at->summed ? g->unit_weight : weight,
	                                spread);
	if (!at->summed)
		return;
	at->left = g->unit_weight[0] - at->one.y;
	for (size_t j = 0; j < at->n; j++)
		weight[j] = g->y[at->first + j] +
		            at->left * (g->mean[at->first + j] / at->one.mu);
}

/* ---- curvature ---------------------------------------------------------- */

/* A sum's curvature in its shift and ln sd, spread over the rows: that of the
 * mean row, each weighing as its mean, and the rows' own spread about it. */
static void add_sum(pd_count_groups *g, const struct group *at, double ee,
                    double ez, double zz, double *hessian, size_t m)
{
	size_t p = g->p;
	double *bar = g->bar;

	for (size_t i = at->first; i < at->first + at->n; i++)
		g->bend[i] = at->left * (g->mean[i] / at->one.mu);
	for (size_t k = 0; k < p; k++) {
		const double *x = g->x.column + k * g->n;

		bar[k] = 0;
		for (size_t i = at->first; i < at->first + at->n; i++)
			bar[k] += g->mean[i] * x[i];
		bar[k] /= at->one.mu;
	}
	for (size_t k = 0; k < p; k++) {
		for (size_t l = 0; l <= k; l++)
			hessian[k * m + l] += (ee - at->left) * bar[k] *
			                      bar[l];
		hessian[p * m + k] += ez * bar[k];
	}
	hessian[p * m + p] += zz;
}

static void add_spread(pd_count_groups *g, const struct group *at,
                       double *hessian, size_t m)
{
	const pd_count_spread *s = &g->spread;
	size_t p = g->p;

	for (size_t j = 0; j < at->n; j++) {
		g->bend[at->first + j] = s->ee[j];
		for (size_t k = 0; k < p; k++) {
			double x = s->x[k * s->stride + j];

			hessian[p * m + k] += s->ez[j] * x;
			if (g->free_theta)
				hessian[(p + 1) * m + k] += s->et[j] * x;
		}
	}
	for (size_t i = 0; i < m; i++)
		for (size_t k = 0; k <= i; k++)
			hessian[i * m + k] += s->second[i * (p + 2) + k];
}

/* The exact curvature of a summed group, from the slopes of its integral in
 * the shift and ln sd a little to either side; m = p + 1. */
static void add_differences(pd_count_groups *g, const struct group *at,
                            double *hessian, size_t m)
{
	pd_count_integral end[4];
	double h = DIFFERENCE, mode = g->mode[at->k];

	for (int k = 0; k < 4; k++) {
		double move = k % 2 ? h : -h, start = mode;

		end[k] = pd_count_unit_integral(
		    &g->desk, &g->rule, &at->unit, k < 2 ? move : 0,
		    k < 2 ? at->sd : at->sd * exp(move), &start,
		    g->unit_weight, NULL);
	}
	add_sum(g, at, (end[1].shift - end[0].shift) / (2 * h),
	        (end[1].log_sd - end[0].log_sd + end[3].shift -
	         end[2].shift) / (4 * h),
	        (end[3].log_sd - end[2].log_sd) / (2 * h), hessian, m);
}

static void add_hessian(pd_count_groups *g, const struct group *at,
                        double *hessian, size_t m)
{
	const pd_count_spread *s = &g->alone;

	if (!at->summed)
		add_spread(g, at, hessian, m);
	else if (g->exact)
		add_differences(g, at, hessian, m);
	else
		add_sum(g, at, s->ee[0] + s->second[0], s->ez[0] +
		        s->second[3], s->second[4], hessian, m);
}

/* ---- all groups --------------------------------------------------------- */

/* hessian: lower half, NULL: not wanted; *whole is cleared where the exact one
 * needs differences over all parameters. */
static double all_groups(pd_count_groups *g, const double *par,
                         double *gradient, double *hessian, int *whole)
{
	double sd = exp(par[g->p]), value = 0;
	size_t m = g->p + 1 + g->free_theta;

	if (g->free_theta)
		pd_count_table_set(&g->table, exp(par[g->p + 1]));
	memset(gradient, 0, m * sizeof *gradient);
	if (hessian)
		memset(hessian, 0, m * m * sizeof *hessian);
	g->desk.kernel->linear(&g->x, par, g->offset, g->linear);
	for (size_t k = 0; k < g->n_groups && isfinite(value); k++) {
		struct group at;

		begin_group(g, k, sd, &at);
		integrate(g, &at, !hessian || g->exact ? NULL :
		                  at.summed ? &g->alone : &g->spread);
		value += at.in.value;
		gradient[g->p] += at.in.log_sd;
		if (g->free_theta)
			gradient[g->p + 1] += at.in.t;
		if (hessian)
			*whole &= !g->exact || at.summed;
		if (hessian && *whole)
			add_hessian(g, &at, hessian, m);
	}
	if (!isfinite(value))
		return value;
	g->desk.kernel->cross(&g->x, g->weight, gradient);
	if (hessian && *whole)
		g->desk.kernel->squares(&g->x, g->bend, hessian, m);
	return value;
}

static void differences(pd_count_groups *g, const double *par,
                        double *hessian)
{
	size_t m = g->p + 1 + g->free_theta;

	memcpy(g->moved, par, m * sizeof *par);
	for (size_t j = 0; j < m; j++) {
		g->moved[j] = par[j] + DIFFERENCE;
		all_groups(g, g->moved, g->hessian_high, NULL, NULL);
		g->moved[j] = par[j] - DIFFERENCE;
		all_groups(g, g->moved, g->hessian_low, NULL, NULL);
		g->moved[j] = par[j];
		for (size_t k = 0; k < m; k++)
			hessian[j * m + k] = (g->hessian_high[k] -
			                      g->hessian_low[k]) /
			                     (2 * DIFFERENCE);
	}
	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[j * m + k] = 0.5 * (hessian[j * m + k] +
			                            hessian[k * m + j]);
}

/* With the few nodes of g->shares, whose shares give a curvature. */
static void by_shares(pd_count_groups *g, const double *par, double *gradient,
                      double *hessian)
{
	pd_count_rule rule = g->rule;
	bool exact = g->exact;
	int whole = 1;

	g->rule = g->shares;
	g->exact = false;
	all_groups(g, par, gradient, hessian, &whole);
	g->rule = rule;
	g->exact = exact;
}

void pd_count_groups_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian)
{
	pd_count_groups *g = with;
	size_t m = g->p + 1 + g->free_theta;
	bool blank = g->exact && (g->free_theta || g->any_cut);
	int whole = !blank;

	if (hessian && g->rough) {
		by_shares(g, par, gradient, hessian);
		whole = 0; /* value and slopes are those of the rule in use */
	} else if (hessian && whole) {
		*value = all_groups(g, par, gradient, hessian, &whole);
	}
	if (hessian && !whole && !g->rough)
		differences(g, par, hessian);
	if (!hessian || !whole)
		*value = all_groups(g, par, gradient, NULL, NULL);
	for (size_t j = 0; hessian && j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[k * m + j] = hessian[j * m + k];
}
