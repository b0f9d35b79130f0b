/*
 * check_property_small.c - what must hold for any data, of the rooms of plain
 * arrays: pairs, ranks, pools, agreement, the bootstrap.
 *
 * Powers of 2 scale bit for bit wherever values are only added, multiplied
 * and compared; other units and the order of values to 1e-12 unless said.
 */
#include "property_data.h"

#include "stats/agree.h"
#include "stats/bootstrap.h"
#include "stats/paired.h"
#include "stats/pool.h"
#include "stats/rank.h"
#include "stats/stream.h"
#include "stats/summary.h"

#include <math.h>
#include <string.h>

enum { MOST = 80, SMALL_DESIGNS = 8 };

static const double tiny = 0x1p-60, odd = 1e-9;

/* n values: 0 normal; 1 ties; 2 far from 0; 3 skewed; 4 very few; 5 with
 * zeros; 6 two clusters; 7 tiny numbers. */
typedef struct array {
	size_t n;
	double v[MOST];
} array;

static array values(int design, uint64_t stream)
{
	static const size_t size[SMALL_DESIGNS] = { 20, 33, 11, 40, 6, 17,
	                                            24, 13 };
	array a = { .n = size[design] };
	pd_stream s;

	pd_stream_init(&s, 101, stream * SMALL_DESIGNS + (uint64_t)design);
	for (size_t i = 0; i < a.n; i++) {
		double z = pd_stream_normal(&s);

		a.v[i] = 0.3 + z;
		if (design == 1)
			a.v[i] = rint(2 * z) / 2 + 0.5;
		if (design == 2)
			a.v[i] = 1e6 + z;
		if (design == 3)
			a.v[i] = exp(z) - 0.8;
		if (design == 5)
			a.v[i] = i % 4 == 0 ? 0 : z;
		if (design == 6)
			a.v[i] = z + (i % 2 ? 8 : 0);
		if (design == 7)
			a.v[i] = 1e-12 * (z + 0.4);
	}
	return a;
}

static array times(const array *a, double by)
{
	array b = *a;

	scale(b.v, b.n, by);
	return b;
}

static array turned(const array *a) /* another order */
{
	array b = *a;

	for (size_t i = 0; i < a->n; i++)
		b.v[i] = a->v[a->n - 1 - i];
	return b;
}

/* b is a with every number times `by` (a power of 2 when exact), p the same */
static void scaled_estimate(const char *what, const pd_estimate *a,
                            const pd_estimate *b, double by, int exact)
{
	double digits = exact ? 0 : 1e-12, span = fabs(a->high - a->low);

	near(what, b->se, by * a->se, digits);
	near(what, b->p, a->p, exact ? 0 : 1e-9);
	close_to(what, b->value, by * a->value, digits * by * span);
	close_to(what, b->low, by * a->low, digits * by * span);
	close_to(what, b->high, by * a->high, digits * by * span);
}

/* ---- pairs --------------------------------------------------------------- */

START_TEST(mean_of_pairs)
{
	array a = values(_i, 1), b = times(&a, tiny), c = turned(&a),
	      d = times(&a, -1), e = times(&a, odd);
	pd_estimate x, y;
	double n = (double)a.n;

	ok("mean", pd_paired_mean(a.v, a.n, 0.95, &x, &err));
	ok("mean", pd_paired_mean(b.v, b.n, 0.95, &y, &err));
	scaled_estimate("power of 2", &x, &y, tiny, 1);
	ok("mean", pd_paired_mean(e.v, e.n, 0.95, &y, &err));
	/* a far-off mean leaves 1e-16 of itself in every rounded value */
	if (_i != 2)
		scaled_estimate("unit", &x, &y, odd, 0);
	ok("mean", pd_paired_mean(c.v, c.n, 0.95, &y, &err));
	scaled_estimate("order", &x, &y, 1, 0);
	ok("mean", pd_paired_mean(d.v, d.n, 0.95, &y, &err));
	ck_assert(y.value == -x.value && y.low == -x.high && y.p == x.p);
	memcpy(a.v + a.n, a.v, a.n * sizeof *a.v);
	ok("mean", pd_paired_mean(a.v, 2 * a.n, 0.95, &y, &err));
	near("twice", y.value, x.value, 1e-13);
	near("twice, se", y.se,
	     x.se * sqrt((n - 1) / (2 * n - 1)), 1e-12);
}
END_TEST

START_TEST(ranks_of_pairs)
{
	array a = values(_i, 2), b = times(&a, tiny), c = turned(&a),
	      d = times(&a, -1);
	pd_rank_result x, y;
	pd_flip_result f, g;

	ok("ranks", pd_signed_rank(a.v, a.n, 0.95, &x, &err));
	ok("ranks", pd_signed_rank(b.v, b.n, 0.95, &y, &err));
	ck_assert(y.v == x.v && y.p == x.p && y.value == tiny * x.value);
	ck_assert(y.low == tiny * x.low && y.high == tiny * x.high);
	ok("ranks", pd_signed_rank(c.v, c.n, 0.95, &y, &err));
	ck_assert(y.v == x.v && y.p == x.p && y.value == x.value);
	ck_assert(y.low == x.low && y.high == x.high);
	ok("ranks", pd_signed_rank(d.v, d.n, 0.95, &y, &err));
	ck_assert(y.p == x.p && y.value == -x.value);
	ck_assert(y.low == -x.high && y.high == -x.low);
	ck_assert_uint_eq(y.n_zero, x.n_zero);
	ok("flips", pd_sign_flip(a.v, a.n, 999, 5, &f, &err));
	ok("flips", pd_sign_flip(b.v, b.n, 999, 5, &g, &err));
	ck_assert(f.p == g.p && f.hits == g.hits);
	if (!f.exact)
		return;
	ok("flips", pd_sign_flip(c.v, c.n, 999, 5, &g, &err));
	ck_assert(f.p == g.p);
	ok("flips", pd_sign_flip(d.v, d.n, 999, 5, &g, &err));
	ck_assert(f.p == g.p);
}
END_TEST

START_TEST(two_samples)
{
	array a = values(_i, 3), b = values(_i, 4);
	array at = times(&a, tiny), bt = times(&b, tiny), ar = turned(&a);
	pd_rank_result x, y;
	pd_estimate e, f;

	b.n = bt.n = b.n - 2;
	ok("ranks", pd_rank_sum(a.v, a.n, b.v, b.n, 0.95, &x, &err));
	ok("ranks", pd_rank_sum(at.v, at.n, bt.v, bt.n, 0.95, &y, &err));
	ck_assert(y.v == x.v && y.p == x.p && y.low == tiny * x.low);
	ok("ranks", pd_rank_sum(ar.v, ar.n, b.v, b.n, 0.95, &y, &err));
	ck_assert(y.v == x.v && y.p == x.p && y.value == x.value);
	ok("ranks", pd_rank_sum(b.v, b.n, a.v, a.n, 0.95, &y, &err));
	ck_assert(y.v == (double)(a.n * b.n) - x.v && y.value == -x.value);
	near("swapped p", y.p, x.p, 1e-12);
	ck_assert(y.low == -x.high && y.high == -x.low);
	ok("means", pd_welch(a.v, a.n, b.v, b.n, 0.95, &e, &err));
	ok("means", pd_welch(at.v, at.n, bt.v, bt.n, 0.95, &f, &err));
	scaled_estimate("power of 2", &e, &f, tiny, 1);
	ok("means", pd_welch(b.v, b.n, a.v, a.n, 0.95, &f, &err));
	near("swapped", f.value, -e.value, 1e-12);
	near("swapped df", f.df, e.df, 1e-12);
}
END_TEST

/* ---- pools --------------------------------------------------------------- */

static void study(int design, array *y, array *v)
{
	pd_stream s;

	*y = values(design, 5);
	v->n = y->n;
	pd_stream_init(&s, 102, (uint64_t)design);
	for (size_t i = 0; i < v->n; i++) {
		double unit = design == 7 ? 1e-24 : 1;

		v->v[i] = unit * (0.05 + pd_stream_uniform(&s));
	}
}

/* ln likelihood (restricted) of tau2 at the weighted mean, from the formula. */
static double pool_likelihood(const array *y, const array *v, double tau2)
{
	double sw = 0, swy = 0, sum = 0;

	for (size_t i = 0; i < y->n; i++) {
		sw += 1 / (v->v[i] + tau2);
		swy += y->v[i] / (v->v[i] + tau2);
	}
	for (size_t i = 0; i < y->n; i++) {
		double w = 1 / (v->v[i] + tau2), r = y->v[i] - swy / sw;

		sum += 0.5 * log(w) - 0.5 * w * r * r;
	}
	return sum - 0.5 * log(sw);
}

START_TEST(pooled_studies)
{
	static const pd_pool_way ways[] = {
		PD_POOL_COMMON, PD_POOL_MOMENTS, PD_POOL_REML, PD_POOL_ML,
		PD_POOL_MATCHED, PD_POOL_UNWEIGHTED, PD_POOL_TWO_STEP };
	array y, v, yt, vt, yr, vr;

	study(_i, &y, &v);
	yt = times(&y, tiny);
	vt = times(&v, tiny * tiny);
	yr = turned(&y);
	vr = turned(&v);
	for (size_t w = 0; w < sizeof ways / sizeof *ways; w++) {
		pd_pool a, b, c;

		ok("pool", pd_pool_fit(y.v, v.v, y.n, ways[w], 0.95, &a,
		                       &err));
		ok("pool", pd_pool_fit(yt.v, vt.v, y.n, ways[w], 0.95, &b,
		                       &err));
		near("unit", b.normal.value, tiny * a.normal.value, 1e-12);
		near("unit", b.normal.se, tiny * a.normal.se, 1e-9);
		close_to("unit, tau2", b.spread.tau2 / tiny / tiny,
		         a.spread.tau2, 1e-9 * (a.spread.tau2 + v.v[0]));
		ok("pool", pd_pool_fit(yr.v, vr.v, y.n, ways[w], 0.95, &c,
		                       &err));
		near("order", c.normal.se, a.normal.se, 1e-9);
		near("order", c.knapp.value, a.knapp.value, 1e-9);
		scale(yr.v, yr.n, -1);
		ok("pool", pd_pool_fit(yr.v, vr.v, y.n, ways[w], 0.95, &c,
		                       &err));
		near("sign", c.normal.value, -a.normal.value, 1e-9);
		near("sign", c.knapp_predict_low, -a.knapp_predict_high, 1e-9);
		scale(yr.v, yr.n, -1);
	}
}
END_TEST

START_TEST(pool_twice_and_beside)
{
	array y, v;
	double x[3 * MOST];
	pd_pool a, b;
	pd_estimate e[3];
	pd_spread spread;
	double q;
	pd_stream s;

	study(_i, &y, &v);
	ok("pool", pd_pool_fit(y.v, v.v, y.n, PD_POOL_REML, 0.95, &a, &err));
	pd_stream_init(&s, 103, (uint64_t)_i);
	double best = pool_likelihood(&y, &v, a.spread.tau2);

	for (int k = 0; k < PERTURBED; k++) {
		double tau2 = fabs(a.spread.tau2 + pow(10, -(k % 6)) *
		                   (a.spread.tau2 + v.v[0]) *
		                   pd_stream_normal(&s));

		ck_assert(pool_likelihood(&y, &v, tau2) <=
		          best + 1e-9 * (1 + fabs(best)));
	}
	for (size_t i = 0; i < y.n; i++) {
		x[3 * i] = 1;
		x[3 * i + 1] = sin((double)i);
		x[3 * i + 2] = 3.25;
	}
	refused_by_name(pd_pool_regress(y.v, v.v, x, y.n, 3, PD_POOL_REML,
	                                0.95, e, NULL, &q, &spread, &err),
	                "column 3");
	memcpy(y.v + y.n, y.v, y.n * sizeof *y.v);
	memcpy(v.v + v.n, v.v, v.n * sizeof *v.v);
	ok("pool", pd_pool_fit(y.v, v.v, y.n, PD_POOL_ML, 0.95, &a, &err));
	ok("pool", pd_pool_fit(y.v, v.v, 2 * y.n, PD_POOL_ML, 0.95, &b,
	                       &err));
	near("twice", b.normal.value, a.normal.value, 1e-9);
	near("twice, se", b.normal.se, a.normal.se / sqrt(2), 1e-9);
	close_to("twice, tau2", b.spread.tau2, a.spread.tau2,
	         1e-8 * (a.spread.tau2 + v.v[0]));
}
END_TEST

/* ---- agreement --------------------------------------------------------- */

/* y near x, in the unit of x. */
static void two_ways(int design, array *x, array *y)
{
	array e = values(0, 6);
	double unit = design == 7 ? 1e-13 : 0.1;

	*x = values(design, 7);
	*y = *x;
	for (size_t i = 0; i < x->n; i++) {
		double rise = design == 2 ? x->v[i] - 1e6 : x->v[i];

		y->v[i] = x->v[i] + 0.2 * rise + unit * e.v[i % e.n] *
			(1 + (double)(i % 5));
	}
}

START_TEST(lines_of_agreement)
{
	array x, y, xt, yt, xr, yr;
	pd_line a, b;

	two_ways(_i, &x, &y);
	xt = times(&x, tiny);
	yt = times(&y, tiny);
	xr = turned(&x);
	yr = turned(&y);
	ok("line", pd_agree_deming(x.v, y.v, x.n, 0.7, 0.95, &a, &err));
	ok("line", pd_agree_deming(xt.v, yt.v, x.n, 0.7, 0.95, &b, &err));
	ck_assert(a.slope.value == b.slope.value && a.slope.se == b.slope.se);
	ck_assert(b.intercept.value == tiny * a.intercept.value);
	ok("line", pd_agree_deming(xr.v, yr.v, x.n, 0.7, 0.95, &b, &err));
	near("order", b.slope.value, a.slope.value, 1e-11);
	near("order", b.slope.se, a.slope.se, 1e-8);
	ok("line", pd_agree_deming(y.v, x.v, x.n, 1 / 0.7, 0.95, &b, &err));
	near("swapped", b.slope.value, 1 / a.slope.value, 1e-11);
	scale(yt.v, yt.n, 4 / tiny);
	ok("line", pd_agree_deming(x.v, yt.v, x.n, 16 * 0.7, 0.95, &b, &err));
	ck_assert(b.slope.value == 4 * a.slope.value);
	if (x.n < 8)
		return;
	ok("line", pd_agree_ranks(x.v, y.v, x.n, 0.95, &a, &err));
	ok("line", pd_agree_ranks(xr.v, yr.v, x.n, 0.95, &b, &err));
	ck_assert(a.slope.value == b.slope.value);
	ck_assert(a.slope.low == b.slope.low && a.slope.high == b.slope.high);
	ok("line", pd_agree_ranks(y.v, x.v, x.n, 0.95, &b, &err));
	/* an even number of slopes: the mean of the middle two is not turned
	 * over exactly, so the swap is held against the interval */
	ck_assert(1 / b.slope.value >= a.slope.low * (1 - 1e-9) &&
	          1 / b.slope.value <= a.slope.high * (1 + 1e-9));
	near("swapped end", 1 / b.slope.low, a.slope.high, 1e-9);
	near("swapped end", 1 / b.slope.high, a.slope.low, 1e-9);
}
END_TEST

START_TEST(limits_of_agreement)
{
	array x, y, xt, yt;
	pd_limits a, b;
	pd_estimate c, d;
	pd_repeat r, q;

	two_ways(_i, &x, &y);
	xt = times(&x, tiny);
	yt = times(&y, tiny);
	ok("limits", pd_agree_limits(x.v, y.v, x.n, 1.96, 0.95, &a, &err));
	ok("limits", pd_agree_limits(xt.v, yt.v, x.n, 1.96, 0.95, &b, &err));
	scaled_estimate("bias", &a.bias, &b.bias, tiny, 1);
	ck_assert(b.high_to == tiny * a.high_to && b.low == tiny * a.low);
	ok("limits", pd_agree_limits(y.v, x.v, x.n, 1.96, 0.95, &b, &err));
	ck_assert(b.low == -a.high && b.high_to == -a.low_from);
	ok("same", pd_agree_concordance(x.v, y.v, x.n, 0.95, &c, &err));
	ok("same", pd_agree_concordance(yt.v, xt.v, x.n, 0.95, &d, &err));
	near("swapped", d.value, c.value, 1e-12);
	near("swapped", d.low, c.low, 1e-9);
	ok("same", pd_agree_correlation(x.v, y.v, x.n, 0.95, &c, &err));
	ok("same", pd_agree_correlation(yt.v, xt.v, x.n, 0.95, &d, &err));
	near("swapped", d.value, c.value, 1e-12);
	ok("same", pd_agree_repeat(x.v, y.v, x.n, 0.95, &r, &err));
	ok("same", pd_agree_repeat(yt.v, xt.v, x.n, 0.95, &q, &err));
	ck_assert(q.sw == tiny * r.sw && q.sw_high == tiny * r.sw_high);
}
END_TEST

/* ---- the bootstrap ------------------------------------------------------- */

static double mean_of(const double *weight, size_t n, const void *with)
{
	const double *v = with;
	double sum = 0, total = 0;

	for (size_t i = 0; i < n; i++) {
		sum += weight[i] * v[i];
		total += weight[i];
	}
	return sum / total;
}

START_TEST(drawn_anew)
{
	array a = values(_i, 8), b = times(&a, tiny);
	int32_t unit[MOST];
	pd_boot x, y;
	pd_boot_plan p = { .n_rows = a.n, .statistic = mean_of, .data = a.v,
	                   .level = 0.95, .draws = 499, .seed = 8 };

	ok("boot", pd_bootstrap(&p, &x, &err));
	p.data = b.v;
	p.threads = 3;
	ok("boot", pd_bootstrap(&p, &y, &err));
	ck_assert(y.low == tiny * x.low && y.high == tiny * x.high);
	ck_assert(y.z0 == x.z0 && y.acceleration == x.acceleration);
	for (size_t i = 0; i < a.n; i++)
		unit[i] = (int32_t)i;
	p.data = a.v;
	p.unit = unit;
	p.n_units = a.n;
	ok("boot", pd_bootstrap(&p, &y, &err));
	ck_assert(y.low == x.low && y.high == x.high);
	if (!x.exact)
		return;
	array c = turned(&a);

	p.data = c.v;
	ok("boot", pd_bootstrap(&p, &y, &err));
	near("order", y.low, x.low, 1e-10);
	near("order", y.high, x.high, 1e-10);
	array d = times(&a, -1);

	p.data = d.v;
	ok("boot", pd_bootstrap(&p, &y, &err));
	near("sign", y.se, x.se, 1e-12);
	near("sign", y.acceleration, -x.acceleration, 1e-9);
}
END_TEST

int main(void)
{
	Suite *s = suite_create("properties of the smaller rooms");
	TCase *t = tcase_create("arrays");

	pd_base_init();
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, mean_of_pairs, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, ranks_of_pairs, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, two_samples, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, pooled_studies, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, pool_twice_and_beside, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, lines_of_agreement, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, limits_of_agreement, 0, SMALL_DESIGNS);
	tcase_add_loop_test(t, drawn_anew, 0, SMALL_DESIGNS);
	suite_add_tcase(s, t);
	return run_suite(s);
}
