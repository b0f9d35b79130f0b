/* watch_charts.c - two charts of standard values and the signals they raise. */
#include "plan/watch.h"

#include <math.h>

/* One side of the sums: raised by s, never below 0; *from: its run's start. */
static double push(double sum, double s, size_t i, size_t *from)
{
	double next = sum + s;

	if (next <= 0)
		return 0;
	if (sum == 0)
		*from = i;
	return next;
}

static size_t put(size_t n, size_t room, size_t i, size_t start, size_t *at,
                  size_t *from)
{
	if (n < room) {
		at[n] = i;
		from[n] = start;
	}
	return n + 1;
}

size_t pd_watch_sums(const double *z, size_t n, double k, double h, double *up,
                     double *down, size_t *at, size_t *from, size_t room)
{
	size_t signals = 0, up_from = 0, down_from = 0;
	double high = 0, low = 0;

	for (size_t i = 0; i < n; i++) {
		high = push(high, z[i] - k, i, &up_from);
		low = push(low, -z[i] - k, i, &down_from);
		up[i] = high;
		down[i] = low;
		if (high <= h && low <= h)
			continue;
		signals = put(signals, room, i, high > h ? up_from : down_from,
		              at, from);
		high = low = 0;
	}
	return signals;
}

size_t pd_watch_average(const double *z, size_t n, double lambda, double limit,
                        double *average, double *half, size_t *at,
                        size_t *from, size_t room)
{
	size_t signals = 0, steps = 0, side_from = 0;
	double value = 0, last = 0;

	for (size_t i = 0; i < n; i++) {
		value = lambda * z[i] + (1 - lambda) * value;
		steps++;
		average[i] = value;
		half[i] = limit * sqrt(lambda / (2 - lambda) *
		                       (1 - pow(1 - lambda, 2.0 * (double)steps)));
		if (steps == 1 || (value > 0) != (last > 0))
			side_from = i;
		last = value;
		if (fabs(value) <= half[i])
			continue;
		signals = put(signals, room, i, side_from, at, from);
		value = last = 0;
		steps = 0;
	}
	return signals;
}
