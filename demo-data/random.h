/*
 * random.h - the demo's own random numbers: xoshiro256++ seeded by splitmix64
 * (Blackman & Vigna, 2019, arXiv:1805.01407), so that a seed gives the same
 * clinic wherever it is made. The library's streams are not used here: the
 * generator must not lean on what it tests.
 */
#ifndef DEMO_RANDOM_H
#define DEMO_RANDOM_H

#include <stdint.h>

typedef struct demo_rng {
	uint64_t s[4];
	double spare;  /* second normal of a pair */
	int has_spare;
} demo_rng;

void demo_rng_seed(demo_rng *r, uint64_t seed);
uint64_t demo_bits(demo_rng *r);
double demo_uniform(demo_rng *r);              /* in (0, 1)              */
double demo_normal(demo_rng *r);               /* N(0, 1)                */
double demo_gamma(demo_rng *r, double shape);  /* scale 1, shape > 0     */
int demo_poisson(demo_rng *r, double mean);
/* Negative binomial, variance mean + mean^2 / size. */
int demo_negbin(demo_rng *r, double mean, double size);
int demo_chance(demo_rng *r, double p);        /* 1 with probability p   */
int demo_below(demo_rng *r, int n);            /* 0 .. n-1               */
int demo_pick(demo_rng *r, const double *weight, int n);

#endif
