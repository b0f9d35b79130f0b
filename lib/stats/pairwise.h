/*
 * pairwise.h - order statistics of all means (or differences) of two values,
 * without forming them: O(n) at each of about 64 steps, no extra memory.
 */
#ifndef PERDRAW_STATS_PAIRWISE_H
#define PERDRAW_STATS_PAIRWISE_H

#include <stddef.h>

/* The k-th smallest (k = 1 ..) of the n (n + 1) / 2 means of two x[i], x[j],
 * i <= j; x ascending, finite, n >= 1. */
double pd_walsh_at(const double *x, size_t n, double k);

/* The k-th smallest of the n * m differences a[i] - b[j]; both ascending,
 * finite, n, m >= 1. */
double pd_difference_at(const double *a, size_t n, const double *b, size_t m,
                        double k);

#endif
