/*
 * check_spline.c - the restricted cubic spline: columns, tests, curve, band.
 *
 * Known answers: R 4.2.2 with Hmisc 4.8-0 (columns), lm, lme4 1.1-31 and
 * pbkrtest 0.5.2; the band against the integral over all directions, written
 * here, and against draws.
 */
#include "stats/linear.h"
#include "stats/quantile.h"
#include "stats/spline.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { N = 60, GROUPS = 10, GRID = 50, MOST_P = 9 };

static double dose[N], other[N], outcome[N];
static int32_t group[N];
static pd_error err;

static void near_to(const char *what, double got, double want, double tol)
{
	if (got == want || fabs(got - want) <= tol * fabs(want))
		return;
	ck_abort_msg("%s: got %.17g, wanted %.17g", what, got, want);
}

static void set_up(void)
{
	static const double u[GROUPS] = { 0.31, -0.22, 0.05, -0.41, 0.18,
		                          0.27, -0.09, -0.33, 0.12, 0.2 };

	pd_base_init();
	for (int i = 0; i < N; i++) {
		dose[i] = 2 + 38 * fmod(i * 0.6180339887, 1);
		other[i] = (i * 37 % 11) / 7.0;
		group[i] = i / 6;
		outcome[i] = 1.7 - 0.031 * dose[i] +
		             0.00042 * dose[i] * dose[i] + 0.08 * other[i] +
		             0.12 * sin(i * 2.3) + 0.9 * u[group[i]];
	}
}

/* The R values for 3, 4 and 5 knots. */
static const struct known {
	double knot[5];
	double column[4][4];      /* of rows 1, 8, 30 and 44              */
	double f_all, p_all, f_curved, p_curved;
	double contrast, se, low, high; /* 30 less 10                     */
	double mixed[2][3];       /* F, df, p: all, curved                */
	double mixed_contrast, mixed_se;
} known[] = {
	{ { 5.87637991336, 20.8455181915, 35.81465646964 },
	  { { 2, 14.3970409942, 37.0734555474, 23.8675375358001 },
	    { 0, 0.690186215868419, 24.3419060338501, 6.43557853688648 } },
	  16.5789566728397, 2.2120130099509e-06, 1.40025134577548,
	  0.24168065311889, -0.315809051059904, 0.0548497237941866,
	  -0.425686251181978, -0.205931850937831,
	  { { 194.723544179295, 47.040810487036, 1.75415835306382e-23 },
	    { 28.2650923105817, 47.0226331154806, 2.86021145692087e-06 } },
	  -0.291005051631674, 0.0147882167802761 },
	{ { 3.78370814818004, 15.42272445591, 26.26831192709,
	    37.90732823482 },
	  { { 2, 14.3970409942, 37.0734555474, 23.8675375358001 },
	    { 0, 1.02670377058716, 28.5063448553532, 6.95711807043973 },
	    { 0, 0, 6.62289568103966, 0.517201680559757 } },
	  11.1130057681888, 8.30281499844219e-06, 0.936521261220387,
	  0.398149569269548, -0.276364579870319, 0.0823779981728197,
	  -0.441453777366361, -0.111275382374277,
	  { { 131.695480050284, 46.0568716955381, 1.318863857965e-22 },
	    { 14.9971729792185, 46.0570622968402, 9.64121977736591e-06 } },
	  -0.308787173946724, 0.0216612952338669 },
	{ { 3.78370814818004, 12.39185407409, 20.8455181915,
	    29.2991823089101, 37.90732823482 },
	  { { 2, 14.3970409942, 37.0734555474, 23.8675375358001 },
	    { 0, 1.02670377058716, 30.0830235474449, 6.95711807043973 },
	    { 0, 0.00692395749049768, 11.7163961610234, 1.29785293935646 },
	    { 0, 0, 2.87030977989708, 0.0237018106181894 } },
	  8.42332238406499, 2.34664841686399e-05, 0.819106728092864,
	  0.488989152018041, -0.271719512175178, 0.086343241797287,
	  -0.444827289329572, -0.0986117350207838,
	  { { 97.1331468981779, 45.0620802023713, 1.48581037035692e-21 },
	    { 9.8993483835246, 45.0640065857937, 3.93733951123754e-05 } },
	  -0.310984017184643, 0.022845335322084 },
};

static void knots(int i, pd_spline *s)
{
	ck_assert_int_eq(pd_spline_default(dose, N, (size_t)i + 3, s, &err),
	                 PD_OK);
}

START_TEST(columns_known)
{
	static const size_t row[] = { 0, 7, 29, 43 };
	const struct known *r = &known[_i];
	pd_spline s;
	double b[PD_SPLINE_MOST];

	knots(_i, &s);
	for (size_t j = 0; j < s.k; j++)
		near_to("knot", s.knot[j], r->knot[j], 1e-12);
	for (size_t i = 0; i < 4; i++) {
		pd_spline_basis(&s, dose[row[i]], b);
		near_to("dose", b[0] + s.knot[0], r->column[0][i], 1e-13);
		for (size_t j = 1; j + 1 < s.k; j++)
			near_to("column", b[j], r->column[j][i], 1e-11);
	}
}
END_TEST

/* Straight beyond the outer knots; value, slope and curvature continuous. */
START_TEST(columns_smooth)
{
	pd_spline s;
	double a[PD_SPLINE_MOST], b[PD_SPLINE_MOST], c[PD_SPLINE_MOST];
	const double d = 1e-4;

	knots(_i, &s);
	for (double v = -10; v < 60; v += 1.37) {
		pd_spline_basis(&s, v - d, a);
		pd_spline_basis(&s, v + d, b);
		pd_spline_slope(&s, v, c);
		for (size_t j = 0; j + 1 < s.k; j++)
			ck_assert(fabs((b[j] - a[j]) / (2 * d) - c[j]) < 1e-7);
	}
	for (size_t k = 0; k < s.k; k++) {
		pd_spline_basis(&s, s.knot[k] * (1 - 1e-12), a);
		pd_spline_basis(&s, s.knot[k], b);
		pd_spline_slope(&s, s.knot[k] - 1e-7, c);
		for (size_t j = 0; j + 1 < s.k; j++)
			ck_assert(fabs(a[j] - b[j]) < 1e-9);
		pd_spline_slope(&s, s.knot[k] + 1e-7, a);
		for (size_t j = 0; j + 1 < s.k; j++)
			ck_assert(fabs(a[j] - c[j]) < 1e-6);
	}
	for (int side = 0; side < 2; side++) {
		double at = side ? s.knot[s.k - 1] + 1 : s.knot[0] - 9;

		pd_spline_slope(&s, at, a);
		pd_spline_slope(&s, at + 7, b);
		for (size_t j = 0; j + 1 < s.k; j++)
			ck_assert(a[j] == b[j]);
	}
}
END_TEST

/* ---- in a linear model -------------------------------------------------- */

static pd_linear_fit *linear(const pd_spline *s, const double *v,
                             pd_spline_fit *f)
{
	static double room[MOST_P][N];
	pd_regressor column[MOST_P] = { { "other", other, NULL } };
	pd_linear_data d = { .n = N, .y = outcome, .intercept = 1,
		             .n_columns = s->k, .column = column };
	double b[PD_SPLINE_MOST];
	pd_linear_fit *fit;

	for (int i = 0; i < N; i++) {
		pd_spline_basis(s, v[i], b);
		for (size_t j = 0; j + 1 < s->k; j++)
			room[j][i] = b[j];
	}
	for (size_t j = 0; j + 1 < s->k; j++)
		column[j + 1] = (pd_regressor){ "spline", room[j], NULL };
	ck_assert_int_eq(pd_linear(&d, &fit, &err), PD_OK);
	*f = (pd_spline_fit){ fit->p, 2, fit->coef, fit->covariance,
		              fit->residual_df };
	return fit;
}

START_TEST(linear_known)
{
	const struct known *r = &known[_i];
	pd_spline s;
	pd_spline_fit f;
	pd_f_test test;
	pd_estimate e;
	pd_linear_fit *fit;

	knots(_i, &s);
	fit = linear(&s, dose, &f);
	ck_assert_int_eq(pd_spline_test(&s, &f, PD_SPLINE_ALL, &test, &err),
	                 PD_OK);
	near_to("F all", test.f, r->f_all, 1e-10);
	near_to("p all", test.p, r->p_all, 1e-9);
	ck_assert_int_eq(pd_spline_test(&s, &f, PD_SPLINE_CURVED, &test, &err),
	                 PD_OK);
	near_to("F curved", test.f, r->f_curved, 1e-10);
	near_to("p curved", test.p, r->p_curved, 1e-9);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 30, 0.95, &e, &err),
	                 PD_OK);
	near_to("contrast", e.value, r->contrast, 1e-10);
	near_to("se", e.se, r->se, 1e-10);
	near_to("low", e.low, r->low, 1e-10);
	near_to("high", e.high, r->high, 1e-10);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 30, 10, 0.95, &e, &err),
	                 PD_OK);
	near_to("turned round", e.value, -r->contrast, 1e-10);
	pd_linear_free(fit);
}
END_TEST

/* Another unit and origin of the dose. */
START_TEST(units)
{
	pd_spline s, t;
	pd_spline_fit f, g;
	double v[N], grid[GRID], moved[GRID];
	pd_spline_point a[GRID], b[GRID];
	pd_spline_band x, y;
	pd_linear_fit *fit, *again;

	for (int i = 0; i < N; i++)
		v[i] = 1024 + 8 * dose[i];
	for (int i = 0; i < GRID; i++) {
		grid[i] = 3 + 0.7 * i;
		moved[i] = 1024 + 8 * grid[i];
	}
	knots(_i, &s);
	ck_assert_int_eq(pd_spline_default(v, N, s.k, &t, &err), PD_OK);
	fit = linear(&s, dose, &f);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, 12, grid, GRID, 0.9, a,
	                                 &x, &err), PD_OK);
	again = linear(&t, v, &g);
	ck_assert_int_eq(pd_spline_curve(&t, &g, NULL, 1120, moved, GRID, 0.9,
	                                 b, &y, &err), PD_OK);
	near_to("critical", y.critical, x.critical, 1e-10);
	for (int i = 0; i < GRID; i++) {
		ck_assert(fabs(a[i].at.value - b[i].at.value) < 1e-10);
		ck_assert(fabs(a[i].low_all - b[i].low_all) < 1e-10);
	}
	pd_linear_free(fit);
	pd_linear_free(again);
}
END_TEST

/* ---- in a mixed model --------------------------------------------------- */

static pd_nested *mixed(const pd_spline *s, double *x)
{
	size_t p = s->k + 1;
	pd_nested_spec spec = { .n = N, .p = p, .x = x, .y = outcome,
		                .depth = 1, .group = { group } };
	pd_nested *m;

	for (size_t i = 0; i < N; i++) {
		x[i * p] = 1;
		x[i * p + 1] = other[i];
	}
	pd_spline_columns(s, dose, N, x, p, 2);
	ck_assert_int_eq(pd_nested_new(&spec, &m, &err), PD_OK);
	ck_assert_int_eq(pd_nested_fit(m, &err), PD_OK);
	return m;
}

START_TEST(mixed_known)
{
	const struct known *r = &known[_i];
	double x[N * MOST_P], c[MOST_P * MOST_P], v[MOST_P * MOST_P];
	pd_spline s;
	pd_spline_fit f;
	pd_f_test test, own;
	pd_estimate e, g;

	knots(_i, &s);
	size_t p = s.k + 1;
	pd_nested *m = mixed(&s, x);

	ck_assert_int_eq(pd_spline_nested(&s, m, p, 2, PD_KENWARD_ROGER, v, &f,
	                                  &err), PD_OK);
	for (int part = 0; part < 2; part++) {
		size_t rows = pd_spline_rows(&s, p, 2, (pd_spline_part)part, c);

		ck_assert_int_eq(pd_nested_f_test(m, c, rows, PD_KENWARD_ROGER,
		                                  &test, &err), PD_OK);
		near_to("F", test.f, r->mixed[part][0], 1e-6);
		near_to("df", test.df2, r->mixed[part][1], 1e-7);
		near_to("p", test.p, r->mixed[part][2], 3e-5);
		ck_assert_int_eq(pd_spline_test(&s, &f, (pd_spline_part)part,
		                                &own, &err), PD_OK);
		near_to("own F", own.f, test.f / test.scaling, 1e-9);
	}
	pd_spline_between(&s, p, 2, 10, 30, c);
	ck_assert_int_eq(pd_nested_contrast(m, c, 0.95, PD_KENWARD_ROGER, &e,
	                                    &err), PD_OK);
	near_to("contrast", e.value, r->mixed_contrast, 1e-7);
	near_to("se", e.se, r->mixed_se, 1e-6);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 30, 0.95, &g, &err),
	                 PD_OK);
	near_to("own contrast", g.value, e.value, 1e-12);
	near_to("own se", g.se, e.se, 1e-10);
	pd_nested_free(m);
}
END_TEST

/* ---- the band ----------------------------------------------------------- */

/* P(R M <= c), R^2 / d / S^2 ~ F(d, df): the part of one direction. */
static double inside(double c, double most, double d, double df)
{
	return 1 - pd_f_upper(c * c / (most * most) / d, d, df);
}

/* Directions u = L'c / |L'c| of the contrasts to `reference`. */
static size_t directions(const pd_spline *s, const pd_spline_fit *f,
                         const double *grid, double reference, double *u)
{
	size_t d = s->k - 1, many = 0;
	double l[MOST_P * MOST_P] = { 0 };

	for (size_t j = 0; j < d; j++)
		for (size_t i = j; i < d; i++) {
			double sum = f->covariance[(f->first + i) * f->p +
			                           f->first + j];

			for (size_t k = 0; k < j; k++)
				sum -= l[i * d + k] * l[j * d + k];
			l[i * d + j] = i == j ? sqrt(sum) : sum / l[j * d + j];
		}
	for (int g = 0; g < GRID; g++) {
		double c[MOST_P], length = 0, *to = u + many * d;

		if (grid[g] == reference)
			continue;
		pd_spline_between(s, d, 0, reference, grid[g], c);
		for (size_t j = 0; j < d; j++) {
			to[j] = 0;
			for (size_t i = j; i < d; i++)
				to[j] += l[i * d + j] * c[i];
			length += to[j] * to[j];
		}
		for (size_t j = 0; j < d; j++)
			to[j] /= sqrt(length);
		many++;
	}
	return many;
}

static double largest(const double *u, size_t many, size_t d, const double *w)
{
	double most = 0;

	for (size_t i = 0; i < many; i++) {
		double sum = 0;

		for (size_t j = 0; j < d; j++)
			sum += u[i * d + j] * w[j];
		most = fmax(most, fabs(sum));
	}
	return most;
}

/* Chance that all contrasts of the grid lie within c standard errors, by
 * summing over directions: d 2 or 3. */
static double by_directions(const double *u, size_t many, size_t d, double c,
                            double df)
{
	double sum = 0, weight = 0;
	int fine = d == 2 ? 4000 : 300;

	for (int i = 0; i < fine; i++) {
		double a = M_PI * (i + 0.5) / fine;

		for (int k = 0; k < (d == 2 ? 1 : fine); k++) {
			double b = M_PI * (k + 0.5) / fine;
			double w[3] = { cos(a), sin(a) }, by = 1;

			if (d == 3) { /* half the sphere: signs do not matter */
				w[0] = cos(b);
				w[1] = sin(b) * cos(a);
				w[2] = sin(b) * sin(a);
				by = sin(b);
			}
			sum += by * inside(c, largest(u, many, d, w),
			                   (double)d, df);
			weight += by;
		}
	}
	return sum / weight;
}

static void make_grid(double low, double high, double *grid)
{
	for (int i = 0; i < GRID; i++)
		grid[i] = low + (high - low) * i / (GRID - 1);
}

static const struct {
	int knots;
	double low, high, reference, df, level, most; /* most: too wide by   */
} bands[] = {
	{ 3, 3, 39, 10, 56, 0.95, 0.004 }, { 3, 3, 39, 39, 7, 0.9, 0.004 },
	{ 3, 18, 23, 10, 56, 0.95, 0.003 }, { 4, 3, 39, 10, 55, 0.95, 0.006 },
	{ 4, 12, 30, 20, INFINITY, 0.99, 0.002 },
	{ 4, 3, 39, 3, 12, 0.95, 0.006 },
};

START_TEST(band_by_directions)
{
	pd_spline s;
	pd_spline_fit f;
	double grid[GRID], u[GRID * MOST_P], chance;
	pd_spline_point at[GRID];
	pd_spline_band band;
	pd_linear_fit *fit;

	knots(bands[_i].knots - 3, &s);
	fit = linear(&s, dose, &f);
	f.df = bands[_i].df;
	make_grid(bands[_i].low, bands[_i].high, grid);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, bands[_i].reference,
	                                 grid, GRID, bands[_i].level, at,
	                                 &band, &err), PD_OK);
	size_t many = directions(&s, &f, grid, bands[_i].reference, u);

	ck_assert_uint_eq(band.rank, s.k - 1);
	chance = by_directions(u, many, s.k - 1, band.critical,
	                       isinf(f.df) ? 1e9 : f.df);
	if (!(chance > bands[_i].level - 1e-4 &&
	      chance < bands[_i].level + bands[_i].most))
		ck_abort_msg("chance %.6f at %.4f (Scheffe %.4f)", chance,
		             band.critical, band.scheffe);
	for (int i = 0; i < GRID; i++) {
		ck_assert(at[i].low_all <= at[i].at.low);
		ck_assert(at[i].high_all >= at[i].at.high);
	}
	pd_linear_free(fit);
}
END_TEST

/* Adjusted heights with 4 and 5 knots: draws of the coefficients. */
START_TEST(band_by_draws)
{
	enum { DRAWS = 20000 };
	pd_spline s;
	pd_spline_fit f;
	double base[MOST_P] = { 1, 0.7 }, grid[GRID], u[GRID][MOST_P];
	double l[MOST_P * MOST_P] = { 0 };
	pd_spline_point at[GRID];
	pd_spline_band band;
	pd_stream draw;
	int held = 0;

	knots(_i + 1, &s);
	pd_linear_fit *fit = linear(&s, dose, &f);
	size_t p = f.p;

	f.df = 9;
	make_grid(2.5, 39.5, grid);
	ck_assert_int_eq(pd_spline_curve(&s, &f, base, NAN, grid, GRID, 0.95,
	                                 at, &band, &err), PD_OK);
	ck_assert_uint_eq(band.rank, s.k);
	for (size_t j = 0; j < p; j++)
		for (size_t i = j; i < p; i++) {
			double sum = f.covariance[i * p + j];

			for (size_t k = 0; k < j; k++)
				sum -= l[i * p + k] * l[j * p + k];
			l[i * p + j] = i == j ? sqrt(sum) : sum / l[j * p + j];
		}
	for (int g = 0; g < GRID; g++) {
		double c[MOST_P] = { 1, 0.7 }, value = 0;

		pd_spline_basis(&s, grid[g], c + 2);
		for (size_t j = 0; j < p; j++) {
			value += c[j] * f.beta[j];
			u[g][j] = 0;
			for (size_t i = j; i < p; i++)
				u[g][j] += l[i * p + j] * c[i] / at[g].at.se;
		}
		near_to("height", at[g].at.value, value, 1e-12);
	}
	pd_stream_init(&draw, 20261125, (uint64_t)_i);
	for (int k = 0; k < DRAWS; k++) {
		double z[MOST_P], most = 0;
		double spread = sqrt(pd_stream_chisq(&draw, f.df) / f.df);

		for (size_t j = 0; j < p; j++)
			z[j] = pd_stream_normal(&draw);
		for (int g = 0; g < GRID; g++) {
			double t = 0;

			for (size_t j = 0; j < p; j++)
				t += u[g][j] * z[j];
			most = fmax(most, fabs(t));
		}
		held += most <= band.critical * spread;
	}
	/* 3 standard errors of the draws below, the bound's slack above */
	ck_assert_double_gt(held / (double)DRAWS, 0.95 - 0.0046);
	ck_assert_double_lt(held / (double)DRAWS, 0.95 + 0.0150);
	pd_linear_free(fit);
}
END_TEST

START_TEST(band_parts)
{
	pd_spline s;
	pd_spline_fit f;
	double grid[GRID];
	pd_spline_point at[GRID], one;
	pd_spline_band wide, narrow, point;

	knots(1, &s);
	pd_linear_fit *fit = linear(&s, dose, &f);

	make_grid(5, 29.5, grid);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, grid[10], grid, GRID,
	                                 0.95, at, &wide, &err), PD_OK);
	ck_assert(at[10].at.value == 0 && at[10].at.se == 0);
	ck_assert(at[10].low_all == 0 && at[10].high_all == 0);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, grid[10], grid + 20, 10,
	                                 0.95, at, &narrow, &err), PD_OK);
	ck_assert(narrow.critical < wide.critical);
	/* a single place: Student's t */
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, 10, grid + 30, 1, 0.95,
	                                 &one, &point, &err), PD_OK);
	near_to("t", point.critical, pd_t_quantile(0.975, f.df), 1e-10);
	near_to("limit", one.high_all, one.at.high, 1e-10);
	pd_linear_free(fit);
}
END_TEST

/* ---- refused ------------------------------------------------------------ */

static const double few[] = { 5, 5, 5, 10, 10, 10, 20, 20, 20, 30, 30, 40 };

static const struct {
	size_t k;
	double knot[PD_SPLINE_MOST];
	pd_status want;
	const char *text;
} bad[] = {
	{ 2, { 5, 10 }, PD_USAGE, "2 knots" },
	{ 8, { 0 }, PD_USAGE, "8 knots" },
	{ 3, { 5, 20, 20 }, PD_DATA, "knot 3 is 20 after 20" },
	{ 3, { 5, 20, INFINITY }, PD_DATA, "knot 3" },
	{ 3, { 5, 10, 30 }, PD_REFUSED, "between knots 5 and 10" },
	{ 3, { 5, 12, 18 }, PD_REFUSED, "between knots 12 and 18" },
	{ 3, { 4, 12, 25 }, PD_REFUSED, "at or below the first knot 4" },
	{ 3, { 5, 12, 45 }, PD_REFUSED, "at or above the last knot 45" },
	{ 5, { 5, 12, 22, 32, 41 }, PD_REFUSED, "last knot 41" },
	{ 3, { 6, 15, 35 }, PD_OK, "" },
	{ 3, { 5, 15, 40 }, PD_OK, "" },
	{ 4, { 6, 15, 25, 35 }, PD_OK, "" },
};

START_TEST(knots_refused)
{
	pd_spline s;

	err.text[0] = 0;
	ck_assert_int_eq(pd_spline_given(few, 12, bad[_i].knot, bad[_i].k, &s,
	                                 &err), bad[_i].want);
	ck_assert_ptr_nonnull(strstr(err.text, bad[_i].text));
}
END_TEST

START_TEST(support_counted)
{
	static const double knot[] = { 5, 20, 35 };
	pd_spline s;

	ck_assert_int_eq(pd_spline_given(few, 12, knot, 3, &s, &err), PD_OK);
	ck_assert_uint_eq(s.distinct[0], 1);
	ck_assert_uint_eq(s.rows[0], 3);
	ck_assert_uint_eq(s.distinct[1], 1); /* 10; 20 is a knot */
	ck_assert_uint_eq(s.rows[1], 3);
	ck_assert_uint_eq(s.rows[2], 2);
	ck_assert_uint_eq(s.rows[3], 1);
}
END_TEST

START_TEST(others_refused)
{
	double v[12], beta[4] = { 1, 2, 3, 4 }, c[16] = { 0 };
	double grid[2] = { 3, 3 };
	pd_spline s;
	pd_spline_fit f = { 4, 2, beta, c, 10 };
	pd_spline_point at[2];
	pd_spline_band band;
	pd_estimate e;
	pd_f_test test;

	memcpy(v, few, sizeof v);
	v[6] = NAN;
	ck_assert_int_eq(pd_spline_default(v, 12, 3, &s, &err), PD_DATA);
	ck_assert_ptr_nonnull(strstr(err.text, "row 7"));
	ck_assert_int_eq(pd_spline_default(few, 3, 3, &s, &err), PD_REFUSED);
	for (size_t i = 0; i < 12; i++)
		v[i] = i < 10 ? 5 : 10.0 * (double)i;
	ck_assert_int_eq(pd_spline_default(v, 12, 3, &s, &err), PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "fall on the dose"));
	knots(0, &s);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 10, 0.95, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 20, 1, &e, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 20, 0.9, &e, &err),
	                 PD_NUMERIC);
	ck_assert_int_eq(pd_spline_test(&s, &f, PD_SPLINE_ALL, &test, &err),
	                 PD_NUMERIC);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, 1, grid, 2, 0.9, at,
	                                 &band, &err), PD_DATA);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, NAN, grid, 1, 0.9, at,
	                                 &band, &err), PD_USAGE);
	ck_assert_int_eq(pd_spline_curve(&s, &f, NULL, 1, grid, 1, 0.9, at,
	                                 &band, &err), PD_NUMERIC);
	f.first = 3;
	ck_assert_int_eq(pd_spline_contrast(&s, &f, 10, 20, 0.9, &e, &err),
	                 PD_USAGE);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("spline");
	TCase *t = tcase_create("columns");

	tcase_add_checked_fixture(t, set_up, NULL);
	tcase_add_loop_test(t, columns_known, 0, 3);
	tcase_add_loop_test(t, columns_smooth, 0, 3);
	tcase_add_loop_test(t, knots_refused, 0, sizeof bad / sizeof *bad);
	tcase_add_test(t, support_counted);
	tcase_add_test(t, others_refused);
	suite_add_tcase(s, t);
	t = tcase_create("fits");
	tcase_add_checked_fixture(t, set_up, NULL);
	tcase_add_loop_test(t, linear_known, 0, 3);
	tcase_add_loop_test(t, units, 0, 3);
	tcase_add_loop_test(t, mixed_known, 0, 3);
	suite_add_tcase(s, t);
	t = tcase_create("band");
	tcase_add_checked_fixture(t, set_up, NULL);
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, band_by_directions, 0,
	                    sizeof bands / sizeof *bands);
	tcase_add_loop_test(t, band_by_draws, 0, 2);
	tcase_add_test(t, band_parts);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
