/*
 * count_groups.c - adaptive Gauss-Hermite quadrature of a random intercept.
 *
 * Of one group, with e_j the rows' linear predictors and s the sd:
 *   G(z) = sum_j l_j(e_j + s z) - z^2/2 - ln(2 pi)/2,
 *   mode m: G'(m) = s sum l' - m = 0,   H = -G''(m) = 1 - s^2 sum l'',
 *   L = ln sum_k w_k exp(x_k^2 + G(m + r x_k)) + ln r,   r = sqrt(2 / H).
 * For a parameter a, with P_k the share of node k in the sum:
 *   dL = sum_k P_k [G_a(z_k) + G'(z_k) (dm + x_k dr)] + dr / r,
 *   dm = (d/da) G'(m) / H,
 *   dr / r = -dH / (2 H),  dH = (d/da) H(m) - s^3 sum l''' dm.
 */
#include "stats/count_groups.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_MODE_STEPS = 200 };
static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;
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

static void cut_groups(pd_count_groups *g, const struct place *place)
{
	for (size_t i = 0; i < g->n; i++)
		if (!i || place[i].code != place[i - 1].code) {
			g->code[g->n_groups] = place[i].code;
			g->first[g->n_groups++] = i;
		}
	g->first[g->n_groups] = g->n;
	for (size_t k = 0; k < g->n_groups; k++)
		if (g->first[k + 1] - g->first[k] > g->longest)
			g->longest = g->first[k + 1] - g->first[k];
}

static void copy_rows(pd_count_groups *g, const pd_count_spec *rows,
                      const double *q, const struct place *place)
{
	for (size_t i = 0; i < g->n; i++) {
		size_t from = place[i].row;

		memcpy(g->q + i * g->p, q + from * g->p, g->p * sizeof *q);
		g->offset[i] = rows->offset ? rows->offset[from] : 0;
		g->y[i] = (size_t)rows->y[from];
		g->at_least[i] = rows->at_least && rows->at_least[from];
	}
}

static pd_status make_room(pd_arena *arena, pd_count_groups *g, pd_error *err)
{
	size_t n = g->n, m = g->p + 2;
	double **small[] = { &g->part, &g->shift, &g->spread, &g->sum,
	                     &g->hessian_low, &g->hessian_high, &g->moved };
	int short_of = 0;

	g->first = PD_NEW(arena, size_t, n + 1);
	g->code = PD_NEW(arena, int32_t, n);
	g->q = PD_NEW(arena, double, n * g->p);
	g->offset = PD_NEW(arena, double, n);
	g->y = PD_NEW(arena, size_t, n);
	g->at_least = PD_NEW(arena, unsigned char, n);
	g->mode = PD_NEW(arena, double, n);
	g->linear = PD_NEW(arena, double, n);
	g->row = PD_NEW(arena, pd_count_slopes, n);
	for (size_t k = 0; k < sizeof small / sizeof *small; k++) {
		*small[k] = PD_NEW(arena, double, m);
		short_of |= !*small[k];
	}
	if (short_of || !g->first || !g->code || !g->q || !g->offset ||
	    !g->y || !g->at_least || !g->mode || !g->linear || !g->row)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

pd_status pd_count_groups_new(pd_arena *arena, const pd_mixed_spec *spec,
                              const double *q, pd_count_groups *out,
                              pd_error *err)
{
	const pd_count_spec *rows = &spec->rows;
	struct place *place = PD_NEW(arena, struct place, rows->n);
	size_t most = 0;
	pd_status st;

	*out = (pd_count_groups){ .n = rows->n, .p = rows->p };
	if (!place)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < rows->n; i++) {
		if (spec->group[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu has no group",
			               i + 1);
		place[i] = (struct place){ spec->group[i], i };
	}
	st = make_room(arena, out, err);
	if (st != PD_OK)
		return st;
	qsort(place, rows->n, sizeof *place, by_code);
	cut_groups(out, place);
	st = pd_count_whole(rows->y, rows->n, out->y, &most, err);
	if (st != PD_OK)
		return st;
	copy_rows(out, rows, q, place);
	return pd_count_table_new(arena, most, &out->table, err);
}

pd_status pd_count_groups_nodes(pd_count_groups *g, unsigned nodes,
                                pd_error *err)
{
	gsl_integration_fixed_workspace *w;

	if (!nodes || nodes > PD_COUNT_MOST_NODES)
		return pd_fail(err, PD_DATA, "%u quadrature nodes, expected 1 "
		               "to %d", nodes, PD_COUNT_MOST_NODES);
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

/* ---- one group ---------------------------------------------------------- */

/* Sums over the rows of a group at one z. */
struct at {
	double z, l, e, ee, eee, t, et, eet;
};

static void at_z(pd_count_groups *g, size_t group, double sd, double z,
                 struct at *a)
{
	size_t first = g->first[group], n = g->first[group + 1] - first;

	*a = (struct at){ .z = z, .l = -0.5 * z * z - HALF_LOG_TWO_PI };
	for (size_t i = 0; i < n; i++) {
		pd_count_slopes *s = &g->row[i];

		pd_count_row(&g->table, g->y[first + i],
		             g->at_least[first + i], g->linear[i] + sd * z, s);
		a->l += s->l;
		a->e += s->e;
		a->ee += s->ee;
		a->eee += s->eee;
		a->t += s->t;
		a->et += s->et;
		a->eet += s->eet;
	}
}

/* The top of G, which is concave; 0 when it cannot be found. */
static int find_mode(pd_count_groups *g, size_t group, double sd, struct at *a)
{
	double z = g->mode[group], slope, step, before;

	at_z(g, group, sd, z, a);
	if (!isfinite(a->l) || !isfinite(a->e))
		at_z(g, group, sd, z = 0, a);
	for (int k = 0; k < MOST_MODE_STEPS; k++) {
		if (!isfinite(a->l))
			return 0;
		slope = sd * a->e - z;
		step = slope / (1 - sd * sd * a->ee);
		if (fabs(step) <= 1e-11 * (1 + fabs(z)))
			break;
		before = a->l;
		for (int h = 0; h < 50; h++, step /= 2) {
			at_z(g, group, sd, z + step, a);
			if (a->l >= before - 1e-13 * (1 + fabs(before)))
				break;
		}
		z += step;
	}
	z += step;
	at_z(g, group, sd, z, a);
	g->mode[group] = z;
	return isfinite(a->l);
}

/* dm into shift[] and dr / r into spread[], at the mode. */
static void move_rule(pd_count_groups *g, size_t group, double sd,
                      const struct at *a, double bend)
{
	size_t p = g->p, first = g->first[group];
	size_t n = g->first[group + 1] - first;
	double s2 = sd * sd, s3 = s2 * sd;

	for (size_t j = 0; j < p; j++) {
		double ee = 0, eee = 0;

		for (size_t i = 0; i < n; i++) {
			double x = g->q[(first + i) * p + j];

			ee += g->row[i].ee * x;
			eee += g->row[i].eee * x;
		}
		g->shift[j] = sd * ee / bend;
		g->spread[j] = -s2 * eee;
	}
	g->shift[p] = (sd * a->e + s2 * a->z * a->ee) / bend;
	g->spread[p] = -2 * s2 * a->ee - s3 * a->z * a->eee;
	g->shift[p + 1] = sd * a->et / bend;
	g->spread[p + 1] = -s2 * a->eet;
	for (size_t j = 0; j < p + 2; j++)
		g->spread[j] = -0.5 * (g->spread[j] -
		                       s3 * a->eee * g->shift[j]) / bend;
}

/* Add weight * G_a at this z (rows at z in g->row) to sum[]. */
static void add_slopes(pd_count_groups *g, size_t group, double sd,
                       const struct at *a, double weight, double x, double r)
{
	size_t p = g->p, first = g->first[group];
	size_t n = g->first[group + 1] - first;
	double slope = sd * a->e - a->z;

	for (size_t j = 0; j < p; j++)
		g->part[j] = 0;
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < p; j++)
			g->part[j] += g->row[i].e * g->q[(first + i) * p + j];
	g->part[p] = sd * a->z * a->e;
	g->part[p + 1] = a->t;
	for (size_t j = 0; j < p + 2; j++)
		g->sum[j] += weight *
		             (g->part[j] + slope * (g->shift[j] +
		                                    x * r * g->spread[j]));
}

/* Log-likelihood of a group; its slopes added to gradient[]. */
static double group_value(pd_count_groups *g, size_t group, double sd,
                          double *gradient)
{
	struct at mode, a;
	double bend, r, value, total = 0, scale = 0;
	size_t m = g->p + 1 + g->free_theta;

	if (!find_mode(g, group, sd, &mode))
		return NAN;
	bend = 1 - sd * sd * mode.ee;
	r = sqrt(2 / bend);
	move_rule(g, group, sd, &mode, bend);
	memset(g->sum, 0, (g->p + 2) * sizeof *g->sum);
	/* Shares relative to the middle of the rule: exp stays in range. */
	for (unsigned k = 0; k < g->nodes; k++) {
		double x = g->node[k], share;

		at_z(g, group, sd, mode.z + r * x, &a);
		share = exp(a.l - mode.l + g->log_weight[k]);
		if (!(share > 0))
			continue;
		total += share;
		add_slopes(g, group, sd, &a, share, x, r);
		scale = fmax(scale, share);
	}
	value = mode.l + log(total) + log(r);
	for (size_t j = 0; j < m; j++)
		gradient[j] += g->sum[j] / total + g->spread[j];
	return isfinite(scale) ? value : NAN;
}

/* ---- all groups --------------------------------------------------------- */

static void set_linear(pd_count_groups *g, size_t group, const double *par)
{
	size_t first = g->first[group];

	for (size_t i = first; i < g->first[group + 1]; i++) {
		double e = g->offset[i];

		for (size_t j = 0; j < g->p; j++)
			e += g->q[i * g->p + j] * par[j];
		g->linear[i - first] = e;
	}
}

static double all_groups(pd_count_groups *g, const double *par,
                         double *gradient)
{
	double sd = exp(par[g->p]), value = 0;

	if (g->free_theta)
		pd_count_table_set(&g->table, exp(par[g->p + 1]));
	memset(gradient, 0, (g->p + 1 + g->free_theta) * sizeof *gradient);
	for (size_t k = 0; k < g->n_groups && isfinite(value); k++) {
		set_linear(g, k, par);
		value += group_value(g, k, sd, gradient);
	}
	return value;
}

void pd_count_groups_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian)
{
	pd_count_groups *g = with;
	size_t m = g->p + 1 + g->free_theta;

	for (size_t j = 0; hessian && j < m; j++) {
		memcpy(g->moved, par, m * sizeof *par);
		g->moved[j] = par[j] + DIFFERENCE;
		all_groups(g, g->moved, g->hessian_high);
		g->moved[j] = par[j] - DIFFERENCE;
		all_groups(g, g->moved, g->hessian_low);
		for (size_t k = 0; k < m; k++)
			hessian[j * m + k] = (g->hessian_high[k] -
			                      g->hessian_low[k]) /
			                     (2 * DIFFERENCE);
	}
	for (size_t j = 0; hessian && j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[j * m + k] = hessian[k * m + j] =
			    0.5 * (hessian[j * m + k] + hessian[k * m + j]);
	*value = all_groups(g, par, gradient);
}
