/*
 * count_unit.c - one unit's integral by adaptive Gauss-Hermite quadrature.
 */
#include "stats/count_unit.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <string.h>

enum { MOST_MODE_STEPS = 400 };
static const double HALF_LOG_TWO_PI = 0.918938533204672741780329736405618;
/* A Newton step after which what is left is its square. */
static const double LAST_STEP = 1e-8;

pd_status pd_count_rule_set(pd_count_rule *r, unsigned nodes, pd_error *err)
{
	gsl_integration_fixed_workspace *w;

	if (!nodes || nodes > PD_COUNT_MOST_NODES)
		return pd_fail(err, PD_DATA, "%u quadrature nodes, expected 1 "
		               "to %d", nodes, PD_COUNT_MOST_NODES);
	r->nodes = nodes;
	r->node[0] = 0;
	r->log_weight[0] = 0.5 * log(M_PI);
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

		r->node[k] = x;
		r->log_weight[k] = log(gsl_integration_fixed_weights(w)[k]) +
		                   x * x;
	}
	gsl_integration_fixed_free(w);
	return PD_OK;
}

static int new_slots(pd_arena *arena, size_t n, pd_count_slots *s)
{
	s->e = PD_NEW(arena, double, n);
	s->ee = PD_NEW(arena, double, n);
	s->eee = PD_NEW(arena, double, n);
	s->et = PD_NEW(arena, double, n);
	s->eet = PD_NEW(arena, double, n);
	return s->e && s->ee && s->eee && s->et && s->eet;
}

pd_status pd_count_desk_new(pd_arena *arena, const pd_count_table *table,
                            size_t longest, pd_count_desk *out, pd_error *err)
{
	out->table = table;
	out->kernel = pd_count_kernel_best();
	if (!new_slots(arena, longest, &out->at) ||
	    !new_slots(arena, longest, &out->mode))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

/* ---- the rows at one z -------------------------------------------------- */

static void poisson_rows(const pd_count_unit *u, double shift,
                         const pd_count_slots *s, pd_count_sums *a)
{
	double factor = exp(shift), sum = 0;

	for (size_t j = 0; j < u->n; j++) {
		double m = u->mu[j] * factor;

		s->e[j] = u->y[j] - m;
		s->ee[j] = s->eee[j] = -m;
		s->et[j] = s->eet[j] = 0;
		sum += m;
	}
	a->l = u->base + u->sum_y * shift - sum;
	a->e = u->sum_y - sum;
	a->ee = a->eee = -sum;
}

static void scattered_rows(const pd_count_desk *d, const pd_count_unit *u,
                           double shift, pd_count_depth depth,
                           const pd_count_slots *s, pd_count_sums *a)
{
	double theta = d->table->theta;
	pd_count_block b = { .n = u->n, .mu = u->mu, .y = u->y,
	                     .theta = theta, .factor = exp(shift) / theta,
	                     .e = s->e, .ee = s->ee, .eee = s->eee,
	                     .et = s->et, .eet = s->eet };

	d->kernel->scattered(&b, depth);
	a->e = b.sum_e;
	a->ee = b.sum_ee;
	a->eee = b.sum_eee;
	a->et = -b.sum_ee - b.held;
	a->eet = b.sum_eet;
	if (depth == PD_COUNT_TOP)
		return;
	a->l = u->base + u->sum_y * shift - b.counted - theta * b.log;
	a->t = u->base_t - theta * b.log + b.held + b.share;
	a->tt = u->base_tt - theta * b.log + 2 * b.held + b.sum_ee;
}

/* Rows of which some are cut off above: one at a time. */
static void mixed_rows(const pd_count_desk *d, const pd_count_unit *u,
                       double shift, const pd_count_slots *s,
                       pd_count_sums *a)
{
	for (size_t j = 0; j < u->n; j++) {
		pd_count_slopes row;

		pd_count_row(d->table, (size_t)u->y[j], u->at_least[j],
		             u->e[j] + shift, &row);
		s->e[j] = row.e;
		s->ee[j] = row.ee;
		s->eee[j] = row.eee;
		s->et[j] = row.et;
		s->eet[j] = row.eet;
		a->l += row.l;
		a->e += row.e;
		a->ee += row.ee;
		a->eee += row.eee;
		a->t += row.t;
		a->tt += row.tt;
		a->et += row.et;
		a->eet += row.eet;
	}
}

void pd_count_unit_sums(const pd_count_desk *d, const pd_count_unit *u,
                        double shift, pd_count_depth depth,
                        const pd_count_slots *slots, pd_count_sums *out)
{
	*out = (pd_count_sums){ 0 };
	if (u->at_least)
		mixed_rows(d, u, shift, slots, out);
	else if (isinf(d->table->theta))
		poisson_rows(u, shift, slots, out);
	else
		scattered_rows(d, u, shift, depth, slots, out);
}

/* ---- the mode ----------------------------------------------------------- */

double pd_count_next(pd_count_bracket *b, double z, double slope, double bend)
{
	double step = slope / bend, next;

	if (!isfinite(step)) { /* too far out to be computed */
		if (z > 0)
			b->high = z;
		else
			b->low = z;
		next = b->low > -INFINITY && b->high < INFINITY
		           ? 0.5 * (b->low + b->high) : 0.5 * z;
		b->last = fabs(next - z);
		return next;
	}
	if (slope > 0)
		b->low = z;
	else
		b->high = z;
	next = z + step;
	if (b->low > -INFINITY && b->high < INFINITY &&
	    (next < b->low || next > b->high ||
	     fabs(step) > 0.7 * b->last))
		next = 0.5 * (b->low + b->high);
	b->last = fabs(next - z);
	return next;
}

int pd_count_unit_mode(const pd_count_desk *d, const pd_count_unit *u,
                       double shift, double sd, double *mode)
{
	pd_count_bracket b = { -INFINITY, INFINITY, INFINITY };
	double z = isfinite(*mode) ? *mode : 0;
	pd_count_sums a;

	for (int k = 0; k < MOST_MODE_STEPS; k++) {
		double next;

		pd_count_unit_sums(d, u, shift + sd * z, PD_COUNT_TOP,
		                   &d->mode, &a);
		next = pd_count_next(&b, z, sd * a.e - z, 1 - sd * sd * a.ee);
		if (fabs(next - z) <= LAST_STEP * (1 + fabs(z))) {
			*mode = next;
			return 1;
		}
		z = next;
	}
	return 0;
}

/* ---- the integral ------------------------------------------------------- */

/* The rule at the mode: how it moves with ln s and t, and the two numbers by
 * which it moves with the rows' predictors. */
struct place {
	double z, bend, r, shift_s, spread_s, shift_t, spread_t;
	double sd, eee;
};

static struct place lay_rule(const pd_count_sums *a, double z, double sd)
{
	double s2 = sd * sd, s3 = s2 * sd;
	struct place m = { .z = z, .bend = 1 - s2 * a->ee, .sd = sd,
	                   .eee = a->eee };

	m.r = sqrt(2 / m.bend);
	m.shift_s = (sd * a->e + s2 * z * a->ee) / m.bend;
	m.spread_s = 0.5 * (2 * s2 * a->ee + s3 * z * a->eee +
	                    s3 * a->eee * m.shift_s) / m.bend;
	m.shift_t = sd * a->et / m.bend;
	m.spread_t = 0.5 * (s2 * a->eet + s3 * a->eee * m.shift_t) / m.bend;
	return m;
}

static void spread_begin(pd_count_spread *s, size_t n)
{
	size_t m = s->p + 2;

	memset(s->ee, 0, n * sizeof *s->ee);
	memset(s->ez, 0, n * sizeof *s->ez);
	memset(s->et, 0, n * sizeof *s->et);
	memset(s->first, 0, m * sizeof *s->first);
	memset(s->second, 0, m * m * sizeof *s->second);
}

static void spread_add(pd_count_spread *s, const pd_count_slots *at, size_t n,
                       const pd_count_sums *a, double sz, double share)
{
	size_t p = s->p, m = p + 2;
	double *part = s->part;

	for (size_t k = 0; k < p; k++) {
		const double *x = s->x + k * s->stride;

		part[k] = 0;
		for (size_t j = 0; j < n; j++)
			part[k] += at->e[j] * x[j];
	}
	for (size_t j = 0; j < n; j++) {
		double bend = share * at->ee[j];

		s->ee[j] += bend;
		s->ez[j] += sz * bend;
		s->et[j] += share * at->et[j];
	}
	part[p] = sz * a->e;
	part[p + 1] = a->t;
	for (size_t i = 0; i < m; i++) {
		s->first[i] += share * part[i];
		for (size_t k = 0; k <= i; k++)
			s->second[i * m + k] += share * part[i] * part[k];
	}
	s->second[p * m + p] += share * sz * (a->e + sz * a->ee);
	s->second[(p + 1) * m + p] += share * sz * a->et;
	s->second[(p + 1) * m + p + 1] += share * a->tt;
}

static void spread_end(pd_count_spread *s, size_t n, double total)
{
	size_t m = s->p + 2;

	for (size_t j = 0; j < n; j++) {
		s->ee[j] /= total;
		s->ez[j] /= total;
		s->et[j] /= total;
	}
	for (size_t i = 0; i < m; i++)
		s->first[i] /= total;
	for (size_t i = 0; i < m; i++)
		for (size_t k = 0; k <= i; k++)
			s->second[i * m + k] = s->second[i * m + k] / total -
			                       s->first[i] * s->first[k];
}

/* Shares of the nodes and what they weigh. */
struct shares {
	double total, s0, s1, s, t;
};

static struct shares over_nodes(const pd_count_desk *d,
                                const pd_count_rule *r,
                                const pd_count_unit *u, double shift,
                                const struct place *m, double middle,
                                double *weight, pd_count_spread *spread)
{
	struct shares sum = { 0 };
	pd_count_depth depth = spread ? PD_COUNT_ALL : PD_COUNT_NODE;

	for (unsigned k = 0; k < r->nodes; k++) {
		double x = r->node[k], z = m->z + m->r * x, share, slope;
		pd_count_sums a;

		pd_count_unit_sums(d, u, shift + m->sd * z, depth, &d->at, &a);
		share = exp(a.l - 0.5 * z * z - middle + r->log_weight[k]);
		if (!(share > 0))
			continue;
		slope = m->sd * a.e - z;
		sum.total += share;
		sum.s0 += share * slope;
		sum.s1 += share * slope * x * m->r;
		sum.s += share * m->sd * z * a.e;
		sum.t += share * a.t;
		for (size_t j = 0; j < u->n; j++)
			weight[j] += share * d->at.e[j];
		if (spread)
			spread_add(spread, &d->at, u->n, &a, m->sd * z, share);
	}
	return sum;
}

/* spread_add of one Poisson row whose one column is 1. */
static void sum_spread(pd_count_spread *s, double e, double ee, double sz,
                       double share)
{
	s->ee[0] += share * ee;
	s->ez[0] += share * sz * ee;
	s->first[0] += share * e;
	s->first[1] += share * sz * e;
	s->second[0] += share * e * e;
	s->second[3] += share * sz * e * e;
	s->second[4] += share * sz * (sz * e * e + e + sz * ee);
}

/* The same of one Poisson row, all nodes side by side. */
static struct shares over_sum(const pd_count_desk *d, const pd_count_rule *r,
                              const pd_count_unit *u, double shift,
                              const struct place *m, double middle,
                              double *weight, pd_count_spread *spread)
{
	double mu[PD_COUNT_MOST_NODES], share[PD_COUNT_MOST_NODES];
	struct shares sum = { 0 };

	for (unsigned k = 0; k < r->nodes; k++)
		mu[k] = shift + m->sd * (m->z + m->r * r->node[k]);
	d->kernel->exp(mu, mu, r->nodes);
	for (unsigned k = 0; k < r->nodes; k++) {
		double z = m->z + m->r * r->node[k];

		mu[k] *= u->mu[0];
		share[k] = u->base + u->sum_y * (shift + m->sd * z) - mu[k] -
		           0.5 * z * z - middle + r->log_weight[k];
	}
	d->kernel->exp(share, share, r->nodes);
	for (unsigned k = 0; k < r->nodes; k++) {
		double step = m->r * r->node[k], z = m->z + step;
		double e = u->sum_y - mu[k], slope = m->sd * e - z;

		if (!(share[k] > 0))
			continue;
		sum.total += share[k];
		sum.s0 += share[k] * slope;
		sum.s1 += share[k] * slope * step;
		sum.s += share[k] * m->sd * z * e;
		weight[0] += share[k] * e;
		if (spread)
			sum_spread(spread, e, -mu[k], m->sd * z, share[k]);
	}
	return sum;
}

pd_count_integral pd_count_unit_integral(const pd_count_desk *d,
                                         const pd_count_rule *r,
                                         const pd_count_unit *u, double shift,
                                         double sd, double *mode,
                                         double *weight,
                                         pd_count_spread *spread)
{
	pd_count_integral out = { .value = NAN };
	pd_count_sums a;
	struct place m;
	struct shares s;
	double middle, c1, c2, s0, s1;

	if (!pd_count_unit_mode(d, u, shift, sd, mode))
		return out;
	pd_count_unit_sums(d, u, shift + sd * *mode, PD_COUNT_ALL,
	                   &d->mode, &a);
	if (!isfinite(a.l))
		return out;
	m = lay_rule(&a, *mode, sd);
	middle = a.l - 0.5 * m.z * m.z;
	memset(weight, 0, u->n * sizeof *weight);
	if (spread)
		spread_begin(spread, u->n);
	if (u->n == 1 && !u->at_least && isinf(d->table->theta))
		s = over_sum(d, r, u, shift, &m, middle, weight, spread);
	else
		s = over_nodes(d, r, u, shift, &m, middle, weight, spread);
	if (spread)
		spread_end(spread, u->n, s.total);
	s0 = s.s0 / s.total;
	s1 = s.s1 / s.total;
	out.value = middle - HALF_LOG_TWO_PI + log(s.total) + log(m.r);
	out.log_sd = s.s / s.total + s0 * m.shift_s + (s1 + 1) * m.spread_s;
	out.t = s.t / s.total + s0 * m.shift_t + (s1 + 1) * m.spread_t;
	c2 = (s1 + 1) * 0.5 * sd * sd / m.bend;
	c1 = sd / m.bend * (s0 + c2 * sd * m.eee);
	for (size_t j = 0; j < u->n; j++) {
		weight[j] = weight[j] / s.total + c1 * d->mode.ee[j] +
		            c2 * d->mode.eee[j];
		out.shift += weight[j];
	}
	return out;
}
