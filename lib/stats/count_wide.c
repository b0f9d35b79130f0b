/*
 * count_wide.c - see count_wide.h. Vectors are handed on by address: a wider
 * one by value would bind the calling convention to the processor.
 */
#include "stats/count_wide.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#if defined(__x86_64__) && defined(__GNUC__)
#define HAS_WIDE 1
#else
#define HAS_WIDE 0
#endif

enum { LANES = 4 };
typedef double lanes __attribute__((vector_size(8 * LANES)));
typedef uint64_t lane_bits __attribute__((vector_size(8 * LANES)));

#define INLINE static inline __attribute__((always_inline))

static const double LN2_HIGH = 0x1.62e42fee00000p-1;
static const double LN2_LOW = 0x1.a39ef35793c76p-33; /* the rest of ln 2 */

/* At most LANES numbers; lanes past them are 0. */
INLINE void load(lanes *v, const double *a, size_t left)
{
	double part[LANES] = { a[0] };

	if (left >= LANES) {
		memcpy(v, a, sizeof *v);
		return;
	}
	if (left > 1)
		part[1] = a[1];
	if (left > 2)
		part[2] = a[2];
	memcpy(v, part, sizeof *v);
}

INLINE void store(double *a, const lanes *v, size_t left)
{
	if (left >= LANES) {
		memcpy(a, v, sizeof *v);
		return;
	}
	a[0] = (*v)[0];
	if (left > 1)
		a[1] = (*v)[1];
	if (left > 2)
		a[2] = (*v)[2];
}

INLINE double add(const lanes *v)
{
	return ((*v)[0] + (*v)[1]) + ((*v)[2] + (*v)[3]);
}

/*
 * ln x, x >= 1: x = 2^k m, m in sqrt(1/2) .. sqrt(2), ln m = 2 artanh(f),
 * f = (m - 1) / (m + 1), its series in f^2 < 0.0295 to f^21.
 */
INLINE void log_of(lanes *x)
{
	const lanes least = (lanes){ 0 } + 0x1.6a09e667f3bcdp-1;
	const lanes magic = (lanes){ 0 } + 0x1p52;
	lane_bits bits = (lane_bits)*x, up = (bits - (lane_bits)least) >> 52;
	lanes k = (lanes)(up | (lane_bits)magic) - magic;
	lanes m = (lanes)(bits - (up << 52)), f = (m - 1) / (m + 1);
	lanes g = f * f, h = g * g;
	/* Every other term: two chains run side by side. */
	lanes odd = h * (1.0 / 21) + 1.0 / 17, even = h * (1.0 / 19) + 1.0 / 15;
	lanes sum;

	odd = odd * h + 1.0 / 13;
	even = even * h + 1.0 / 11;
	odd = odd * h + 1.0 / 9;
	even = even * h + 1.0 / 7;
	odd = odd * h + 1.0 / 5;
	even = even * h + 1.0 / 3;
	sum = odd * g + even;
	*x = k * LN2_HIGH + (k * LN2_LOW + 2 * (f + f * g * sum));
}

/*
 * exp(x), |x| < 700: x = k ln 2 + r, |r| < 0.35, Taylor's series to r^13,
 * 2^k put into the exponent.
 */
INLINE void exp_of(lanes *x)
{
	/* Adding 1.5 2^52 rounds to whole numbers, seen in the low bits. */
	const lanes magic = (lanes){ 0 } + 0x1.8p52;
	lanes shifted = *x * 0x1.71547652b82fep0 + magic;
	lanes k = shifted - magic;
	lanes r = (*x - k * LN2_HIGH) - k * LN2_LOW;
	lanes s = r * r;
	lanes odd = s * (1.0 / 6227020800) + 1.0 / 39916800;
	lanes even = s * (1.0 / 479001600) + 1.0 / 3628800, sum;
	lane_bits up = (lane_bits)shifted << 52;

	odd = odd * s + 1.0 / 362880;
	even = even * s + 1.0 / 40320;
	odd = odd * s + 1.0 / 5040;
	even = even * s + 1.0 / 720;
	odd = odd * s + 1.0 / 120;
	even = even * s + 1.0 / 24;
	odd = odd * s + 1.0 / 6;
	even = even * s + 0.5;
	sum = odd * r + even;
	sum = 1 + (r + s * sum);
	*x = (lanes)((lane_bits)sum + up);
}

INLINE void exp_all(const double *x, double *out, size_t n)
{
	int far = 0;

	for (size_t j = 0; j < n; j++)
		far |= !(x[j] > -700 && x[j] < 700);
	for (size_t j = 0; far && j < n; j++)
		out[j] = exp(x[j]);
	for (size_t j = 0; !far && j < n; j += LANES) {
		lanes v;

		load(&v, x + j, n - j);
		exp_of(&v);
		store(out + j, &v, n - j);
	}
}

struct sums {
	lanes e, ee, eee, eet, held, share, log, counted;
};

INLINE void some_rows(pd_count_block *b, size_t j, pd_count_depth depth,
                      struct sums *a)
{
	size_t left = b->n - j;
	lanes mu, y, r, one, q, share, held, bend, way, slope, turn, et, eet,
	      l;

	load(&mu, b->mu + j, left);
	load(&y, b->y + j, left);
	r = mu * b->factor;
	l = one = 1 + r;
	q = 1 / one;
	share = r * q;
	held = b->theta * share;
	bend = -((y + b->theta) * share * q);
	way = q - share;
	slope = y * q - held;
	turn = bend * way;
	et = -bend - held;
	eet = -turn - held * q;
	a->e += slope;
	a->ee += bend;
	if (depth == PD_COUNT_TOP)
		return;
	store(b->e + j, &slope, left);
	log_of(&l);
	l += (r - (one - 1)) * q; /* what 1 + r lost */
	a->log += l;
	a->counted += y * l;
	a->held += held;
	a->share += y * share;
	if (depth == PD_COUNT_NODE)
		return;
	store(b->ee + j, &bend, left);
	store(b->eee + j, &turn, left);
	store(b->et + j, &et, left);
	store(b->eet + j, &eet, left);
	a->eee += turn;
	a->eet += eet;
}

/* Lanes past the last row have mean and count 0 and add nothing. */
INLINE void all_rows(pd_count_block *b, pd_count_depth depth)
{
	struct sums a = { 0 };

	for (size_t j = 0; j < b->n; j += LANES)
		some_rows(b, j, depth, &a);
	b->sum_e = add(&a.e);
	b->sum_ee = add(&a.ee);
	b->sum_eee = add(&a.eee);
	b->sum_eet = add(&a.eet);
	b->held = add(&a.held);
	b->share = add(&a.share);
	b->log = add(&a.log);
	b->counted = add(&a.counted);
}

/* ---- columns ------------------------------------------------------------ */

enum { BLOCK = 128 };

INLINE void linear_all(const pd_count_columns *x, const double *par,
                       const double *offset, double *out)
{
	for (size_t i = 0; i < x->n; i += LANES) {
		size_t left = x->n - i;
		lanes sum, v;

		load(&sum, offset + i, left);
		for (size_t j = 0; j < x->p; j++) {
			load(&v, x->column + j * x->n + i, left);
			sum += v * par[j];
		}
		store(out + i, &sum, left);
	}
}

INLINE double dot(const double *a, const double *b, size_t n)
{
	lanes sum = { 0 }, u, v;

	for (size_t i = 0; i < n; i += LANES) {
		load(&u, a + i, n - i);
		load(&v, b + i, n - i);
		sum += u * v;
	}
	return add(&sum);
}

INLINE void cross_all(const pd_count_columns *x, const double *w,
                      double *sum)
{
	for (size_t j = 0; j < x->p; j++)
		sum[j] += dot(x->column + j * x->n, w, x->n);
}

INLINE void squares_all(const pd_count_columns *x, const double *w,
                        double *lower, size_t m)
{
	double part[BLOCK];

	for (size_t i = 0; i < x->n; i += BLOCK) {
		size_t n = x->n - i < BLOCK ? x->n - i : BLOCK;

		for (size_t k = 0; k < x->p; k++) {
			const double *c = x->column + k * x->n + i;

			for (size_t r = 0; r < n; r += LANES) {
				lanes u, v;

				load(&u, c + r, n - r);
				load(&v, w + i + r, n - r);
				u *= v;
				store(part + r, &u, n - r);
			}
			for (size_t l = 0; l <= k; l++)
				lower[k * m + l] +=
				    dot(part, x->column + l * x->n + i, n);
		}
	}
}

/* ---- each kernel -------------------------------------------------------- */

#define KERNEL(name, words, attribute)                                        \
	attribute static void exp_##name(const double *x, double *out,        \
	                                 size_t n)                            \
	{                                                                     \
		exp_all(x, out, n);                                           \
	}                                                                     \
	attribute static void scattered_##name(pd_count_block *b,             \
	                                       pd_count_depth depth)          \
	{                                                                     \
		if (depth == PD_COUNT_TOP)                                    \
			all_rows(b, PD_COUNT_TOP);                            \
		else if (depth == PD_COUNT_NODE)                              \
			all_rows(b, PD_COUNT_NODE);                           \
		else                                                          \
			all_rows(b, PD_COUNT_ALL);                            \
	}                                                                     \
	attribute static void linear_##name(const pd_count_columns *x,        \
	                                    const double *par,                \
	                                    const double *offset,             \
	                                    double *out)                      \
	{                                                                     \
		linear_all(x, par, offset, out);                              \
	}                                                                     \
	attribute static void cross_##name(const pd_count_columns *x,         \
	                                   const double *w, double *sum)      \
	{                                                                     \
		cross_all(x, w, sum);                                         \
	}                                                                     \
	attribute static void squares_##name(const pd_count_columns *x,       \
	                                     const double *w, double *lower,  \
	                                     size_t m)                        \
	{                                                                     \
		squares_all(x, w, lower, m);                                  \
	}                                                                     \
	static const pd_count_kernel kernel_##name = {                        \
		words, exp_##name, scattered_##name, linear_##name,           \
		cross_##name, squares_##name                                  \
	}

KERNEL(plain, "any", );
#if HAS_WIDE
KERNEL(wide, "avx2", __attribute__((target("avx2"))));
#endif

const pd_count_kernel *pd_count_kernel_at(size_t i)
{
	if (!i)
		return &kernel_plain;
#if HAS_WIDE
	if (i == 1 && __builtin_cpu_supports("avx2"))
		return &kernel_wide;
#endif
	return NULL;
}

const pd_count_kernel *pd_count_kernel_best(void)
{
	const pd_count_kernel *next = pd_count_kernel_at(1);

	return next ? next : &kernel_plain;
}
