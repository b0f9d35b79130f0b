/* nested_spread_fit.c - see nested_spread_own.h. */
#include "stats/nested_dense.h"
#include "stats/nested_rows.h"
#include "stats/nested_spread_own.h"

#include <math.h>
#include <string.h>

enum { STEPS = 60, CUTS = 12 };
static const double widest = 9.2103403719761836; /* ln 10,000             */
static const double longest = 2.0;               /* of a step             */
static const double stride = 1e-3;               /* of the differences    */

static void divide(struct pd_spread_task *t, const double *rho)
{
	const pd_nested_spec *s = t->spec;

	for (size_t i = 0; i < s->n; i++) {
		double by = t->class_of[i] == 0 ? 1.0 :
			exp(-rho[t->class_of[i] - 1]);

		t->y[i] = by * t->outcome[i];
		for (size_t j = 0; j < s->p; j++)
			t->x[i * s->p + j] = by * s->x[i * s->p + j];
		for (size_t k = 0; k < s->depth; k++) {
			size_t q = s->n_random[k] ? s->n_random[k] : 1;

			for (size_t j = 0; j < q; j++)
				t->z[k][i * q + j] = by *
					(s->z[k] ? s->z[k][i * q + j] : 1.0);
		}
	}
}

/* Slopes and freedom from the rows of the fit. */
static pd_status read_rows(const struct pd_spread_task *t, pd_nested *m,
                           struct pd_spread_point *out, pd_error *err)
{
	struct pd_rows rows;
	pd_arena *work = pd_arena_new();
	pd_status st = work ? pd_rows_make(m, work, &rows, err) :
		pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows", m->n);

	for (size_t i = 0; st == PD_OK && i < m->n; i++) {
		int32_t g = t->class_of[i];
		double free_of_b = rows.inverse[i] - rows.fixed[i];
		double left = m->reml ? free_of_b : rows.inverse[i];

		out->freedom[g] += free_of_b;
		if (g > 0)
			out->slope[g - 1] += 2.0 *
				(left - rows.part[i] * rows.part[i] /
				 m->sigma2);
	}
	pd_arena_free(work);
	return st;
}

void pd_spread_at(struct pd_spread_task *t, const double *rho,
                  struct pd_spread_point *out, pd_nested **model)
{
	pd_nested_spec s = *t->spec;
	pd_nested *m = NULL;
	pd_error err = { 0 };
	pd_status st;

	memset(out, 0, sizeof *out);
	out->value = NAN;
	if (model)
		*model = NULL;
	divide(t, rho);
	s.x = t->x;
	s.y = t->y;
	for (size_t k = 0; k < s.depth; k++)
		s.z[k] = t->z[k];
	t->fits++;
	st = pd_nested_new(&s, &m, &err);
	if (st == PD_OK)
		st = pd_nested_fit(m, &err);
	if (st == PD_OK)
		st = read_rows(t, m, out, &err);
	if (st == PD_OK) {
		out->value = pd_nested_record(m)->deviance;
		for (size_t g = 0; g < t->k; g++)
			out->value += 2.0 * (double)t->rows[g + 1] * rho[g];
	} else {
		t->status = st;
		t->error = err;
	}
	if (model && st == PD_OK)
		*model = m;
	else
		pd_nested_free(m);
}

/* The fits at rho_g less and more h. False: one of them has none. */
static bool both_sides(struct pd_spread_task *t, const double *rho, size_t g,
                       double h, struct pd_spread_point *p, pd_nested **m)
{
	double at[PD_SPREAD_RATIOS];

	for (int side = 0; side < 2; side++) {
		memcpy(at, rho, t->k * sizeof *at);
		at[g] += side ? h : -h;
		pd_spread_at(t, at, &p[side], &m[side]);
	}
	if (m[0] && m[1])
		return true;
	pd_nested_free(m[0]);
	pd_nested_free(m[1]);
	return false;
}

/* Row g of the curvature; other strides where a neighbour has no fit. */
static bool curve_row(struct pd_spread_task *t, const double *rho, size_t g,
                      double *row, double *by)
{
	size_t pp = t->spec->p * t->spec->p;
	struct pd_spread_point p[2];
	pd_nested *m[2];
	double h = stride;
	int tries = 4;

	while (!both_sides(t, rho, g, h, p, m)) {
		if (--tries == 0)
			return false;
		h *= 1.7;
	}
	for (size_t i = 0; i < t->k; i++)
		row[i] = (p[1].slope[i] - p[0].slope[i]) / (2.0 * h);
	for (size_t i = 0; by && i < pp; i++)
		by[i] = (pd_nested_covariance(m[1])[i] -
		         pd_nested_covariance(m[0])[i]) / (2.0 * h);
	pd_nested_free(m[0]);
	pd_nested_free(m[1]);
	return true;
}

bool pd_spread_curve(struct pd_spread_task *t, const double *rho,
                     double *curve, double **by)
{
	size_t k = t->k;

	for (size_t g = 0; g < k; g++)
		if (!curve_row(t, rho, g, curve + g * k, by ? by[g] : NULL))
			return false;
	for (size_t g = 0; g < k; g++)
		for (size_t h = 0; h < g; h++)
			curve[g * k + h] = curve[h * k + g] =
				0.5 * (curve[g * k + h] + curve[h * k + g]);
	return true;
}

/* ---- the search: quasi-Newton steps (BFGS) over the free ratios ---------- */

/* Free ratios, in a row; h is the curvature the steps go by. */
struct quest {
	size_t n, at[PD_SPREAD_RATIOS];
	double h[PD_SPREAD_RATIOS * PD_SPREAD_RATIOS];
	double step[PD_SPREAD_RATIOS];
	double gain;           /* twice what the whole step promises         */
	double fall;           /* slope along the step, cut to the longest   */
};

/* Eigenvalues of h turned up and kept above a trifle. */
static void make_positive(double *h, size_t n)
{
	double a[PD_SPREAD_RATIOS * PD_SPREAD_RATIOS], most = 0.0;
	double v[PD_SPREAD_RATIOS * PD_SPREAD_RATIOS];
	double value[PD_SPREAD_RATIOS];

	memcpy(a, h, n * n * sizeof *a);
	pd_eigen(a, n, value, v);
	for (size_t k = 0; k < n; k++)
		most = fmax(most, fabs(value[k]));
	memset(h, 0, n * n * sizeof *h);
	for (size_t k = 0; k < n; k++)
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++)
				h[i * n + j] += v[i * n + k] * v[j * n + k] *
					fmax(fmax(fabs(value[k]), 1e-4 * most),
					     1e-8);
}

static void set_out(const struct pd_spread_task *t, struct quest *q)
{
	q->n = 0;
	for (size_t g = 0; g < t->k; g++)
		if (g != t->held)
			q->at[q->n++] = g;
	for (size_t i = 0; i < q->n; i++)
		for (size_t j = 0; j < q->n; j++)
			q->h[i * q->n + j] =
				t->metric[q->at[i] * t->k + q->at[j]];
	make_positive(q->h, q->n);
}

static void find_step(const struct pd_spread_point *p, struct quest *q)
{
	double l[PD_SPREAD_RATIOS * PD_SPREAD_RATIOS], most = 0.0;

	memcpy(l, q->h, q->n * q->n * sizeof *l);
	if (!pd_chol(l, q->n, q->n)) {
		make_positive(q->h, q->n);
		memcpy(l, q->h, q->n * q->n * sizeof *l);
		pd_chol(l, q->n, q->n);
	}
	for (size_t i = 0; i < q->n; i++)
		q->step[i] = -p->slope[q->at[i]];
	pd_chol_solve(l, q->n, q->n, q->step);
	q->gain = 0.0;
	for (size_t i = 0; i < q->n; i++) {
		q->gain -= q->step[i] * p->slope[q->at[i]];
		most = fmax(most, fabs(q->step[i]));
	}
	q->fall = q->gain * fmin(1.0, longest / most);
	for (size_t i = 0; most > longest && i < q->n; i++)
		q->step[i] *= longest / most;
}

/* h by the change of slope over the step s taken. */
static void learn(const struct pd_spread_point *from,
                  const struct pd_spread_point *to, const double *s,
                  struct quest *q)
{
	size_t n = q->n;
	double y[PD_SPREAD_RATIOS], hs[PD_SPREAD_RATIOS], ys = 0.0, shs = 0.0;

	for (size_t i = 0; i < n; i++) {
		y[i] = to->slope[q->at[i]] - from->slope[q->at[i]];
		hs[i] = 0.0;
		for (size_t j = 0; j < n; j++)
			hs[i] += q->h[i * n + j] * s[j];
		ys += y[i] * s[i];
		shs += s[i] * hs[i];
	}
	if (!(ys > 1e-3 * shs)) /* bent the other way: learn nothing */
		return;
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			q->h[i * n + j] += y[i] * y[j] / ys -
			                   hs[i] * hs[j] / shs;
}

/* Along the step, halved until the deviance falls. p moves along. */
static bool descend(struct pd_spread_task *t, double *rho,
                    struct pd_spread_point *p, struct quest *q)
{
	double slack = 1e-12 * (1.0 + fabs(p->value)), part = 1.0;

	for (int i = 0; i < CUTS; i++, part *= 0.4) {
		struct pd_spread_point next;
		double at[PD_SPREAD_RATIOS], s[PD_SPREAD_RATIOS];
		bool inside = true;

		memcpy(at, rho, t->k * sizeof *at);
		for (size_t j = 0; j < q->n; j++) {
			s[j] = part * q->step[j];
			at[q->at[j]] += s[j];
			inside = inside && fabs(at[q->at[j]]) <= widest;
		}
		if (!inside)
			continue;
		pd_spread_at(t, at, &next, NULL);
		if (!(next.value <= p->value - 1e-4 * part * q->fall + slack))
			continue;
		learn(p, &next, s, q);
		memcpy(rho, at, t->k * sizeof *at);
		*p = next;
		return true;
	}
	return false;
}

/* Towards sum of e^2 / s^2 = freedom in every class; a few of these steps
 * come near the lowest point from anywhere. */
static void approach(struct pd_spread_task *t, double *rho)
{
	for (int i = 0; i < 3; i++) {
		struct pd_spread_point p;
		double share[PD_SPREAD_CLASSES], all = 0.0, got = 0.0;

		pd_spread_at(t, rho, &p, NULL);
		if (!isfinite(p.value))
			return;
		/* of class 0: the rest of the s^2 that all rows make */
		for (size_t g = 0; g <= t->k; g++)
			all += p.freedom[g];
		for (size_t g = 1; g <= t->k; g++) {
			share[g] = p.freedom[g] - 0.5 * p.slope[g - 1];
			got += share[g];
		}
		share[0] = all - got;
		for (size_t g = 1; g <= t->k; g++) {
			double f = share[g] / p.freedom[g] *
			           p.freedom[0] / share[0];

			if (g - 1 != t->held && f > 1e-3 && f < 1e3)
				rho[g - 1] += 0.5 * log(f);
		}
	}
}

/* A ratio near the end of the range: nothing fits best. */
static void look_at_range(struct pd_spread_task *t, const double *rho)
{
	for (size_t g = 0; g < t->k; g++)
		if (g != t->held && fabs(rho[g]) > widest - longest) {
			t->vanished = true;
			t->which = g;
			t->upwards = rho[g] > 0.0;
		}
}

bool pd_spread_search(struct pd_spread_task *t, double *rho,
                      struct pd_spread_point *out)
{
	bool whole = t->held == t->k, done = false;
	double enough = whole ? 1e-16 : 1e-11;
	struct quest q;

	t->vanished = false;
	if (whole) {
		approach(t, rho);
		if (!pd_spread_curve(t, rho, t->metric, NULL))
			return false;
	} else {
		rho[t->held] = t->held_at;
	}
	set_out(t, &q);
	pd_spread_at(t, rho, out, NULL);
	for (int i = 0; !done && i < STEPS && isfinite(out->value); i++) {
		find_step(out, &q);
		if (q.gain <= enough)
			done = true;
		else if (!descend(t, rho, out, &q))
			break;
	}
	look_at_range(t, rho);
	/* steps of rounding's size may end without a fall */
	return isfinite(out->value) && !t->vanished &&
	       (done || q.gain < 1e-8);
}

/* The profile's rise at ratio g = x; rho: a start, moved along. NaN: none. */
static double rise_at(struct pd_spread_task *t, double *rho, size_t g,
                      double x, double lowest)
{
	struct pd_spread_point p;
	bool ok;

	t->held = g;
	t->held_at = x;
	ok = pd_spread_search(t, rho, &p);
	t->held = t->k;
	return ok ? p.value - lowest : NAN;
}

double pd_spread_limit(struct pd_spread_task *t, const double *best, size_t g,
                       double lowest, double rise, double se, int side)
{
	double rho[PD_SPREAD_RATIOS], want = sqrt(rise);
	double x0 = best[g], w0 = 0.0, in = best[g], out = NAN;
	double x = best[g] + side * want * se;

	memcpy(rho, best, t->k * sizeof *rho);
	for (int i = 0; i < STEPS; i++) {
		double w, next, r;

		if (fabs(x) > widest)
			break;
		r = rise_at(t, rho, g, x, lowest);
		if (!isfinite(r))
			break;
		w = sqrt(fmax(r, 0.0));
		if (fabs(w - want) < 1e-8 * want)
			return x;
		if (w < want)
			in = x;
		else
			out = x;
		/* the root of the rise is nearly a straight line */
		next = w != w0 ? x + (want - w) * (x - x0) / (w - w0) : NAN;
		x0 = x;
		w0 = w;
		if (!isnan(out) && !((next - in) * (next - out) < 0.0))
			next = 0.5 * (in + out);
		if (isnan(out) && (!((next - in) * side > 0.0) ||
		                   fabs(next - in) > 2.0 * longest))
			next = in + longest * side;
		if (fabs(next - x) < 1e-12 * (1.0 + fabs(x)))
			return x;
		x = next;
	}
	return side > 0 ? INFINITY : -INFINITY;
}
