/*
 * pairwise.c - bisection over the doubles themselves, counting the pairs at or
 * below a bound with two pointers. Rounding is monotone, so the count is exact
 * for the rounded means and the answer is one of them.
 */
#include "stats/pairwise.h"

#include <stdint.h>
#include <string.h>

/* A key that orders like the double itself, and back. */
static int64_t key_of(double x)
{
	int64_t k;

	memcpy(&k, &x, sizeof k);
	return k < 0 ? INT64_MIN - k : k;
}

static double of_key(int64_t k)
{
	double x;

	k = k < 0 ? INT64_MIN - k : k;
	memcpy(&x, &k, sizeof x);
	return x;
}

static double mean_of_two(double x, double y)
{
	return 0.5 * x + 0.5 * y;
}

/* Means of two (i <= j) that are at most v: j only falls as i rises. */
static double walsh_count(const double *x, size_t n, double v)
{
	double count = 0;
	size_t j = n;

	for (size_t i = 0; i < n; i++) {
		while (j > 0 && mean_of_two(x[i], x[j - 1]) > v)
			j--;
		if (j <= i)
			break;
		count += (double)(j - i);
	}
	return count;
}

/* Differences a[i] - b[j] that are at most v. */
static double difference_count(const double *a, size_t n, const double *b,
                               size_t m, double v)
{
	double count = 0;
	size_t j = 0;

	for (size_t i = 0; i < n; i++) {
		while (j < m && a[i] - b[j] > v)
			j++;
		count += (double)(m - j);
	}
	return count;
}

/* The smallest double v between low and high with at least k pairs at or
 * below it; b NULL: means within a. */
static double select_pair(const double *a, size_t n, const double *b, size_t m,
                          double k, double low, double high)
{
	int64_t from = key_of(low), to = key_of(high);

	while (from < to) {
		int64_t mid = (from >> 1) + (to >> 1) + (from & to & 1);
		double v = of_key(mid);
		double count = b ? difference_count(a, n, b, m, v)
		                 : walsh_count(a, n, v);

		if (count >= k)
			to = mid;
		else
			from = mid + 1;
	}
	return of_key(to) + 0.0; /* never -0 */
}

double pd_walsh_at(const double *x, size_t n, double k)
{
	return select_pair(x, n, NULL, 0, k, x[0], x[n - 1]);
}

double pd_difference_at(const double *a, size_t n, const double *b, size_t m,
                        double k)
{
	return select_pair(a, n, b, m, k, a[0] - b[m - 1], a[n - 1] - b[0]);
}

