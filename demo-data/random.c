/*
 * random.c - see random.h. Normals by the polar method (Marsaglia & Bray
 * 1964), gammas by Marsaglia & Tsang (2000), Poisson by multiplying uniforms
 * in pieces of mean 25 at most.
 */
#include "random.h"

#include <math.h>

static uint64_t rotate(uint64_t x, int k)
{
	return (x << k) | (x >> (64 - k));
}

uint64_t demo_bits(demo_rng *r)
{
	uint64_t *s = r->s;
	uint64_t out = rotate(s[0] + s[3], 23) + s[0];
	uint64_t t = s[1] << 17;

	s[2] ^= s[0];
	s[3] ^= s[1];
	s[1] ^= s[2];
	s[0] ^= s[3];
	s[2] ^= t;
	s[3] = rotate(s[3], 45);
	return out;
}

void demo_rng_seed(demo_rng *r, uint64_t seed)
{
	for (int i = 0; i < 4; i++) {
		uint64_t z = (seed += 0x9e3779b97f4a7c15u);

		z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
		z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
		r->s[i] = z ^ (z >> 31);
	}
	r->spare = 0;
	r->has_spare = 0;
}

double demo_uniform(demo_rng *r)
{
	return ((double)(demo_bits(r) >> 12) + 0.5) * 0x1p-52;
}

double demo_normal(demo_rng *r)
{
	double u, v, q;

	if (r->has_spare) {
		r->has_spare = 0;
		return r->spare;
	}
	do {
		u = 2 * demo_uniform(r) - 1;
		v = 2 * demo_uniform(r) - 1;
		q = u * u + v * v;
	} while (q >= 1 || q <= 0);
	q = sqrt(-2 * log(q) / q);
	r->spare = v * q;
	r->has_spare = 1;
	return u * q;
}

double demo_gamma(demo_rng *r, double shape)
{
	double d, c;

	if (shape < 1) {
		double u = demo_uniform(r);

		return demo_gamma(r, shape + 1) * pow(u, 1 / shape);
	}
	d = shape - 1.0 / 3;
	c = 1 / sqrt(9 * d);
	for (;;) {
		double x = demo_normal(r), v = 1 + c * x;

		if (v <= 0)
			continue;
		v = v * v * v;
		if (log(demo_uniform(r)) < 0.5 * x * x + d - d * v + d * log(v))
			return d * v;
	}
}

static int poisson_piece(demo_rng *r, double mean)
{
	double floor_at = exp(-mean), product = 1;
	int k = 0;

	while ((product *= demo_uniform(r)) > floor_at)
		k++;
	return k;
}

int demo_poisson(demo_rng *r, double mean)
{
	int k = 0;

	for (; mean > 25; mean -= 25)
		k += poisson_piece(r, 25);
	return k + poisson_piece(r, mean);
}

int demo_negbin(demo_rng *r, double mean, double size)
{
	return demo_poisson(r, mean * demo_gamma(r, size) / size);
}

int demo_chance(demo_rng *r, double p)
{
	return demo_uniform(r) < p;
}

int demo_below(demo_rng *r, int n)
{
	return (int)(demo_uniform(r) * n);
}

int demo_pick(demo_rng *r, const double *weight, int n)
{
	double sum = 0, u;

	for (int i = 0; i < n; i++)
		sum += weight[i];
	u = demo_uniform(r) * sum;
	for (int i = 0; i < n - 1; i++) {
		u -= weight[i];
		if (u < 0)
			return i;
	}
	return n - 1;
}
