/*
 * wald.c - intervals and tests of fixed effects from kenward.c's matrices.
 *
 * One contrast c, Kenward & Roger (1997), Biometrics 53, 983-997: error from
 * Phi_A, scaling 1 and df = 2 / A_2,
 *   A_2 = sum W_ij (c'Phi P_i Phi c)(c'Phi P_j Phi c) / (c'Phi c)^2.
 * Several rows use the moments of their section 3 (pages 987-988), with the
 * scaling reported.
 *
 * Satterthwaite: df = 2 (c'Cc)^2 / (g'V g), g the derivatives of c'Cc and V
 * the inverse observed information of the same parameters; several rows by
 * the eigenvectors of C and matched moments (Fai & Cornelius 1996, J. Stat.
 * Comput. Simul. 54, 363-378).
 */
#include "stats/kenward.h"
#include "stats/nested_dense.h"
#include "stats/nested_tree.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

/* c' (Phi P_i Phi) c for every i; its W- or V-weighted square. */
static double spread_of(const struct pd_df_parts *d, const double *c,
                        const double *info)
{
	double g[PD_MAX_E + 1], s = 0.0;

	for (size_t i = 0; i < d->k; i++)
		g[i] = pd_form(c, d->phi_p + i * d->p * d->p, d->p, c, d->p);
	for (size_t i = 0; i < d->k; i++)
		for (size_t j = 0; j < d->k; j++)
			s += info[i * d->k + j] * g[i] * g[j];
	return s;
}

/*
 * Satterthwaite's g by (t, s^2): -Phi A_e Phi by t_e, Phi by s^2. By the
 * variances themselves (linear) it is -Phi P_i Phi; both give one df at a
 * stationary point, and v is by (t, s^2).
 */
static double satterthwaite(const struct pd_df_parts *d, const double *c)
{
	double g[PD_MAX_E + 1], s = 0.0;
	double var = pd_form(c, d->phi, d->p, c, d->p);
	size_t k = d->k;

	if (!d->observed)
		return 2.0 * var * var / spread_of(d, c, d->w);
	for (size_t i = 0; i + 1 < k; i++)
		g[i] = pd_form(c, d->phi_p + i * d->p * d->p, d->p, c, d->p);
	g[k - 1] = -var;
	for (size_t i = 0; i < k; i++)
		for (size_t j = 0; j < k; j++)
			s += d->v[i * k + j] * g[i] * g[j];
	return 2.0 * var * var / s;
}

static pd_status needs_reml(const struct pd_df_parts *d, pd_df_method method,
                            pd_error *err)
{
	if (method == PD_KENWARD_ROGER && !d->reml)
		return pd_fail(err, PD_USAGE, "Kenward-Roger intervals need a "
		               "restricted maximum likelihood fit");
	return PD_OK;
}

pd_status pd_df_one(const struct pd_df_parts *d, const double *c,
                    pd_df_method method, double *value, double *variance,
                    double *df, pd_error *err)
{
	double var = pd_form(c, d->phi, d->p, c, d->p);
	pd_status st = needs_reml(d, method, err);

	if (st != PD_OK)
		return st;
	if (!(var > 0.0))
		return pd_fail(err, PD_USAGE, "a contrast is zero or not "
		               "finite");
	*value = 0.0;
	for (size_t i = 0; i < d->p; i++)
		*value += c[i] * d->beta[i];
	*variance = var;
	*df = INFINITY;
	if (method == PD_KENWARD_ROGER) {
		*variance = pd_form(c, d->adjusted, d->p, c, d->p);
		*df = 2.0 * var * var / spread_of(d, c, d->w);
	} else if (method == PD_SATTERTHWAITE) {
		*df = satterthwaite(d, c);
	}
	*variance *= d->scale2;
	if (!(*variance > 0.0) || !(*df > 0.0))
		return pd_fail(err, PD_NUMERIC, "no interval: variance %g, "
		               "degrees of freedom %g", *variance, *df);
	return PD_OK;
}

void pd_df_covariance(const struct pd_df_parts *d, const double *c,
                      size_t rows, pd_df_method method, double *out)
{
	const double *m = method == PD_KENWARD_ROGER ? d->adjusted : d->phi;

	for (size_t i = 0; i < rows; i++)
		for (size_t j = 0; j < rows; j++)
			out[i * rows + j] = d->scale2 *
				pd_form(c + i * d->p, m, d->p, c + j * d->p,
				        d->p);
}

/* A_1 and A_2 of Kenward & Roger; chol is of C Phi C', s^2 = 1. */
static void moments(const struct pd_df_parts *d, const double *c, size_t l,
                    const double *chol, double *work, double *a1, double *a2)
{
	size_t p = d->p, ll = l * l;
	double *g = work; /* k * l*l: (C Phi C')^-1 C Phi P_i Phi C' */
	double *col = g + d->k * ll;

	for (size_t i = 0; i < d->k; i++)
		for (size_t b = 0; b < l; b++) {
			for (size_t a = 0; a < l; a++)
				col[a] = pd_form(c + a * p,
				                 d->phi_p + i * p * p, p,
				                 c + b * p, p);
			pd_chol_solve(chol, l, l, col);
			for (size_t a = 0; a < l; a++)
				g[i * ll + a * l + b] = col[a];
		}
	*a1 = *a2 = 0.0;
	for (size_t i = 0; i < d->k; i++)
		for (size_t j = 0; j < d->k; j++) {
			double ti = 0.0, tj = 0.0, w = d->w[i * d->k + j];

			for (size_t a = 0; a < l; a++) {
				ti += g[i * ll + a * l + a];
				tj += g[j * ll + a * l + a];
			}
			*a1 += w * ti * tj;
			*a2 += w * pd_trace(g + i * ll, g + j * ll, l);
		}
}

/* x / y with rounding noise around 0 / 0 read as 1 would be wrong: as 0. */
static double tidy(double x)
{
	return fabs(x) < 1e-10 ? 0.0 : x;
}

/* Scaling and denominator df (Kenward & Roger 1997, p. 988). */
static void scale_f(double a1, double a2, double l, double *scaling,
                    double *df2)
{
	double b = (a1 + 6.0 * a2) / (2.0 * l);
	double g = ((l + 1.0) * a1 - (l + 4.0) * a2) / ((l + 2.0) * a2);
	double den = 3.0 * l + 2.0 * (1.0 - g);
	double c1 = g / den, c2 = (l - g) / den, c3 = (l + 2.0 - g) / den;
	double v0 = tidy(1.0 + c1 * b), v1 = tidy(1.0 - c2 * b);
	double v2 = tidy(1.0 - c3 * b), e = tidy(1.0 - a2 / l);
	double ratio = e == v1 ? 1.0 : e / v1; /* 0 / 0 in balanced cases */
	double rho = ratio * ratio * v0 / (l * v2);

	*df2 = 4.0 + (l + 2.0) / (l * rho - 1.0);
	*scaling = fabs(*df2 - 2.0) < 1e-2 ? 1.0 :
	           *df2 * (1.0 - a2 / l) / (*df2 - 2.0);
}

/* F and denominator df from the one-row parts of C Phi C'. */
static pd_status fai_cornelius(const struct pd_df_parts *d, const double *c,
                               size_t l, double *work, pd_f_test *out,
                               pd_error *err)
{
	double *cov = work, *vector = cov + l * l, *value = vector + l * l;
	double *row = value + l, e = 0.0, least = INFINITY, most = 0.0;
	double sum = 0.0;

	pd_df_covariance(d, c, l, PD_SATTERTHWAITE, cov);
	pd_eigen(cov, l, value, vector);
	out->f = 0.0;
	for (size_t k = 0; k < l; k++) {
		double est, var, df;
		pd_status st;

		memset(row, 0, d->p * sizeof *row);
		for (size_t a = 0; a < l; a++)
			for (size_t j = 0; j < d->p; j++)
				row[j] += vector[a * l + k] * c[a * d->p + j];
		st = pd_df_one(d, row, PD_SATTERTHWAITE, &est, &var, &df, err);
		if (st != PD_OK)
			return st;
		out->f += est * est / var / (double)l;
		least = fmin(least, df);
		most = fmax(most, df);
		sum += df;
		if (df > 2.0)
			e += df / (df - 2.0);
	}
	if (most - least < 1e-8 * most)
		out->df2 = sum / (double)l;
	else if (least <= 2.0)
		out->df2 = 2.0;
	else
		out->df2 = 2.0 * e / (e - (double)l);
	return PD_OK;
}

pd_status pd_df_joint(const struct pd_df_parts *d, const double *c,
                      size_t rows, pd_df_method method, pd_f_test *out,
                      pd_error *err)
{
	size_t l = rows, p = d->p;
	pd_arena *arena;
	double *work, *cov, *value, *half, a1, a2;
	pd_status st = needs_reml(d, method, err);

	*out = (pd_f_test){ .df1 = (double)l, .df2 = INFINITY, .scaling = 1.0 };
	if (st != PD_OK)
		return st;
	if (l == 0 || l > p)
		return pd_fail(err, PD_USAGE, "%zu rows of contrasts, "
		               "expected 1 to %zu", l, p);
	arena = pd_arena_new();
	work = arena ? PD_NEW(arena, double, (d->k + 3) * l * l + 3 * p + l) :
	               NULL;
	cov = arena ? PD_NEW(arena, double, l * l) : NULL;
	value = arena ? PD_NEW(arena, double, 2 * l) : NULL;
	if (!work || !cov || !value) {
		pd_arena_free(arena);
		return pd_fail(err, PD_NO_MEMORY, "no memory for a test");
	}
	half = value + l;
	for (size_t a = 0; a < l; a++) {
		value[a] = 0.0;
		for (size_t j = 0; j < p; j++)
			value[a] += c[a * p + j] * d->beta[j];
		half[a] = value[a];
	}
	pd_df_covariance(d, c, l, method, cov);
	if (!pd_chol(cov, l, l))
		st = pd_fail(err, PD_USAGE, "the %zu contrasts of a test are "
		             "not independent", l);
	if (st == PD_OK) {
		pd_chol_solve(cov, l, l, half);
		for (size_t a = 0; a < l; a++)
			out->f += value[a] * half[a] / (double)l;
	}
	if (st == PD_OK && method == PD_KENWARD_ROGER) {
		pd_df_covariance(d, c, l, PD_NORMAL, cov);
		for (size_t a = 0; a < l * l; a++)
			cov[a] /= d->scale2;
		if (pd_chol(cov, l, l)) {
			moments(d, c, l, cov, work, &a1, &a2);
			scale_f(a1, a2, (double)l, &out->scaling, &out->df2);
			out->f *= out->scaling;
		}
	} else if (st == PD_OK && method == PD_SATTERTHWAITE) {
		st = fai_cornelius(d, c, l, work, out, err);
	}
	if (st == PD_OK && !(out->df2 > 0.0 && out->f >= 0.0))
		st = pd_fail(err, PD_NUMERIC, "no test: F %g, denominator "
		             "degrees of freedom %g", out->f, out->df2);
	if (st == PD_OK)
		out->p = isinf(out->df2) ?
			pd_chisq_upper(out->f * out->df1, out->df1) :
			pd_f_upper(out->f, out->df1, out->df2);
	pd_arena_free(arena);
	return st;
}

pd_status pd_df_estimate(double value, double variance, double df,
                         double level, pd_estimate *out, pd_error *err)
{
	double t;

	if (!(level > 0.0 && level < 1.0))
		return pd_fail(err, PD_USAGE, "level %g, expected above 0 and "
		               "below 1", level);
	t = pd_t_quantile(0.5 + 0.5 * level, df);
	*out = (pd_estimate){ .value = value, .se = sqrt(variance), .df = df,
	                      .level = level };
	out->low = value - t * out->se;
	out->high = value + t * out->se;
	out->p = pd_t_two_sided(value / out->se, df);
	if (!isfinite(out->low) || !isfinite(out->high))
		return pd_fail(err, PD_NUMERIC, "no interval: the data leave "
		               "%.3g degrees of freedom", df);
	return PD_OK;
}
