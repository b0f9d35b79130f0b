/*
 * check_spread.c - classes of rows that scatter unequally. Outside values: R,
 * nlme 3.1-162, gls() and lme() with weights = varIdent, on data made by a
 * rule; its stop leaves 5 to 7 digits of ratios, more of deviances.
 */
#include "dense_model.h"
#include "stats/nested_spread.h"
#include "stats/quantile.h"
#include "stats/stream.h"
#include "stats/summary.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct set {
	size_t n;
	double x[ROWS * P], y[ROWS];
	int32_t patient[ROWS], one_case[ROWS], class_of[ROWS];
};

static void rule(struct set *s)
{
	static const double sd[] = { 0.5, 0.9, 1.7 };

	memset(s, 0, sizeof *s);
	for (int k = 0; k < 150; k++) {
		size_t i = s->n;
		double x1 = k * 37 % 23 / 7.0 - 1.3;
		int p = k / 15, c = k / 5;

		if (k * 7 % 11 == 3)
			continue;
		s->patient[i] = p;
		s->one_case[i] = c;
		s->class_of[i] = (k * 13 + k / 4) % 3;
		s->x[i * P] = 1.0;
		s->x[i * P + 1] = x1;
		s->x[i * P + 2] = p % 2;
		s->y[i] = 2.1 + 0.63 * x1 - 0.47 * (p % 2) +
		          (p * 29 + 5) % 11 / 4.0 - 1.2 +
		          (c * 17 + 3) % 13 / 9.0 - 0.7 +
		          ((k * k * 31 + k * 7) % 101 / 50.0 - 1.0) *
		          sd[s->class_of[i]];
		s->n++;
	}
}

static pd_nested_spec spec(const struct set *s, size_t depth, bool ml)
{
	return (pd_nested_spec){ .n = s->n, .p = P, .x = s->x, .y = s->y,
		                 .depth = depth, .ml = ml,
		                 .group = { s->patient, s->one_case } };
}

static pd_unequal *made(const pd_nested_spec *s, const int32_t *class_of,
                        size_t classes)
{
	pd_unequal *u = NULL;
	pd_error err = { 0 };

	if (pd_nested_unequal(s, class_of, classes, 0.95, &u, &err) != PD_OK)
		ck_abort_msg("unequal: %s", err.text);
	return u;
}

static void close_to(const char *what, double got, double want, double rel)
{
	ck_assert_msg(fabs(got - want) <= rel * fabs(want),
	              "%s: got %.12g, wanted %.12g", what, got, want);
}

/* ---- R ------------------------------------------------------------------ */

static const struct outside {
	const char *name;
	size_t depth;
	bool ml;
	double ratio[2], sd, deviance, equal, p, beta[P], se[P];
	double log_se[2];      /* half-width of intervals() over 1.96; with no
	                          level by second differences of the deviance
	                          written with qr(): gls's own are 2 % off    */
	double level_sd[2];
} outside[] = {
	{ "no level", 0, false, { 1.03657644672, 1.54383676943 },
	  0.840364383678, 385.955362256, 396.651892008, 0.00475639678227,
	  { 1.86270717056, 0.780098958651, -0.344743179533 },
	  { 0.118084848493, 0.0851351739245, 0.162711741014 },
	  { 0.14983338, 0.15021816 }, { 0 } },
	{ "patients", 1, false, { 1.10157337887, 1.90075061866 },
	  0.537295197902, 314.414028275, 335.451485676, 2.70255268335e-05,
	  { 1.88570920934, 0.643106908289, -0.347218082292 },
	  { 0.344188479748, 0.0599986064643, 0.486025363345 },
	  { 0.1568748, 0.1536572 }, { 0.7485212 } },
	{ "cases in patients", 2, false, { 1.46029900788, 3.10787694106 },
	  0.314753697065, 283.339044107, 323.097709847, 2.32549511019e-09,
	  { 1.88498558296, 0.664252204096, -0.377929970556 },
	  { 0.343783986824, 0.0440253136848, 0.485679500698 },
	  { 0.1938225, 0.1840730 }, { 0.7073717, 0.4742495 } },
	{ "no level, ML", 0, true, { 1.03702836744, 1.55700568473 },
	  0.8285825968, 377.853166258, 389.016354194, 0.00376655696121,
	  { 1.86250312805, 0.78107443536, -0.344394046573 },
	  { 0 }, { 0.14985881, 0.15007692 }, { 0 } },
	{ "patients, ML", 1, true, { 1.10135406923, 1.90901892306 },
	  0.534422243325, 309.789770844, 331.232565051, 2.20676658718e-05,
	  { 1.8852996186, 0.645362072515, -0.347077217914 },
	  { 0 }, { 0.1560361, 0.1532814 }, { 0.6644928 } },
	{ "cases in patients, ML", 2, true, { 1.46331973999, 3.13339199691 },
	  0.312053707372, 278.091266083, 318.654970715, 1.55490355481e-09,
	  { 1.88496540209, 0.66568201437, -0.378275549182 },
	  { 0 }, { 0.1932736, 0.1834347 }, { 0.6179287, 0.4747101 } },
};

START_TEST(outside_values)
{
	const struct outside *o = &outside[_i];
	struct set s;
	pd_nested_spec sp;
	pd_unequal *u;

	rule(&s);
	ck_assert_uint_eq(s.n, 136);
	sp = spec(&s, o->depth, o->ml);
	u = made(&sp, s.class_of, 3);
	close_to("deviance", u->deviance, o->deviance, 1e-9);
	close_to("equal", u->deviance_equal, o->equal, 1e-9);
	close_to("p", u->p, o->p, 1e-6);
	close_to("sd", u->by_class[0].sd, o->sd, 1e-4);
	ck_assert_uint_eq(u->by_class[1].rows, 44);
	ck_assert_double_eq(u->df, 2.0);
	for (int g = 0; g < 2; g++) {
		const pd_unequal_class *c = &u->by_class[g + 1];

		close_to("ratio", c->ratio, o->ratio[g], 1e-4);
		close_to("its se", c->log_ratio.se, o->log_se[g], 2e-3);
		close_to("class sd", c->sd, c->ratio * u->by_class[0].sd,
		         1e-14);
	}
	for (size_t a = 0; a < P; a++) {
		close_to("beta", pd_nested_beta(u->model)[a], o->beta[a],
		         1e-5);
		if (!o->ml)
			close_to("se", sqrt(pd_nested_covariance(u->model)
			                    [a * P + a]), o->se[a], 1e-5);
	}
	for (size_t k = 0; k < o->depth; k++) {
		double v;

		pd_nested_level_covariance(u->model, k, &v);
		close_to("level", sqrt(v), o->level_sd[k], 1e-4);
	}
	ck_assert_msg(u->slope < 1e-6, "slope %g", u->slope);
	pd_unequal_free(u);
}
END_TEST

/* ---- by definition ------------------------------------------------------ */

/* -2 log-likelihood of the dense model with R on V's diagonal; phi[P*P]
 * (NULL is welcome): covariance of b. */
static double dense_value(const struct set *s, size_t depth, bool ml,
                          const double *var, const double *r, double sd,
                          double *phi)
{
	size_t n = s->n;
	double *v = calloc(n * n, sizeof *v), xx[P * P] = { 0.0 };
	double xy[P] = { 0.0 }, yy = 0.0, d, log_det;
	double nu = (double)(ml ? n : n - P);

	for (size_t i = 0; i < n * n; i++) {
		size_t a = i / n, b = i % n;

		if (depth > 0 && s->patient[a] == s->patient[b])
			v[i] += var[0];
		if (depth > 1 && s->one_case[a] == s->one_case[b])
			v[i] += var[1];
		if (a == b)
			v[i] += pow(sd * r[s->class_of[a]], 2);
	}
	d = invert(v, n) + nu * log(2.0 * M_PI);
	for (size_t i = 0; i < n * n; i++) {
		size_t a = i / n, b = i % n;

		yy += s->y[a] * v[i] * s->y[b];
		for (size_t j = 0; j < P; j++) {
			xy[j] += s->x[a * P + j] * v[i] * s->y[b];
			for (size_t k = 0; k < P; k++)
				xx[j * P + k] += s->x[a * P + j] * v[i] *
				                 s->x[b * P + k];
		}
	}
	free(v);
	log_det = invert(xx, P);
	d += (ml ? 0.0 : log_det) + yy;
	for (size_t j = 0; j < P * P; j++)
		d -= xy[j / P] * xx[j] * xy[j % P];
	if (phi)
		memcpy(phi, xx, sizeof xx);
	return d;
}

/* The value is the definition's, and 30 neighbours of all the variances
 * stand above it. */
START_TEST(lowest_by_definition)
{
	bool ml = _i / 3;
	size_t depth = (size_t)_i % 3;
	struct set s;
	pd_nested_spec sp;
	pd_unequal *u;
	pd_stream g;
	double var[2] = { 0.0 }, r[3], sd, at;

	rule(&s);
	s.n = 70;
	sp = spec(&s, depth, ml);
	u = made(&sp, s.class_of, 3);
	for (size_t k = 0; k < depth; k++)
		pd_nested_level_covariance(u->model, k, &var[k]);
	for (int k = 0; k < 3; k++)
		r[k] = u->by_class[k].ratio;
	sd = u->by_class[0].sd;
	at = dense_value(&s, depth, ml, var, r, sd, NULL);
	near("value", u->deviance, at, 1e-9);
	pd_stream_init(&g, 88, (uint64_t)_i);
	for (int k = 0; k < 30; k++) {
		double size = pow(10.0, -4.0 * pd_stream_uniform(&g)), w[2];
		double q[3] = { 1.0, 0, 0 };

		for (int j = 0; j < 2; j++) {
			w[j] = var[j] * exp(size * pd_stream_normal(&g));
			q[j + 1] = r[j + 1] * exp(size * pd_stream_normal(&g));
		}
		ck_assert(dense_value(&s, depth, ml, w, q, sd *
		                      exp(size * pd_stream_normal(&g)),
		                      NULL) >=
		          at - 1e-9);
	}
	pd_unequal_free(u);
}
END_TEST

/* The value, and v = c'(X'V^-1 X)^-1 c, at ln of (level variances, sd, r1,
 * r2). */
static double at_logs(const struct set *s, size_t depth, const double *par,
                      const double *c, double *v)
{
	double var[2] = { 0.0 }, r[3] = { 1.0, 0, 0 }, phi[P * P], d;

	for (size_t k = 0; k < depth; k++)
		var[k] = exp(par[k]);
	r[1] = exp(par[depth + 1]);
	r[2] = exp(par[depth + 2]);
	d = dense_value(s, depth, false, var, r, exp(par[depth]), phi);
	*v = 0.0;
	for (size_t i = 0; i < P * P; i++)
		*v += c[i / P] * phi[i] * c[i % P];
	return d;
}

/*
 * df = 2 v^2 / g'I^-1 g with I half the deviance's curvature in all variance
 * parameters at once, by differences of the dense model.
 */
START_TEST(df_by_definition)
{
	static const double c[2][P] = { { 0, 1, 0 }, { 0.4, -0.3, 1 } };
	size_t depth = (size_t)_i, k = depth + 3;
	double par[5] = { 0.0 }, info[25], g[5], v, up, down, h = 1e-3;
	struct set s;
	pd_nested_spec sp;
	pd_unequal *u;
	pd_estimate e;

	rule(&s);
	s.n = 90;
	sp = spec(&s, depth, false);
	u = made(&sp, s.class_of, 3);
	for (size_t l = 0; l < depth; l++) {
		pd_nested_level_covariance(u->model, l, &v);
		par[l] = log(v);
	}
	par[depth] = log(u->by_class[0].sd);
	for (size_t j = 1; j < 3; j++)
		par[depth + j] = u->by_class[j].log_ratio.value;
	for (size_t i = 0; i < k * k; i++) {
		double sum = 0.0;

		for (int q = 0; q < 4; q++) {
			double at[5];

			memcpy(at, par, sizeof at);
			at[i / k] += q & 1 ? h : -h;
			at[i % k] += q & 2 ? h : -h;
			sum += (q == 0 || q == 3 ? 1 : -1) *
			       at_logs(&s, depth, at, c[0], &v);
		}
		info[i] = 0.5 * sum / (4.0 * h * h);
	}
	invert(info, k);
	for (int t = 0; t < 2; t++) {
		double spread = 0.0;

		for (size_t i = 0; i < k; i++) {
			par[i] += h;
			at_logs(&s, depth, par, c[t], &up);
			par[i] -= 2.0 * h;
			at_logs(&s, depth, par, c[t], &down);
			par[i] += h;
			g[i] = (up - down) / (2.0 * h);
		}
		at_logs(&s, depth, par, c[t], &v);
		for (size_t i = 0; i < k * k; i++)
			spread += g[i / k] * info[i] * g[i % k];
		ck_assert_int_eq(pd_unequal_contrast(u, c[t], 0.95,
		                                     PD_SATTERTHWAITE, &e,
		                                     NULL), PD_OK);
		close_to("se", e.se, sqrt(v), 1e-6);
		close_to("df", e.df, 2.0 * v * v / spread, 1e-3);
	}
	pd_unequal_free(u);
}
END_TEST

/* Two groups with their own means and spreads, no levels: ratio of the two
 * sample sds, Welch's interval, and F's own likelihood limits. */
START_TEST(two_samples)
{
	static const double a[] = { 3.1, 4.7, 2.9, 5.3, 4.1, 3.6, 4.9 };
	static const double b[] = { 6.2, 1.4, 9.7, 5.1, 7.7 };
	enum { A = sizeof a / sizeof *a, B = sizeof b / sizeof *b };
	double x[(A + B) * 2], y[A + B], c[2] = { 0, -1 };
	int32_t g[A + B];
	pd_nested_spec s = { .n = A + B, .p = 2, .x = x, .y = y };
	pd_unequal *u;
	pd_estimate welch, e;
	pd_summary sa = pd_summarise(a, A), sb = pd_summarise(b, B);
	double f[2] = { A - 1, B - 1 }, rise, want;

	for (size_t i = 0; i < A + B; i++) {
		g[i] = i >= A;
		y[i] = i < A ? a[i] : b[i - A];
		x[i * 2] = 1.0;
		x[i * 2 + 1] = g[i];
	}
	u = made(&s, g, 2);
	near("sd", u->by_class[0].sd, sa.sd, 1e-9);
	near("ratio", u->by_class[1].ratio, sb.sd / sa.sd, 1e-8);
	near("freedom", u->by_class[0].freedom, A - 1, 1e-10);
	near("freedom", u->by_class[1].freedom, B - 1, 1e-10);
	/* information of ln r: both variances' */
	near("se", u->by_class[1].log_ratio.se,
	     sqrt(0.5 / f[0] + 0.5 / f[1]), 1e-5);
	ck_assert_int_eq(pd_welch(a, A, b, B, 0.95, &welch, NULL), PD_OK);
	for (int k = 0; k < 2; k++) {
		ck_assert_int_eq(pd_unequal_contrast(u, c, 0.95, k ?
			PD_KENWARD_ROGER : PD_SATTERTHWAITE, &e, NULL), PD_OK);
		near("value", e.value, welch.value, 1e-10);
		near("se", e.se, welch.se, 1e-8);
		near("df", e.df, welch.df, 1e-5);
		near("low", e.low, welch.low, 1e-5);
		near("p", e.p, welch.p, 1e-5);
	}
	/* profile: f ln((f0 + f1 q) / f) - f1 ln q at q = v1 / (v0 r^2) */
	want = pd_chisq_quantile(0.95, 1);
	for (int k = 0; k < 2; k++) {
		double r = exp(k ? u->by_class[1].log_ratio.high :
		               u->by_class[1].log_ratio.low);
		double q = pow(sb.sd / (sa.sd * r), 2);

		rise = (f[0] + f[1]) * log((f[0] + f[1] * q) / (f[0] + f[1])) -
		       f[1] * log(q);
		near("rise at the limit", rise, want, 1e-6);
	}
	near("p of ratio", u->by_class[1].log_ratio.p, u->p, 1e-7);
	pd_unequal_free(u);
}
END_TEST

/* ---- properties --------------------------------------------------------- */

/* The other class as first: ratios turn over, all else stays. */
START_TEST(classes_swapped)
{
	struct set s;
	int32_t other[ROWS];
	pd_nested_spec sp;
	pd_unequal *u, *w;
	double c[P] = { 0, 1, -0.5 };
	pd_estimate a, b;

	rule(&s);
	for (size_t i = 0; i < s.n; i++)
		other[i] = (s.class_of[i] + 1) % 3; /* 2 becomes 0 */
	sp = spec(&s, 2, false);
	u = made(&sp, s.class_of, 3);
	w = made(&sp, other, 3);
	near("deviance", u->deviance, w->deviance, 1e-11);
	near("ratio", w->by_class[1].ratio, 1.0 / u->by_class[2].ratio, 1e-6);
	near("low", w->by_class[1].log_ratio.low,
	     -u->by_class[2].log_ratio.high, 1e-5);
	near("se", w->by_class[1].log_ratio.se, u->by_class[2].log_ratio.se,
	     1e-4);
	near("sd", w->by_class[0].sd, u->by_class[2].sd, 1e-6);
	ck_assert_int_eq(pd_unequal_contrast(u, c, 0.9, PD_SATTERTHWAITE, &a,
	                                     NULL), PD_OK);
	ck_assert_int_eq(pd_unequal_contrast(w, c, 0.9, PD_SATTERTHWAITE, &b,
	                                     NULL), PD_OK);
	near("value", b.value, a.value, 1e-7);
	near("se", b.se, a.se, 1e-6);
	close_to("df", b.df, a.df, 1e-4);
	pd_unequal_free(u);
	pd_unequal_free(w);
}
END_TEST

START_TEST(order_and_units)
{
	struct set s, t;
	pd_nested_spec a, b;
	pd_unequal *u, *w;

	rule(&s);
	t = s;
	for (size_t i = 0; i < s.n; i++) {
		size_t k = (i * 35 + 11) % s.n;

		memcpy(t.x + i * P, s.x + k * P, P * sizeof *s.x);
		t.y[i] = 1e6 + 1e-3 * s.y[k];
		t.class_of[i] = s.class_of[k];
		t.patient[i] = 50 - s.patient[k];
		t.one_case[i] = 3 * s.one_case[k];
	}
	a = spec(&s, 2, false);
	b = spec(&t, 2, false);
	u = made(&a, s.class_of, 3);
	w = made(&b, t.class_of, 3);
	for (int g = 0; g < 3; g++) {
		near("ratio", w->by_class[g].ratio, u->by_class[g].ratio,
		     1e-5);
		near("sd", 1e3 * w->by_class[g].sd, u->by_class[g].sd, 1e-5);
		near("high", w->by_class[g].log_ratio.high,
		     u->by_class[g].log_ratio.high, 1e-4);
	}
	near("chi-square", w->chi_square, u->chi_square, 1e-6);
	pd_unequal_free(u);
	pd_unequal_free(w);
}
END_TEST

/* An interval that leaves ratio 1 out is one with p below 5 %. */
START_TEST(interval_and_p_agree)
{
	struct set s;
	pd_nested_spec sp;
	pd_unequal *u;

	rule(&s);
	sp = spec(&s, 1, false);
	u = made(&sp, s.class_of, 3);
	for (int g = 1; g < 3; g++) {
		const pd_estimate *e = &u->by_class[g].log_ratio;

		ck_assert((e->low > 0.0 || e->high < 0.0) == (e->p < 0.05));
		ck_assert(e->low < e->value && e->value < e->high);
	}
	pd_unequal_free(u);
}
END_TEST

START_TEST(refused)
{
	struct set s;
	pd_nested_spec sp;
	pd_unequal *u = NULL;
	pd_error err = { 0 };

	rule(&s);
	sp = spec(&s, 1, false);
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 4, 0.95, &u, &err),
	                 PD_REFUSED);
	ck_assert_ptr_nonnull(strstr(err.text, "class 3 has no rows"));
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 2, 0.95, &u, &err),
	                 PD_DATA);
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 1, 0.95, &u, &err),
	                 PD_USAGE);
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 3, 1.0, &u, &err),
	                 PD_USAGE);
	for (size_t i = 0; i < s.n; i++)
		s.class_of[i] = i == 9;
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 2, 0.95, &u, &err),
	                 PD_REFUSED);
	ck_assert_msg(strstr(err.text, "class 1: 1 row leave"), "%s",
	              err.text);
	/* a class without scatter, second and first */
	for (int first = 0; first < 2; first++) {
		sp = spec(&s, 0, false);
		for (size_t i = 0; i < s.n; i++) {
			bool flat = i % 4 == 0;

			s.class_of[i] = flat != first;
			s.x[i * P + 2] = flat;
			s.x[i * P + 1] = flat ? 0.0 : s.x[i * P + 1];
			if (flat)
				s.y[i] = 3.7;
		}
		ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 2, 0.95,
		                                   &u, &err), PD_REFUSED);
		ck_assert_msg(strstr(err.text, first ?
		                     "class 0 scatters next to nothing" :
		                     "class 1 scatters next to nothing"),
		              "%s", err.text);
		ck_assert_ptr_null(u);
	}
	s.y[5] = NAN;
	ck_assert_int_eq(pd_nested_unequal(&sp, s.class_of, 2, 0.95, &u, &err),
	                 PD_DATA);
	pd_unequal_free(NULL);
}
END_TEST

/* Classes drawn with ratio 2: the interval holds it about as often as it
 * says (120 draws). */
START_TEST(covers)
{
	pd_stream g;
	int inside = 0, runs = 120;

	pd_stream_init(&g, 9, 17);
	for (int k = 0; k < runs; k++) {
		struct set s;
		pd_nested_spec sp;
		pd_unequal *u;
		double effect = 0.0;

		rule(&s);
		for (size_t i = 0; i < s.n; i++) {
			if (i == 0 || s.patient[i] != s.patient[i - 1])
				effect = 0.8 * pd_stream_normal(&g);
			s.class_of[i] = s.class_of[i] == 2;
			s.y[i] = effect + (s.class_of[i] ? 1.2 : 0.6) *
			         pd_stream_normal(&g);
		}
		sp = spec(&s, 1, false);
		u = made(&sp, s.class_of, 2);
		inside += u->by_class[1].log_ratio.low <= log(2.0) &&
		          log(2.0) <= u->by_class[1].log_ratio.high;
		pd_unequal_free(u);
	}
	ck_assert_msg(inside >= 106, "%d of %d", inside, runs);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("unequal spread");
	TCase *t = tcase_create("outside");

	tcase_add_loop_test(t, outside_values, 0,
	                    sizeof outside / sizeof *outside);
	suite_add_tcase(s, t);
	t = tcase_create("definitions");
	tcase_add_loop_test(t, lowest_by_definition, 0, 6);
	tcase_add_loop_test(t, df_by_definition, 0, 3);
	tcase_add_test(t, two_samples);
	tcase_set_timeout(t, 60);
	suite_add_tcase(s, t);
	t = tcase_create("properties");
	tcase_add_test(t, classes_swapped);
	tcase_add_test(t, order_and_units);
	tcase_add_test(t, interval_and_p_agree);
	tcase_add_test(t, refused);
	tcase_add_test(t, covers);
	tcase_set_timeout(t, 120);
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
