/* normality.c - see normality.h. Letters as in the papers. */
#include "stats/normality.h"
#include "stats/quantile.h"
#include "stats/summary.h"

#include <math.h>

static double z_skew(double n, double skew)
{
	double y = skew * sqrt((n + 1.0) * (n + 3.0) / (6.0 * (n - 2.0)));
	double b2 = 3.0 * (n * n + 27.0 * n - 70.0) * (n + 1.0) * (n + 3.0) /
	            ((n - 2.0) * (n + 5.0) * (n + 7.0) * (n + 9.0));
	double w2 = sqrt(2.0 * (b2 - 1.0)) - 1.0;
	double delta = 1.0 / sqrt(0.5 * log(w2));
	double alpha = sqrt(2.0 / (w2 - 1.0));

	return delta * asinh(y / alpha);
}

static double z_tails(double n, double tails)
{
	double mean = 3.0 * (n - 1.0) / (n + 1.0);
	double var = 24.0 * n * (n - 2.0) * (n - 3.0) /
	             ((n + 1.0) * (n + 1.0) * (n + 3.0) * (n + 5.0));
	double x = (tails - mean) / sqrt(var);
	double b1 = 6.0 * (n * n - 5.0 * n + 2.0) /
	            ((n + 7.0) * (n + 9.0)) *
	            sqrt(6.0 * (n + 3.0) * (n + 5.0) /
	                 (n * (n - 2.0) * (n - 3.0)));
	double a = 6.0 + 8.0 / b1 *
	           (2.0 / b1 + sqrt(1.0 + 4.0 / (b1 * b1)));
	double cube = (1.0 - 2.0 / a) / (1.0 + x * sqrt(2.0 / (a - 4.0)));

	return (1.0 - 2.0 / (9.0 * a) - cbrt(cube)) / sqrt(2.0 / (9.0 * a));
}

void pd_normality_from(size_t n, double skew, double tails,
                       pd_normality *out)
{
	out->n = n;
	out->skew = skew;
	out->tails = tails;
	out->z_skew = z_skew((double)n, skew);
	out->z_tails = z_tails((double)n, tails);
	out->p_skew = 2.0 * pd_normal_upper(fabs(out->z_skew));
	out->p_tails = 2.0 * pd_normal_upper(fabs(out->z_tails));
	out->joint = out->z_skew * out->z_skew + out->z_tails * out->z_tails;
	out->p_joint = exp(-0.5 * out->joint); /* chi-square, 2 df */
}

pd_status pd_normality_test(const double *x, size_t n, pd_normality *out,
                            pd_error *err)
{
	double m2 = 0.0, m3 = 0.0, m4 = 0.0, scale;
	pd_status st = pd_check_finite(x, n, err);
	pd_summary s;

	if (st != PD_OK)
		return st;
	if (n < 20)
		return pd_fail(err, PD_REFUSED, "%zu values, expected at "
		               "least 20 to judge a shape", n);
	s = pd_summarise(x, n);
	scale = s.sd;
	if (!(scale > 1e-14 * fmax(fabs(s.low), fabs(s.high))))
		return pd_fail(err, PD_REFUSED, "the values do not vary");
	for (size_t i = 0; i < n; i++) {
		double d = (x[i] - s.mean) / scale;

		m2 += d * d;
		m3 += d * d * d;
		m4 += d * d * d * d;
	}
	m2 /= (double)n;
	m3 /= (double)n;
	m4 /= (double)n;
	pd_normality_from(n, m3 / (m2 * sqrt(m2)), m4 / (m2 * m2), out);
	return PD_OK;
}
