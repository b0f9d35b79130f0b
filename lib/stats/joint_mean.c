/*
 * joint_mean.c - the chance that some comparison is beyond a limit, as a mean
 * over shifted lattices. See joint.h and joint_own.h.
 */
#include "stats/joint_own.h"
#include "stats/quadrature.h"
#include "stats/quantile.h"
#include "stats/stream.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { DIMENSIONS = 24, SHIFTS = 10 };

/* Sizes (primes) and generating vectors. Found by the fast component by
 * component search of Nuyens & Cools in the space of smoothness 1, weights
 * 0.7 * 0.9^j. */
static const uint32_t size_of[PD_JOINT_LATTICES] = {
	4093, 16381, 65521, 262139,
};
static const uint32_t generator[PD_JOINT_LATTICES][DIMENSIONS] = {
	{ 1, 1210, 1542, 1785, 842, 1113, 1891, 488, 448, 1410, 1363, 1002,
	  1179, 903, 1483, 1318, 323, 33, 613, 290, 804, 837, 1964, 1450 },
	{ 1, 6789, 1848, 6013, 7065, 3264, 4236, 4253, 7092, 3686, 4006, 7685,
	  6455, 3662, 1997, 2864, 3374, 1206, 4187, 1243, 4111, 6628, 3496,
	  4670 },
	{ 1, 24876, 5411, 23459, 15906, 13412, 5351, 28921, 32303, 29079, 6469,
	  3751, 22990, 26856, 7267, 31473, 3627, 11208, 12663, 5701, 2827,
	  27276, 4376, 4216 },
	{ 1, 114352, 45924, 14876, 118264, 50377, 92816, 72262, 70411, 87034,
	  34525, 128799, 124432, 126649, 115562, 92536, 120373, 80117, 102018,
	  42488, 82297, 99168, 16111, 125312 },
};
static const uint64_t SEED = 20021130;
static const double T_99 = 3.24983554159214; /* Student, 9 df, 99 %        */
static const double REACH = 9;        /* of the table of S, normal scores */

double pd_joint_score(size_t i)
{
	return REACH * (2.0 * (double)i / (PD_JOINT_NODES - 1) - 1);
}

/* ---- one point -------------------------------------------------------- */

/* S at a chance 0 < w < 1, by cubic interpolation of the table. */
static double spread_at(const pd_joint *j, double w)
{
	double z = gsl_cdf_ugaussian_Pinv(w);
	double h = 2 * REACH / (PD_JOINT_NODES - 1);
	double at = fmin(fmax((z + REACH) / h, 0), PD_JOINT_NODES - 1.0);
	size_t i = at < PD_JOINT_NODES - 2 ? (size_t)at : PD_JOINT_NODES - 2;
	double t = at - (double)i, u = 1 - t;

	return exp(u * u * (1 + 2 * t) * j->ln_s[i] +
	           t * t * (1 + 2 * u) * j->ln_s[i + 1] +
	           h * t * u * (u * j->slope[i] - t * j->slope[i + 1]));
}

/* The bounds that the rows of column c put on y_c. */
static void bounds(const pd_joint *j, size_t c, const double *y, double limit,
                   double *low, double *high)
{
	*low = -INFINITY;
	*high = INFINITY;
	for (size_t i = j->start[c]; i < j->start[c + 1]; i++) {
		const double *l = j->row + i * j->rank;
		double t = 0, at = limit * j->reach[i];

		for (size_t m = 0; m < c; m++)
			t += l[m] * y[m];
		if (j->sides == 2) {
			*high = fmin(*high, fabs(at) - t);
			*low = fmax(*low, -fabs(at) - t);
		} else if (j->reach[i] > 0) {
			*high = fmin(*high, at - t);
		} else {
			*low = fmax(*low, at - t);
		}
	}
}

/* Chance that some comparison is beyond `limit`, at point x of the cube. */
static double beyond(const pd_joint *j, double limit, const double *x,
                     double *y)
{
	double out = 0, inside = 1;

	for (size_t m = 0; m < j->rank; m++) {
		double low, high, below, above, e;

		bounds(j, m, y, limit, &low, &high);
		if (!(low < high))
			return out + inside;
		below = low > -40 ? pd_normal_cdf(low) : 0;
		above = high < 40 ? pd_normal_upper(high) : 0;
		e = 1 - below - above;
		if (e < 0.1)
			e = pd_normal_between(low, high);
		out += inside * (e > 0.5 ? below + above : 1 - e);
		inside *= e;
		if (m + 1 == j->rank || !(inside > 0))
			break;
		e = below + x[m] * e;
		y[m] = e < 1 ? gsl_cdf_ugaussian_Pinv(e) : high;
		y[m] = fmin(fmax(y[m], low), high);
	}
	return fmin(1, out);
}

/*
 * The same with S at the chance w of x[0]: w = v^2 (3 - 2 v), whose slope
 * 6 v (1 - v) is 0 at both ends, where S or its derivatives are not tame.
 */
static double beyond_both(const pd_joint *j, double c, const double *x,
                          double *y)
{
	double v = x[0];

	if (isinf(j->df))
		return beyond(j, c, x, y);
	return 6 * v * (1 - v) *
	       beyond(j, c * spread_at(j, v * v * (3 - 2 * v)), x + 1, y);
}

/* ---- the mean over a lattice ------------------------------------------ */

/* One step of a multiplicative rule goes on where the vectors end. */
static uint32_t step_of(size_t lattice, size_t d)
{
	uint64_t g = generator[lattice][DIMENSIONS - 1];

	if (d < DIMENSIONS)
		return generator[lattice][d];
	for (size_t i = DIMENSIONS; i <= d; i++)
		g = g * 1812 % size_of[lattice];
	return (uint32_t)g;
}

void pd_cube_close(struct pd_cube *q)
{
	free(q->x);
	free(q->at);
}

pd_status pd_cube_open(struct pd_cube *q, const pd_joint *j, pd_error *err)
{
	size_t d = j->rank - 1 + (isfinite(j->df) ? 1 : 0);
	pd_stream s;

	*q = (struct pd_cube){ .j = j, .dimensions = d };
	q->x = calloc(d + j->rank + SHIFTS * d, sizeof *q->x);
	q->at = calloc(2 * d + 1, sizeof *q->at);
	if (!q->x || !q->at) {
		pd_cube_close(q);
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu "
		               "comparisons", j->k);
	}
	q->y = q->x + d;
	q->shift = q->y + j->rank;
	q->step = q->at + d;
	pd_stream_init(&s, SEED, 0);
	for (size_t i = 0; i < SHIFTS * d; i++)
		q->shift[i] = pd_stream_uniform(&s);
	return PD_OK;
}

/* Mean over the points of one shifted lattice. */
static double shifted_mean(struct pd_cube *q, double c, const double *shift)
{
	uint32_t n = size_of[q->lattice];
	double sum = 0;

	memset(q->at, 0, q->dimensions * sizeof *q->at);
	for (uint32_t i = 0; i < n; i++) {
		for (size_t d = 0; d < q->dimensions; d++) {
			double x = (double)q->at[d] / n + shift[d];

			x -= x >= 1 ? 1 : 0;
			x = fabs(2 * x - 1);
			q->x[d] = fmin(fmax(x, 1e-16), 1 - 1e-16);
			q->at[d] += q->step[d];
			q->at[d] -= q->at[d] >= n ? n : 0;
		}
		sum += beyond_both(q->j, c, q->x, q->y);
	}
	return sum / n;
}

double pd_cube_mean(struct pd_cube *q, double c)
{
	double mean = 0, square = 0;

	for (size_t d = 0; d < q->dimensions; d++)
		q->step[d] = step_of(q->lattice, d);
	if (q->dimensions == 0) {
		q->error = 0;
		return beyond_both(q->j, c, q->x, q->y);
	}
	for (int s = 0; s < SHIFTS; s++) {
		double v = shifted_mean(q, c, q->shift +
		                        (size_t)s * q->dimensions);
		double step = v - mean;

		mean += step / (s + 1);
		square += step * (v - mean);
	}
	q->points += (double)SHIFTS * size_of[q->lattice];
	q->error = T_99 * sqrt(square / SHIFTS / (SHIFTS - 1));
	return mean;
}
