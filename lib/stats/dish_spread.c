/*
 * dish_spread.c - see dish_spread.h.
 */
#include "stats/dish_spread.h"
#include "stats/counts.h"

#include <math.h>

void pd_dish_spread_add(pd_dish_spread *s, const double *count, size_t n,
                        double at)
{
	double nn = (double)n, mean = 0, variance = 0;

	for (size_t j = 0; j < n; j++)
		mean += count[j] / nn;
	if (n < 2) {
		s->n_single++;
		return;
	}
	if (!(mean > 0)) {
		s->n_empty++;
		return;
	}
	for (size_t j = 0; j < n; j++)
		variance += (count[j] - mean) * (count[j] - mean) / (nn - 1);
	s->n_samples++;
	s->n_dishes += n;
	s->beyond += (nn - 1) * (variance - mean);
	s->square += (nn - 1) * (mean * mean - variance / nn);
	s->n_failing += pd_count_dispersion(count, n).p < at;
}

double pd_dish_spread_cv(const pd_dish_spread *s)
{
	if (!s->n_samples)
		return NAN;
	if (!(s->beyond > 0))
		return 0;
	return s->square > 0 ? sqrt(s->beyond / s->square) : (double)NAN;
}
