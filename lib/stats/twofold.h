/*
 * twofold.h - numbers of about 32 digits as the unevaluated sum of two doubles
 * (only for the rooms of stats). hi is the number rounded to double, lo what
 * is left; every operation is good to a few units of 2^-104 unless it leaves
 * the range of doubles. Needs round to nearest and products kept apart from
 * sums, as the C standard's mode of the compiler has them.
 *
 * Sources: Knuth, The Art of Computer Programming 2, 4.2.2 (exact sum);
 * Dekker (1971), Numerische Mathematik 18, 224-242 (products and quotients).
 */
#ifndef PERDRAW_STATS_TWOFOLD_H
#define PERDRAW_STATS_TWOFOLD_H

#include <math.h>

typedef struct tf {
	double hi, lo;
} tf;

/* a + b exactly, for |a| >= |b|. */
static inline tf tf_settle(double a, double b)
{
	double s = a + b;

	return (tf){ s, b - (s - a) };
}

/* a + b exactly. */
static inline tf tf_sum(double a, double b)
{
	double s = a + b, bb = s - a;

	return (tf){ s, (a - (s - bb)) + (b - bb) };
}

/* a * b exactly. */
static inline tf tf_product(double a, double b)
{
	double p = a * b;

	return (tf){ p, fma(a, b, -p) };
}

static inline tf tf_of(double a)
{
	return (tf){ a, 0 };
}

static inline double tf_double(tf a)
{
	return a.hi + a.lo;
}

static inline tf tf_neg(tf a)
{
	return (tf){ -a.hi, -a.lo };
}

static inline tf tf_add(tf a, tf b)
{
	tf s = tf_sum(a.hi, b.hi), t = tf_sum(a.lo, b.lo);

	s = tf_settle(s.hi, s.lo + t.hi);
	return tf_settle(s.hi, s.lo + t.lo);
}

static inline tf tf_sub(tf a, tf b)
{
	return tf_add(a, tf_neg(b));
}

static inline tf tf_mul(tf a, tf b)
{
	tf p = tf_product(a.hi, b.hi);

	return tf_settle(p.hi, p.lo + (a.hi * b.lo + a.lo * b.hi));
}

static inline tf tf_div(tf a, tf b)
{
	double q1 = a.hi / b.hi, q2, q3;
	tf r = tf_sub(a, tf_mul(tf_of(q1), b));

	q2 = r.hi / b.hi;
	r = tf_sub(r, tf_mul(tf_of(q2), b));
	q3 = r.hi / b.hi;
	return tf_add(tf_settle(q1, q2), tf_of(q3));
}

/* Square root; 0 for what is not above 0. */
static inline tf tf_root(tf a)
{
	double s;
	tf r;

	if (!(a.hi > 0))
		return tf_of(0);
	s = sqrt(a.hi);
	r = tf_sub(a, tf_product(s, s));
	return tf_settle(s, r.hi / (2 * s));
}

/* Times a power of two: exact. */
static inline tf tf_scale(tf a, int power)
{
	return (tf){ ldexp(a.hi, power), ldexp(a.lo, power) };
}

#endif
