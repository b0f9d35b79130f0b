/*
 * stream.h - counter-based random numbers: the k-th number of stream s under
 * a seed is a pure function of (seed, s, k), so that any thread may make any
 * part and the bytes are the same. Philox 4x32-10 (Salmon et al. 2011, SC'11).
 */
#ifndef PERDRAW_STATS_STREAM_H
#define PERDRAW_STATS_STREAM_H

#include <stddef.h>
#include <stdint.h>

typedef struct pd_stream {
	uint64_t seed, stream, counter;
	uint32_t word[4];
	unsigned left;
} pd_stream;

void pd_stream_init(pd_stream *s, uint64_t seed, uint64_t stream);
uint64_t pd_stream_bits(pd_stream *s);           /* 64 random bits        */
double pd_stream_uniform(pd_stream *s); /* odd multiples of 2^-53 in (0, 1) */
double pd_stream_normal(pd_stream *s);           /* N(0,1), by inversion  */
double pd_stream_chisq(pd_stream *s, double df); /* df > 0, by inversion  */
double pd_stream_gamma(pd_stream *s, double shape); /* scale 1, inversion  */
/* Poisson, 0 <= mean <= 1e6 (NaN outside): inversion, a mean above 200 as a
 * sum of parts no larger. */
double pd_stream_poisson(pd_stream *s, double mean);
/* N(mean, sd) truncated to [low, high]; limits may be infinite; sd 0: mean
 * moved into the limits; NaN where low > high or sd < 0. */
double pd_stream_truncated(pd_stream *s, double mean, double sd, double low,
                           double high);
uint64_t pd_stream_below(pd_stream *s, uint64_t n); /* 0 .. n-1, unbiased */

/* out[i] = the (2 block + i)-th 64 bits of the stream, i < n. */
void pd_stream_fill(uint64_t seed, uint64_t stream, uint64_t block,
                    uint64_t *out, size_t n);

/*
 * `draws` whole numbers below n, 1 <= n < 2^32, unbiased: count[k] (n of them)
 * goes up by one for every k drawn. Up to PD_STREAM_PAIRED each 32-bit word w
 * gives two: with w n = 2^32 i + r and r n = 2^32 j + s they are i and j, the
 * word passed over while s < 2^32 mod n^2. Words come eight blocks at a time,
 * the first words of all eight, then the second, third and fourth. Above,
 * each word in order gives i, passed over while r < 2^32 mod n.
 * Source: Lemire (2019), ACM Trans. Model. Comput. Simul. 29, art. 3; two at a
 * time: Brackett-Rozinsky & Lemire (2024), Softw. Pract. Exper. (memory).
 */
enum { PD_STREAM_PAIRED = 8192 };
void pd_stream_counts(uint64_t seed, uint64_t stream, uint32_t n, size_t draws,
                      uint32_t *count);

/* Philox 4x32-10 itself, for checks against its published test vectors. */
void pd_stream_block(const uint32_t counter[4], const uint32_t key[2],
                     uint32_t out[4]);

#endif
