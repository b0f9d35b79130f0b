/*
 * count_levels.c - nested adaptive quadrature of two random intercepts.
 */
#include "stats/count_levels.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_STEPS = 400, SMALL_NODES = 3 };
static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;
static const double DIFFERENCE = 1e-4; /* of a parameter of order 1 */
static const double LAST_STEP = 1e-8;

/* ---- setting up --------------------------------------------------------- */

struct place {
	int32_t outer, inner;
	size_t row;
};

static int by_codes(const void *a, const void *b)
{
	const struct place *x = a, *y = b;

	if (x->outer != y->outer)
		return x->outer < y->outer ? -1 : 1;
	if (x->inner != y->inner)
		return x->inner < y->inner ? -1 : 1;
	return (x->row > y->row) - (x->row < y->row);
}

/* id[n]: inner groups numbered in the order of (outer, inner). */
static pd_status number_groups(pd_arena *arena, pd_count_levels *l,
                               const pd_count_nested_spec *spec, int32_t *id,
                               pd_error *err)
{
	size_t n = spec->rows.n;
	struct place *place = PD_NEW(arena, struct place, n);
	int32_t next = -1;

	l->first = PD_NEW(arena, size_t, n + 1);
	l->outer_code = PD_NEW(arena, int32_t, n);
	if (!place || !l->first || !l->outer_code)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++) {
		if (spec->outer[i] < 0 || spec->inner[i] < 0)
			return pd_fail(err, PD_DATA, "row %zu has no group",
			               i + 1);
		place[i] = (struct place){ spec->outer[i], spec->inner[i],
		                           i };
	}
	qsort(place, n, sizeof *place, by_codes);
	for (size_t i = 0; i < n; i++) {
		int new = !i || place[i].outer != place[i - 1].outer;

		if (new || place[i].inner != place[i - 1].inner)
			next++;
		if (new) {
			l->outer_code[l->n_outer] = place[i].outer;
			l->first[l->n_outer++] = (size_t)next;
		}
		id[place[i].row] = next;
	}
	l->first[l->n_outer] = (size_t)(next + 1);
	return PD_OK;
}

static int make_scratch(pd_arena *arena, pd_count_levels *l)
{
	size_t n = l->g.n, m = l->g.p + 3, most = 0;
	double **new[] = { &l->linear, &l->mean, &l->weight, &l->node_weight,
	                   &l->ee, &l->eee, &l->low, &l->high, &l->moved };

	for (size_t k = 0; k < sizeof new / sizeof *new; k++) {
		*new[k] = PD_NEW(arena, double, k < 6 ? n : m);
		if (!*new[k])
			return 0;
	}
	for (size_t k = 0; k < l->n_outer; k++)
		if (l->first[k + 1] - l->first[k] > most)
			most = l->first[k + 1] - l->first[k];
	l->inner = PD_NEW(arena, pd_count_inner, most);
	l->outer_mode = PD_NEW(arena, double, l->n_outer);
	return l->inner && l->outer_mode;
}

pd_status pd_count_levels_new(pd_arena *arena,
                              const pd_count_nested_spec *spec,
                              const double *q, pd_count_levels *out,
                              pd_error *err)
{
	int32_t *id = PD_NEW(arena, int32_t, spec->rows.n);
	pd_mixed_spec flat = { .rows = spec->rows, .group = id };
	pd_status st;

	*out = (pd_count_levels){ .rule = NULL };
	if (!id)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = number_groups(arena, out, spec, id, err);
	if (st == PD_OK)
		st = pd_count_groups_new(arena, &flat, q, &out->g, err);
	if (st == PD_OK)
		st = pd_count_rule_set(&out->small, SMALL_NODES, err);
	if (st == PD_OK && !make_scratch(arena, out))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

/* ---- the joint mode ----------------------------------------------------- */

/* One outer group at work. */
struct outer {
	size_t k, n;           /* its inner groups                           */
	double s1, s2;
	double z, h, r;        /* the rule                                   */
	double middle;         /* height there, about the integral's         */
	/* Over the outer nodes: */
	double total, s0, s1_sum, log_s1, log_s2, t;
};

static void set_rows(pd_count_levels *l, struct outer *o)
{
	const pd_count_groups *g = &l->g;

	for (size_t c = 0; c < o->n; c++) {
		pd_count_inner *in = &l->inner[c];
		size_t group = l->first[o->k] + c, first = g->first[group];

		in->first = first;
		in->n = g->first[group + 1] - first;
		in->summed = pd_count_unit_make(
		    &g->desk, in->n, l->linear + first, l->mean + first,
		    g->y + first, g->at_least + first, g->cut[group],
		    &in->one, &in->unit);
		in->weight = l->weight + first;
		in->node_weight = l->node_weight + first;
		in->ee = l->ee + first;
		in->eee = l->eee + first;
	}
}

/* Each inner mode at z, and the slope and curvature left to z. */
static int follow(pd_count_levels *l, struct outer *o, double z,
                  pd_count_depth depth, double *slope, double *bend)
{
	double *mode = l->g.mode + l->first[o->k];

	*slope = -z;
	*bend = 1;
	for (size_t c = 0; c < o->n; c++) {
		pd_count_inner *in = &l->inner[c];

		if (!pd_count_unit_mode(&l->g.desk, &in->unit, o->s1 * z,
		                        o->s2, &mode[c]))
			return 0;
		pd_count_unit_sums(&l->g.desk, &in->unit,
		                   o->s1 * z + o->s2 * mode[c], depth,
		                   &l->g.desk.mode, &in->a);
		in->d = 1 - o->s2 * o->s2 * in->a.ee;
		*slope += o->s1 * in->a.e;
		*bend -= o->s1 * o->s1 * in->a.ee / in->d;
		if (depth != PD_COUNT_ALL)
			continue;
		memcpy(in->ee, l->g.desk.mode.ee, in->unit.n * sizeof *in->ee);
		memcpy(in->eee, l->g.desk.mode.eee,
		       in->unit.n * sizeof *in->eee);
	}
	return 1;
}

static int joint_mode(pd_count_levels *l, struct outer *o)
{
	pd_count_bracket b = { -INFINITY, INFINITY, INFINITY };
	double z = l->outer_mode[o->k], slope, bend, next = z;
	double *mode = l->g.mode + l->first[o->k];
	int found = 0;

	for (int k = 0; k < MOST_STEPS && !found; k++) {
		if (!follow(l, o, z, PD_COUNT_TOP, &slope, &bend))
			slope = bend = NAN;
		next = pd_count_next(&b, z, slope, bend);
		found = fabs(next - z) <= LAST_STEP * (1 + fabs(z));
		z = next;
	}
	if (!found || !follow(l, o, z, PD_COUNT_ALL, &slope, &bend))
		return 0;
	l->outer_mode[o->k] = o->z = z;
	o->h = bend;
	o->r = sqrt(2 / bend);
	o->middle = -0.5 * z * z;
	for (size_t c = 0; c < o->n; c++)
		o->middle += l->inner[c].a.l - 0.5 * mode[c] * mode[c] -
		             0.5 * log(l->inner[c].d);
	return isfinite(o->middle);
}

/* ---- the outer nodes ---------------------------------------------------- */

/* All inner integrals at one z, their row weights left in node_weight. */
static int at_node(pd_count_levels *l, const struct outer *o, double z,
                   pd_count_integral *sum)
{
	const double *mode = l->g.mode + l->first[o->k];

	*sum = (pd_count_integral){ 0 };
	for (size_t c = 0; c < o->n; c++) {
		pd_count_inner *in = &l->inner[c];
		/* The mode moves by dw/dz = -s1 s2 B / D. */
		double w = mode[c] + o->s1 * o->s2 * in->a.ee / in->d *
		                         (z - o->z);
		pd_count_integral v = pd_count_unit_integral(
		    &l->g.desk, l->rule, &in->unit, o->s1 * z, o->s2, &w,
		    in->node_weight, NULL);

		sum->value += v.value;
		sum->shift += v.shift;
		sum->log_sd += v.log_sd;
		sum->t += v.t;
	}
	return isfinite(sum->value);
}

static int over_nodes(pd_count_levels *l, struct outer *o)
{
	for (size_t c = 0; c < o->n; c++)
		memset(l->inner[c].weight, 0,
		       l->inner[c].unit.n * sizeof *l->inner[c].weight);
	for (unsigned k = 0; k < l->rule->nodes; k++) {
		double step = o->r * l->rule->node[k], z = o->z + step;
		double share, slope;
		pd_count_integral v;

		if (!at_node(l, o, z, &v))
			return 0;
		share = exp(v.value - 0.5 * z * z - o->middle +
		            l->rule->log_weight[k]);
		slope = o->s1 * v.shift - z;
		o->total += share;
		o->s0 += share * slope;
		o->s1_sum += share * slope * step;
		o->log_s1 += share * o->s1 * z * v.shift;
		o->log_s2 += share * v.log_sd;
		o->t += share * v.t;
		for (size_t c = 0; c < o->n; c++) {
			pd_count_inner *in = &l->inner[c];

			for (size_t j = 0; j < in->unit.n; j++)
				in->weight[j] += share * in->node_weight[j];
		}
	}
	return 1;
}

/* ---- the slopes --------------------------------------------------------- */

/* A parameter's part in the movement of the rule: s1_b, s2_b, and whether it
 * is ln theta. */
struct move {
	double s1, s2;
	int t;
};

/* S0 dz + (S1 + 1) dr / r. */
static double moved(const pd_count_levels *l, const struct outer *o,
                    struct move b, double s0, double more)
{
	const double *mode = l->g.mode + l->first[o->k];
	double dz = 0, dh = 0, s1 = o->s1, s2 = o->s2;

	for (size_t c = 0; c < o->n; c++) {
		const pd_count_inner *in = &l->inner[c];
		double a_b = b.t ? in->a.et : 0;
		double t = b.s1 * o->z + 2 * b.s2 * mode[c] + s2 * s2 * a_b;

		dz += b.s1 * in->a.e + s1 * (a_b + in->a.ee * t / in->d);
	}
	dz /= o->h;
	for (size_t c = 0; c < o->n; c++) {
		const pd_count_inner *in = &l->inner[c];
		double a_b = b.t ? in->a.et : 0, bend = -in->a.ee, d = in->d;
		double t = b.s1 * o->z + 2 * b.s2 * mode[c] + s2 * s2 * a_b;
		double db = (b.t ? -in->a.eet : 0) -
		            in->a.eee * (t + s1 * dz) / d;

		dh += 2 * s1 * b.s1 * bend / d +
		      s1 * s1 * (db - 2 * s2 * b.s2 * bend * bend) / (d * d);
	}
	return s0 * dz - more * 0.5 * dh / o->h;
}

/* The rows' weights in the movement, added to those of the nodes. */
static void weigh_rows(pd_count_levels *l, const struct outer *o, double s0,
                       double more)
{
	double s1 = o->s1, s2 = o->s2, sum = 0, whole;

	for (size_t c = 0; c < o->n; c++) {
		double d = l->inner[c].d;

		sum += l->inner[c].a.eee / (d * d * d);
	}
	whole = s0 + more * s1 * s1 * s1 * sum / (2 * o->h);
	for (size_t c = 0; c < o->n; c++) {
		pd_count_inner *in = &l->inner[c];
		double d = in->d, c2 = more * s1 * s1 / (2 * o->h * d * d);
		double c1 = whole * s1 / (o->h * d) +
		            c2 * s2 * s2 * in->a.eee / d;

		for (size_t j = 0; j < in->unit.n; j++)
			in->weight[j] = in->weight[j] / o->total +
			                c1 * in->ee[j] + c2 * in->eee[j];
	}
}

/* A sum's weight handed on to its rows: into l->weight in any case. */
static void spread_weight(pd_count_levels *l, pd_count_inner *in)
{
	double left = in->weight[0] - in->one.y;

	for (size_t i = in->first; in->summed && i < in->first + in->n; i++)
		l->weight[i] = l->g.y[i] + left * (l->mean[i] / in->one.mu);
}

static double outer_value(pd_count_levels *l, struct outer *o,
                          double *gradient)
{
	size_t p = l->g.p;
	double s0, more;

	set_rows(l, o);
	if (!joint_mode(l, o) || !over_nodes(l, o) || !(o->total > 0))
		return NAN;
	s0 = o->s0 / o->total;
	more = o->s1_sum / o->total + 1;
	weigh_rows(l, o, s0, more);
	for (size_t c = 0; c < o->n; c++)
		spread_weight(l, &l->inner[c]);
	gradient[p] += o->log_s1 / o->total +
	               moved(l, o, (struct move){ o->s1, 0, 0 }, s0, more);
	gradient[p + 1] += o->log_s2 / o->total +
	                   moved(l, o, (struct move){ 0, o->s2, 0 }, s0, more);
	if (l->g.free_theta)
		gradient[p + 2] += o->t / o->total +
		                   moved(l, o, (struct move){ 0, 0, 1 }, s0,
		                         more);
	return o->middle - HALF_LOG_TWO_PI + log(o->total) + log(o->r);
}

/* ---- all groups --------------------------------------------------------- */

static double all_groups(pd_count_levels *l, const double *par,
                         double *gradient)
{
	size_t p = l->g.p;
	double value = 0;

	if (l->g.free_theta)
		pd_count_table_set(&l->g.table, exp(par[p + 2]));
	memset(gradient, 0, (p + 2 + l->g.free_theta) * sizeof *gradient);
	l->g.desk.kernel->linear(&l->g.x, par, l->g.offset, l->linear);
	for (size_t k = 0; k < l->n_outer && isfinite(value); k++) {
		struct outer o = { .k = k, .n = l->first[k + 1] - l->first[k],
		                   .s1 = exp(par[p]), .s2 = exp(par[p + 1]) };

		value += outer_value(l, &o, gradient);
	}
	if (isfinite(value))
		l->g.desk.kernel->cross(&l->g.x, l->weight, gradient);
	return value;
}

static void differences(pd_count_levels *l, const double *par,
                        double *hessian)
{
	size_t m = l->g.p + 2 + l->g.free_theta;
	double apart = l->g.rough ? DIFFERENCE : 2 * DIFFERENCE;

	memcpy(l->moved, par, m * sizeof *par);
	if (l->g.rough)
		all_groups(l, par, l->low);
	for (size_t j = 0; j < m; j++) {
		l->moved[j] = par[j] + DIFFERENCE;
		all_groups(l, l->moved, l->high);
		l->moved[j] = par[j] - DIFFERENCE;
		if (!l->g.rough)
			all_groups(l, l->moved, l->low);
		l->moved[j] = par[j];
		for (size_t k = 0; k < m; k++)
			hessian[j * m + k] = (l->high[k] - l->low[k]) / apart;
	}
	for (size_t j = 0; j < m; j++)
		for (size_t k = 0; k < j; k++)
			hessian[j * m + k] = hessian[k * m + j] =
			    0.5 * (hessian[j * m + k] + hessian[k * m + j]);
}

void pd_count_levels_likelihood(void *with, const double *par, double *value,
                                double *gradient, double *hessian)
{
	pd_count_levels *l = with;

	l->rule = l->g.exact || l->g.rule.nodes <= SMALL_NODES ? &l->g.rule
	                                                     : &l->small;
	if (hessian)
		differences(l, par, hessian);
	l->rule = &l->g.rule;
	*value = all_groups(l, par, gradient);
}
