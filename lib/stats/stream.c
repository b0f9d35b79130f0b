/*
 * stream.c - counter-based random numbers, Philox 4x32-10: ten rounds of two
 * 32 x 32 bit products turn a counter and a key into four words.
 */
#include "stats/stream.h"
#include "stats/quantile.h"
#include "stats/stream_wide.h"

#include <math.h>
#include <string.h>

/* Multipliers and key increments of Salmon et al. (2011), table 2. */
static const uint32_t MULTIPLY_A = 0xD2511F53u, MULTIPLY_B = 0xCD9E8D57u;
static const uint32_t KEY_STEP_A = 0x9E3779B9u, KEY_STEP_B = 0xBB67AE85u;

void pd_stream_block(const uint32_t counter[4], const uint32_t key[2],
                     uint32_t out[4])
{
	uint32_t c[4] = { counter[0], counter[1], counter[2], counter[3] };
	uint32_t ka = key[0], kb = key[1];

	for (int round = 0; round < 10; round++) {
		uint64_t a = (uint64_t)MULTIPLY_A * c[0];
		uint64_t b = (uint64_t)MULTIPLY_B * c[2];

		c[0] = (uint32_t)(b >> 32) ^ c[1] ^ ka;
		c[2] = (uint32_t)(a >> 32) ^ c[3] ^ kb;
		c[1] = (uint32_t)b;
		c[3] = (uint32_t)a;
		ka += KEY_STEP_A;
		kb += KEY_STEP_B;
	}
	for (int i = 0; i < 4; i++)
		out[i] = c[i];
}

void pd_stream_init(pd_stream *s, uint64_t seed, uint64_t stream)
{
	*s = (pd_stream){ .seed = seed, .stream = stream };
}

uint64_t pd_stream_bits(pd_stream *s)
{
	unsigned at;

	if (!s->left) {
		uint32_t counter[4] = {
			(uint32_t)s->counter, (uint32_t)(s->counter >> 32),
			(uint32_t)s->stream, (uint32_t)(s->stream >> 32),
		};
		uint32_t key[2] = {
			(uint32_t)s->seed, (uint32_t)(s->seed >> 32),
		};

		pd_stream_block(counter, key, s->word);
		s->counter++;
		s->left = 4;
	}
	at = 4 - s->left;
	s->left -= 2;
	return (uint64_t)s->word[at + 1] << 32 | s->word[at];
}

double pd_stream_uniform(pd_stream *s)
{
	return ((double)(pd_stream_bits(s) >> 12) + 0.5) * 0x1p-52;
}

double pd_stream_normal(pd_stream *s)
{
	return pd_normal_quantile_near(pd_stream_uniform(s));
}

double pd_stream_chisq(pd_stream *s, double df)
{
	return pd_chisq_quantile(pd_stream_uniform(s), df);
}

double pd_stream_gamma(pd_stream *s, double shape)
{
	return pd_gamma_quantile(pd_stream_uniform(s), shape, 1);
}

/* The chances from 0 up until they pass a uniform number. */
static double few(pd_stream *s, double mean)
{
	double u = pd_stream_uniform(s), p = exp(-mean), sum = p, k = 0;

	while (u > sum && (k < mean || p > 1e-18)) {
		p *= mean / ++k;
		sum += p;
	}
	return k;
}

double pd_stream_poisson(pd_stream *s, double mean)
{
	double parts = ceil(mean / 200), sum = 0;

	if (!(mean >= 0 && mean <= 1e6))
		return NAN;
	for (double i = 0; i < parts; i++)
		sum += few(s, mean / parts);
	return sum;
}

/*
 * Standard normal beyond a >= 30 and up to b: the square exceeds a^2 by twice
 * an exponential, kept with chance a / x (Marsaglia 1964, Technometrics 6,
 * 101-102), which is above 0.99 here.
 */
static double far_tail(pd_stream *s, double a, double b)
{
	double most = -expm1(-0.5 * (b - a) * (b + a)), x;

	do
		x = sqrt(a * a - 2 * log1p(-most * pd_stream_uniform(s)));
	while (pd_stream_uniform(s) * x > a);
	return x;
}

/* Standard normal between a and b, a > -b: works on upper tails, so that
 * limits far to the right keep their precision. */
static double between(pd_stream *s, double a, double b)
{
	double u, at_a, at_b;

	if (a > 30)
		return far_tail(s, a, b);
	u = pd_stream_uniform(s);
	at_a = pd_normal_upper(a);
	at_b = pd_normal_upper(b);
	return -pd_normal_quantile(at_b + u * (at_a - at_b));
}

double pd_stream_truncated(pd_stream *s, double mean, double sd, double low,
                           double high)
{
	double a = (low - mean) / sd, b = (high - mean) / sd, x;

	if (!(low <= high) || !(sd >= 0) || !isfinite(mean))
		return NAN;
	if (low == high || sd == 0)
		return fmin(fmax(mean, low), high);
	x = a > -b ? between(s, a, b) : -between(s, -b, -a);
	return fmin(fmax(mean + sd * x, low), high);
}

uint64_t pd_stream_below(pd_stream *s, uint64_t n)
{
	uint64_t bits, uneven;

	if (n < 2)
		return 0;
	uneven = (0 - n) % n; /* 2^64 mod n: so many values are turned away */
	do
		bits = pd_stream_bits(s);
	while (bits < uneven);
	return bits % n;
}

/* ---- many at a time ----------------------------------------------------- */

void pd_stream_fill(uint64_t seed, uint64_t stream, uint64_t block,
                    uint64_t *out, size_t n)
{
	const pd_wide_kernel *wide = pd_wide_kernel_best();
	enum { STEP = 2 * PD_WIDE_BLOCKS };
	_Alignas(64) uint64_t rest[STEP];

	for (; n >= STEP; n -= STEP, out += STEP, block += PD_WIDE_BLOCKS)
		wide->bits(seed, stream, block, out);
	if (!n)
		return;
	wide->bits(seed, stream, block, rest);
	memcpy(out, rest, n * sizeof *out);
}

/* The words of one group whose bit in `passed` is clear, until `draws` are
 * made; how many were. */
static size_t count_some(const uint64_t pair[PD_WIDE_WORDS], uint32_t passed,
                         size_t draws, uint32_t *count)
{
	size_t made = 0;

	for (unsigned k = 0; k < PD_WIDE_WORDS && made < draws; k++) {
		if (passed >> k & 1)
			continue;
		count[(uint32_t)pair[k]]++;
		if (++made < draws) {
			count[pair[k] >> 32]++;
			made++;
		}
	}
	return made;
}

static inline void count_two(uint64_t two, uint32_t *count)
{
	count[(uint32_t)two]++;
	count[two >> 32]++;
}

/* The same for a group that is wanted whole. */
static size_t count_all(const uint64_t pair[PD_WIDE_WORDS], uint32_t *count)
{
	for (unsigned k = 0; k < PD_WIDE_WORDS; k += 4) {
		count_two(pair[k], count);
		count_two(pair[k + 1], count);
		count_two(pair[k + 2], count);
		count_two(pair[k + 3], count);
	}
	return 2 * PD_WIDE_WORDS;
}

static void count_paired(uint64_t seed, uint64_t stream, uint32_t n,
                         size_t draws, uint32_t *count)
{
	const pd_wide_kernel *wide = pd_wide_kernel_best();
	uint32_t uneven = (uint32_t)(((uint64_t)1 << 32) % ((uint64_t)n * n));
	uint32_t passed[PD_WIDE_GROUPS];
	_Alignas(64) uint64_t pair[PD_WIDE_GROUPS][PD_WIDE_WORDS];

	for (uint64_t at = 0; draws > 0; at += PD_WIDE_BLOCKS) {
		wide->pairs(seed, stream, at, n, uneven, pair, passed);
		for (int g = 0; g < PD_WIDE_GROUPS; g++)
			draws -= !passed[g] && draws >= 2 * PD_WIDE_WORDS
			             ? count_all(pair[g], count)
			             : count_some(pair[g], passed[g], draws,
			                          count);
	}
}

static void count_single(uint64_t seed, uint64_t stream, uint32_t n,
                         size_t draws, uint32_t *count)
{
	const pd_wide_kernel *wide = pd_wide_kernel_best();
	_Alignas(64) uint64_t bits[2 * PD_WIDE_BLOCKS];
	uint64_t at = 0;
	uint32_t uneven = (uint32_t)(((uint64_t)1 << 32) % n);

	for (; draws > 0; at += PD_WIDE_BLOCKS) {
		wide->bits(seed, stream, at, bits);
		for (unsigned k = 0; k < 4 * PD_WIDE_BLOCKS && draws; k++) {
			uint64_t w = (uint32_t)(bits[k / 2] >> 32 * (k % 2));
			uint64_t p = w * n;

			if ((uint32_t)p < uneven)
				continue;
			count[p >> 32]++;
			draws--;
		}
	}
}

void pd_stream_counts(uint64_t seed, uint64_t stream, uint32_t n, size_t draws,
                      uint32_t *count)
{
	if (n > PD_STREAM_PAIRED)
		count_single(seed, stream, n, draws, count);
	else if (n > 0)
		count_paired(seed, stream, n, draws, count);
}
