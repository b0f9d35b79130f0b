/*
 * agree_ranks.c - the line through two measurements from the order of the
 * slopes of all pairs of points; see agree.h.
 */
#include "stats/agree.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>

enum { LEAST = 5, MOST = 5000 };
static const double SAME = 1e-12;

static int ascending(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static double largest(const double *x, size_t n)
{
	double most = 0;

	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(x[i]));
	return most;
}

/* The slope between two points; NaN when they are equal or it is -1. */
static double slope_of(double dx, double dy, double same_x, double same_y)
{
	if (fabs(dx) <= same_x)
		return fabs(dy) <= same_y ? NAN : copysign(INFINITY, dy);
	if (fabs(dy) <= same_y)
		return 0;
	return fabs(dy / dx + 1) <= SAME ? NAN : dy / dx;
}

/* The slopes in ascending order; the number of those below -1 in *offset. */
static size_t slopes(const double *x, const double *y, size_t n, double *s,
                     size_t *offset)
{
	double same_x = SAME * largest(x, n), same_y = SAME * largest(y, n);
	size_t count = 0;

	*offset = 0;
	for (size_t i = 0; i < n; i++)
		for (size_t j = i + 1; j < n; j++) {
			double b = slope_of(x[j] - x[i], y[j] - y[i], same_x,
			                    same_y);

			if (isnan(b))
				continue;
			s[count++] = b;
			*offset += b < -1;
		}
	qsort(s, count, sizeof *s, ascending);
	return count;
}

/* Median of y - slope x; infinite with an infinite slope. */
static double through(const double *x, const double *y, size_t n, double slope,
                      double *room)
{
	if (isinf(slope))
		return -slope;
	for (size_t i = 0; i < n; i++)
		room[i] = y[i] - slope * x[i];
	qsort(room, n, sizeof *room, ascending);
	return n % 2 ? room[n / 2] : 0.5 * (room[n / 2 - 1] + room[n / 2]);
}

/* The k-th smallest slope, k = 1 ..; infinite beyond the ends. */
static double ordered(const double *s, size_t count, double k)
{
	if (k < 1)
		return -INFINITY;
	if (k > (double)count)
		return INFINITY;
	return s[(size_t)k - 1];
}

/* 0 when the points do not rise together. */
static int slope_limits(const double *s, size_t count, size_t offset, size_t n,
                        double level, pd_estimate *out)
{
	double m = (double)n, total = (double)count, k = (double)offset;
	double c = pd_normal_quantile(0.5 + 0.5 * level) *
	           sqrt(m * (m - 1) * (2 * m + 5) / 18);
	double first = nearbyint((total - c) / 2), below, above;

	if (2 * offset >= count)
		return 0;
	below = ordered(s, count, floor((total + 1) / 2) + k);
	above = ordered(s, count, floor(total / 2) + 1 + k);
	*out = (pd_estimate){ 0.5 * (below + above), NAN, NAN,
	                      ordered(s, count, first + k),
	                      ordered(s, count, total - first + 1 + k),
	                      level, NAN };
	return isfinite(out->value);
}

static pd_status check(const double *x, const double *y, size_t n, double level,
                       pd_error *err)
{
	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", level);
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]) || !isfinite(y[i]))
			return pd_fail(err, PD_DATA, "pair %zu holds a value "
			               "that is not a finite number", i + 1);
	if (n < LEAST || n > MOST)
		return pd_fail(err, PD_REFUSED, "the line of ranked slopes "
		               "takes %d to %d pairs, got %zu", LEAST, MOST, n);
	return PD_OK;
}

pd_status pd_agree_ranks(const double *x, const double *y, size_t n,
                         double level, pd_line *out, pd_error *err)
{
	pd_status st = check(x, y, n, level, err);
	double *s;

	if (st != PD_OK)
		return st;
	s = malloc((n * (n - 1) / 2 + n) * sizeof *s);
	if (!s)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	*out = (pd_line){ .intercept = { NAN, NAN, NAN, NAN, NAN, level,
	                                 NAN } };
	out->n_slopes = slopes(x, y, n, s, &out->offset);
	if (slope_limits(s, out->n_slopes, out->offset, n, level,
	                 &out->slope)) {
		double *room = s + out->n_slopes;

		out->intercept.value = through(x, y, n, out->slope.value, room);
		out->intercept.low = through(x, y, n, out->slope.high, room);
		out->intercept.high = through(x, y, n, out->slope.low, room);
		st = pd_check_results(&out->intercept.value, 1, err);
	} else {
		st = pd_fail(err, PD_REFUSED, "the two measurements do not "
		             "rise together");
	}
	free(s);
	return st;
}
