/*
 * stream_wide.c - see stream_wide.h. The wide kernels hold one word of each
 * block in the low half of a 64-bit lane; what a product leaves in the high
 * half is never read, since a 32 x 32 bit product looks at the low halves.
 */
#include "stats/stream_wide.h"
#include "stats/stream.h"

#if defined(__x86_64__) && defined(__GNUC__)
#define HAS_WIDE 1
#include <immintrin.h>
#else
#define HAS_WIDE 0
#endif

enum { ROUNDS = 10 };

/* ---- any processor ------------------------------------------------------ */

static void block_at(uint64_t seed, uint64_t stream, uint64_t at,
                     uint32_t word[4])
{
	const uint32_t counter[4] = { (uint32_t)at, (uint32_t)(at >> 32),
	                              (uint32_t)stream,
	                              (uint32_t)(stream >> 32) };
	const uint32_t key[2] = { (uint32_t)seed, (uint32_t)(seed >> 32) };

	pd_stream_block(counter, key, word);
}

static void bits_plain(uint64_t seed, uint64_t stream, uint64_t first,
                       uint64_t out[2 * PD_WIDE_BLOCKS])
{
	for (unsigned b = 0; b < PD_WIDE_BLOCKS; b++) {
		uint32_t w[4];

		block_at(seed, stream, first + b, w);
		out[2 * b] = (uint64_t)w[1] << 32 | w[0];
		out[2 * b + 1] = (uint64_t)w[3] << 32 | w[2];
	}
}

static void pairs_plain(uint64_t seed, uint64_t stream, uint64_t first,
                       uint32_t n, uint32_t uneven,
                       uint64_t out[PD_WIDE_GROUPS][PD_WIDE_WORDS],
                       uint32_t passed[PD_WIDE_GROUPS])
{

	for (unsigned b = 0; b < PD_WIDE_BLOCKS; b++) {
		unsigned g = b / PD_WIDE_LANES, lane = b % PD_WIDE_LANES;
		uint32_t w[4];

		if (!lane)
			passed[g] = 0;
		block_at(seed, stream, first + b, w);
		for (unsigned j = 0; j < 4; j++) {
			unsigned k = PD_WIDE_LANES * j + lane;
			uint64_t p = (uint64_t)w[j] * n;
			uint64_t q = (uint64_t)(uint32_t)p * n;

			out[g][k] = p >> 32 | (q >> 32) << 32;
			passed[g] |= (uint32_t)((uint32_t)q < uneven) << k;
		}
	}
}

#if HAS_WIDE

static const uint32_t MULTIPLY_A = 0xD2511F53u, MULTIPLY_B = 0xCD9E8D57u;
static const uint32_t KEY_STEP_A = 0x9E3779B9u, KEY_STEP_B = 0xBB67AE85u;

#define ALL(x) (long long)(x)

/* ---- four lanes, twice -------------------------------------------------- */

#define FOUR __attribute__((target("avx2")))

struct four {
	__m256i w[4];
};

FOUR static inline struct four four_start(uint64_t stream, uint64_t at)
{
	struct four c;

	c.w[0] = _mm256_set_epi64x(ALL(at + 3), ALL(at + 2), ALL(at + 1),
	                           ALL(at));
	c.w[1] = _mm256_srli_epi64(c.w[0], 32);
	c.w[2] = _mm256_set1_epi64x(ALL(stream));
	c.w[3] = _mm256_set1_epi64x(ALL(stream >> 32));
	return c;
}

FOUR static inline struct four four_round(struct four c, uint32_t ka,
                                          uint32_t kb)
{
	__m256i a = _mm256_mul_epu32(_mm256_set1_epi64x(MULTIPLY_A), c.w[0]);
	__m256i b = _mm256_mul_epu32(_mm256_set1_epi64x(MULTIPLY_B), c.w[2]);
	__m256i to0 = _mm256_xor_si256(c.w[1], _mm256_set1_epi64x(ka));
	__m256i to2 = _mm256_xor_si256(c.w[3], _mm256_set1_epi64x(kb));

	c.w[0] = _mm256_xor_si256(_mm256_srli_epi64(b, 32), to0);
	c.w[2] = _mm256_xor_si256(_mm256_srli_epi64(a, 32), to2);
	c.w[1] = b;
	c.w[3] = a;
	return c;
}

FOUR static inline void four_blocks(uint64_t seed, uint64_t stream,
                                    uint64_t first, struct four c[2])
{
	uint32_t ka = (uint32_t)seed, kb = (uint32_t)(seed >> 32);

	c[0] = four_start(stream, first);
	c[1] = four_start(stream, first + 4);
	for (int r = 0; r < ROUNDS; r++) {
		c[0] = four_round(c[0], ka, kb);
		c[1] = four_round(c[1], ka, kb);
		ka += KEY_STEP_A;
		kb += KEY_STEP_B;
	}
}

FOUR static inline void bits_of_four(struct four c, uint64_t *out)
{
	const __m256i low = _mm256_set1_epi64x(0xffffffff);
	__m256i u = _mm256_or_si256(_mm256_and_si256(c.w[0], low),
	                            _mm256_slli_epi64(c.w[1], 32));
	__m256i v = _mm256_or_si256(_mm256_and_si256(c.w[2], low),
	                            _mm256_slli_epi64(c.w[3], 32));
	__m256i x = _mm256_unpacklo_epi64(u, v);
	__m256i y = _mm256_unpackhi_epi64(u, v);

	_mm256_storeu_si256((void *)out,
	                    _mm256_permute2x128_si256(x, y, 0x20));
	_mm256_storeu_si256((void *)(out + 4),
	                    _mm256_permute2x128_si256(x, y, 0x31));
}

FOUR static void bits_four(uint64_t seed, uint64_t stream, uint64_t first,
                           uint64_t out[2 * PD_WIDE_BLOCKS])
{
	for (int g = 0; g < PD_WIDE_GROUPS; g++, first += PD_WIDE_LANES) {
		struct four c[2];

		four_blocks(seed, stream, first, c);
		bits_of_four(c[0], out);
		bits_of_four(c[1], out + PD_WIDE_LANES);
		out += 2 * PD_WIDE_LANES;
	}
}

FOUR static inline uint32_t pairs_of_four(const struct four c[2], __m256i by,
                                          __m256i limit, uint64_t *out)
{
	const __m256i low = _mm256_set1_epi64x(0xffffffff);
	uint32_t passed = 0;

	for (unsigned k = 0; k < 8; k++) {
		__m256i p = _mm256_mul_epu32(c[k % 2].w[k / 2], by);
		__m256i q = _mm256_mul_epu32(p, by);
		__m256i over = _mm256_cmpgt_epi64(limit,
		                                  _mm256_and_si256(q, low));
		int mask = _mm256_movemask_pd(_mm256_castsi256_pd(over));

		passed |= (uint32_t)mask << 4 * k;
		_mm256_storeu_si256((void *)(out + 4 * k), _mm256_or_si256(
		    _mm256_srli_epi64(p, 32), _mm256_andnot_si256(low, q)));
	}
	return passed;
}

FOUR static void pairs_four(uint64_t seed, uint64_t stream, uint64_t first,
                           uint32_t n, uint32_t uneven,
                           uint64_t out[PD_WIDE_GROUPS][PD_WIDE_WORDS],
                           uint32_t passed[PD_WIDE_GROUPS])
{
	const __m256i by = _mm256_set1_epi64x(n);
	const __m256i limit = _mm256_set1_epi64x(uneven);

	for (int g = 0; g < PD_WIDE_GROUPS; g++, first += PD_WIDE_LANES) {
		struct four c[2];

		four_blocks(seed, stream, first, c);
		passed[g] = pairs_of_four(c, by, limit, out[g]);
	}
}

/* ---- eight lanes -------------------------------------------------------- */

#define EIGHT __attribute__((target("avx512f")))
enum { THREE_XOR = 0x96 };

struct eight {
	__m512i w[4];
};

EIGHT static inline struct eight eight_start(uint64_t stream, uint64_t at)
{
	struct eight c;

	c.w[0] = _mm512_add_epi64(_mm512_set1_epi64(ALL(at)),
	                          _mm512_set_epi64(7, 6, 5, 4, 3, 2, 1, 0));
	c.w[1] = _mm512_srli_epi64(c.w[0], 32);
	c.w[2] = _mm512_set1_epi64(ALL(stream));
	c.w[3] = _mm512_set1_epi64(ALL(stream >> 32));
	return c;
}

EIGHT static inline struct eight eight_round(struct eight c, __m512i ka,
                                             __m512i kb)
{
	__m512i a = _mm512_mul_epu32(_mm512_set1_epi64(MULTIPLY_A), c.w[0]);
	__m512i b = _mm512_mul_epu32(_mm512_set1_epi64(MULTIPLY_B), c.w[2]);

	c.w[0] = _mm512_ternarylogic_epi64(_mm512_srli_epi64(b, 32), c.w[1],
	                                   ka, THREE_XOR);
	c.w[2] = _mm512_ternarylogic_epi64(_mm512_srli_epi64(a, 32), c.w[3],
	                                   kb, THREE_XOR);
	c.w[1] = b;
	c.w[3] = a;
	return c;
}

/* Four groups side by side: one alone would wait for its own products. */
EIGHT static inline void eight_blocks(uint64_t seed, uint64_t stream,
                                      uint64_t first,
                                      struct eight out[PD_WIDE_GROUPS])
{
	const __m512i step_a = _mm512_set1_epi64(KEY_STEP_A);
	const __m512i step_b = _mm512_set1_epi64(KEY_STEP_B);
	__m512i ka = _mm512_set1_epi64(ALL((uint32_t)seed));
	__m512i kb = _mm512_set1_epi64(ALL(seed >> 32));
	struct eight c0 = eight_start(stream, first);
	struct eight c1 = eight_start(stream, first + PD_WIDE_LANES);
	struct eight c2 = eight_start(stream, first + 2 * PD_WIDE_LANES);
	struct eight c3 = eight_start(stream, first + 3 * PD_WIDE_LANES);

	for (int r = 0; r < ROUNDS; r++) {
		c0 = eight_round(c0, ka, kb);
		c1 = eight_round(c1, ka, kb);
		c2 = eight_round(c2, ka, kb);
		c3 = eight_round(c3, ka, kb);
		ka = _mm512_add_epi64(ka, step_a);
		kb = _mm512_add_epi64(kb, step_b);
	}
	out[0] = c0;
	out[1] = c1;
	out[2] = c2;
	out[3] = c3;
}

EIGHT static void bits_eight(uint64_t seed, uint64_t stream, uint64_t first,
                             uint64_t out[2 * PD_WIDE_BLOCKS])
{
	const __m512i low = _mm512_set1_epi64(0xffffffff);
	const __m512i front = _mm512_set_epi64(11, 3, 10, 2, 9, 1, 8, 0);
	const __m512i back = _mm512_set_epi64(15, 7, 14, 6, 13, 5, 12, 4);
	struct eight c[PD_WIDE_GROUPS];

	eight_blocks(seed, stream, first, c);
	for (int g = 0; g < PD_WIDE_GROUPS; g++, out += 2 * PD_WIDE_LANES) {
		__m512i u = _mm512_or_si512(
		    _mm512_and_si512(c[g].w[0], low),
		    _mm512_slli_epi64(c[g].w[1], 32));
		__m512i v = _mm512_or_si512(
		    _mm512_and_si512(c[g].w[2], low),
		    _mm512_slli_epi64(c[g].w[3], 32));

		_mm512_storeu_si512(out,
		                    _mm512_permutex2var_epi64(u, front, v));
		_mm512_storeu_si512(out + PD_WIDE_LANES,
		                    _mm512_permutex2var_epi64(u, back, v));
	}
}

EIGHT static inline uint32_t pairs_of_eight(struct eight c, __m512i by,
                                            __m512i limit, uint64_t *out)
{
	const __m512i low = _mm512_set1_epi64(0xffffffff);
	uint32_t passed = 0;

	for (unsigned j = 0; j < 4; j++) {
		__m512i p = _mm512_mul_epu32(c.w[j], by);
		__m512i q = _mm512_mul_epu32(p, by);
		__m512i left = _mm512_and_si512(q, low);

		passed |= (uint32_t)_mm512_cmplt_epi64_mask(left, limit)
		          << PD_WIDE_LANES * j;
		_mm512_storeu_si512(out + PD_WIDE_LANES * j, _mm512_or_si512(
		    _mm512_srli_epi64(p, 32), _mm512_andnot_si512(low, q)));
	}
	return passed;
}

EIGHT static void pairs_eight(uint64_t seed, uint64_t stream, uint64_t first,
                             uint32_t n, uint32_t uneven,
                             uint64_t out[PD_WIDE_GROUPS][PD_WIDE_WORDS],
                             uint32_t passed[PD_WIDE_GROUPS])
{
	const __m512i by = _mm512_set1_epi64(n);
	const __m512i limit = _mm512_set1_epi64(uneven);
	struct eight c[PD_WIDE_GROUPS];

	eight_blocks(seed, stream, first, c);
	for (int g = 0; g < PD_WIDE_GROUPS; g++)
		passed[g] = pairs_of_eight(c[g], by, limit, out[g]);
}

#endif

/* ---- which -------------------------------------------------------------- */

static const pd_wide_kernel kernels[] = {
	{ "plain", bits_plain, pairs_plain },
#if HAS_WIDE
	{ "four lanes", bits_four, pairs_four },
	{ "eight lanes", bits_eight, pairs_eight },
#endif
};

const pd_wide_kernel *pd_wide_kernel_at(size_t i)
{
	size_t n = 1;

#if HAS_WIDE
	n += __builtin_cpu_supports("avx2") ? 1 : 0;
	n += n == 2 && __builtin_cpu_supports("avx512f") ? 1 : 0;
#endif
	return i < n ? &kernels[i] : NULL;
}

const pd_wide_kernel *pd_wide_kernel_best(void)
{
	const pd_wide_kernel *best = &kernels[0];

	for (size_t i = 1; pd_wide_kernel_at(i); i++)
		best = pd_wide_kernel_at(i);
	return best;
}
