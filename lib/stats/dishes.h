/*
 * dishes.h - do replicate dishes scatter more than counting explains? Pooled
 * over samples, dishes of unequal exposure allowed.
 *
 * Of sample s with counts k_j on exposures e_j, K their sum, E that of the
 * exposures, m_j = K e_j / E:
 *   index = sum_s sum_j (k_j - m_j)^2 / m_j on sum_s (dishes_s - 1) df.
 * Given each sample's total, Poisson dishes share it as a multinomial does,
 * whatever the samples' own rates: scatter between samples has no part in it.
 * Sources: Fisher (1950), Biometrics 6, 17-24; Cochran (1954), Biometrics 10,
 * 417-451.
 */
#ifndef PERDRAW_STATS_DISHES_H
#define PERDRAW_STATS_DISHES_H

#include "base/arena.h"
#include "base/status.h"

#include <stdint.h>

typedef struct pd_dishes_spec {
	size_t n;
	const double *count;    /* n whole numbers                           */
	const double *exposure; /* n, above 0; NULL: all equal               */
	const unsigned char *at_least; /* n; non-zero: too numerous to count;
	                           NULL: none                                */
	const int32_t *sample;  /* n codes >= 0, in any order                */
	uint64_t seed;          /* of the draws                              */
	unsigned draws;         /* 0: 19,999                                 */
} pd_dishes_spec;

typedef struct pd_dish_sample {
	int32_t code;
	size_t dishes, cut;     /* counted; too numerous                     */
	double total, exposure; /* of the counted                            */
	double rate;            /* total / exposure; NaN: none counted       */
	double index, df, p;    /* chi-square law; NaN: fewer than 2 counted
	                           dishes or all 0                           */
} pd_dish_sample;

typedef enum pd_dishes_law {
	PD_DISHES_CHISQ,   /* m_j on average 5 or more, none below 1         */
	PD_DISHES_EXACT,   /* all ways to share the totals gone through      */
	PD_DISHES_DRAWN    /* so many drawn: p = (1 + as far) / (1 + draws)  */
} pd_dishes_law;

typedef struct pd_dishes {
	size_t n_samples;       /* that say something: 2 counted dishes or
	                           more and not all 0                        */
	size_t n_dishes;        /* in them                                   */
	size_t n_single, n_empty; /* samples with less than 2 counted dishes;
	                           with all counts 0                         */
	size_t n_cut;
	size_t *cut;            /* n_cut rows left out as too numerous,
	                           counted from 0, ascending                 */
	pd_dish_sample *sample; /* all n_all, ascending code                 */
	size_t n_all;
	double index, df, factor;  /* factor: index / df, 1 for Poisson      */
	double mean;            /* m_j on average                            */
	pd_dishes_law law;
	unsigned draws;         /* made                                      */
	double p, p_error;      /* p_error: Monte Carlo, 0 unless drawn      */
	double p_chisq;         /* by the chi-square law in any case         */
	/* Samples against one common rate, all of their counted dishes:
	 * sum_s (K_s - M_s)^2 / M_s on samples - 1 df, chi-square law. */
	double between, between_df, between_p;
} pd_dishes;

/*
 * Everything in *out lives in the arena. PD_DATA: not a count, an exposure
 * not above 0, a code below 0 (row named); PD_REFUSED: no sample has 2 counted
 * dishes with a count above 0; PD_NO_MEMORY.
 */
pd_status pd_dishes_test(pd_arena *arena, const pd_dishes_spec *spec,
                         pd_dishes *out, pd_error *err);

#endif
