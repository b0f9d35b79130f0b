/* nested_dense.c - see nested_dense.h. */
#include "stats/nested_dense.h"

#include <math.h>
#include <string.h>

bool pd_chol(double *a, size_t n, size_t ld)
{
	for (size_t j = 0; j < n; j++) {
		double pivot = a[j * ld + j];

		for (size_t k = 0; k < j; k++)
			pivot -= a[j * ld + k] * a[j * ld + k];
		if (!(pivot > 0.0))
			return false;
		pivot = sqrt(pivot);
		a[j * ld + j] = pivot;
		for (size_t i = j + 1; i < n; i++) {
			double s = a[i * ld + j];

			for (size_t k = 0; k < j; k++)
				s -= a[i * ld + k] * a[j * ld + k];
			a[i * ld + j] = s / pivot;
		}
	}
	return true;
}

void pd_chol_semi(double *a, size_t n, size_t ld, double floor)
{
	for (size_t j = 0; j < n; j++) {
		double pivot = a[j * ld + j];

		for (size_t k = 0; k < j; k++)
			pivot -= a[j * ld + k] * a[j * ld + k];
		pivot = pivot > floor * a[j * ld + j] ? sqrt(pivot) : 0.0;
		a[j * ld + j] = pivot;
		for (size_t i = j + 1; i < n; i++) {
			double s = a[i * ld + j];

			for (size_t k = 0; k < j; k++)
				s -= a[i * ld + k] * a[j * ld + k];
			a[i * ld + j] = pivot > 0.0 ? s / pivot : 0.0;
			a[j * ld + i] = 0.0;
		}
	}
}

void pd_chol_solve(const double *l, size_t n, size_t ld, double *b)
{
	for (size_t i = 0; i < n; i++) {
		for (size_t k = 0; k < i; k++)
			b[i] -= l[i * ld + k] * b[k];
		b[i] /= l[i * ld + i];
	}
	for (size_t i = n; i-- > 0;) {
		for (size_t k = i + 1; k < n; k++)
			b[i] -= l[k * ld + i] * b[k];
		b[i] /= l[i * ld + i];
	}
}

void pd_chol_inverse(const double *l, size_t n, size_t ld, double *out)
{
	/* rows of `out` hold the columns of the inverse, one solve each */
	memset(out, 0, n * n * sizeof *out);
	for (size_t j = 0; j < n; j++) {
		out[j * n + j] = 1.0;
		pd_chol_solve(l, n, ld, out + j * n);
	}
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < i; j++) {
			double mean = 0.5 * (out[i * n + j] + out[j * n + i]);

			out[i * n + j] = out[j * n + i] = mean;
		}
}

double pd_chol_log_det(const double *l, size_t n, size_t ld)
{
	double sum = 0.0;

	for (size_t i = 0; i < n; i++)
		sum += log(l[i * ld + i]);
	return 2.0 * sum;
}

/* One rotation in the plane (p, q) that makes a[p,q] zero. */
static void rotate(double *a, size_t n, double *v, size_t p, size_t q)
{
	double apq = a[p * n + q];
	double tau = (a[q * n + q] - a[p * n + p]) / (2.0 * apq);
	double t = (tau >= 0.0 ? 1.0 : -1.0) / (fabs(tau) + hypot(1.0, tau));
	double c = 1.0 / hypot(1.0, t), s = t * c;

	for (size_t k = 0; k < n; k++) {
		double x = a[k * n + p], y = a[k * n + q];

		a[k * n + p] = c * x - s * y;
		a[k * n + q] = s * x + c * y;
	}
	for (size_t k = 0; k < n; k++) {
		double x = a[p * n + k], y = a[q * n + k];

		a[p * n + k] = c * x - s * y;
		a[q * n + k] = s * x + c * y;
	}
	for (size_t k = 0; k < n; k++) {
		double x = v[k * n + p], y = v[k * n + q];

		v[k * n + p] = c * x - s * y;
		v[k * n + q] = s * x + c * y;
	}
	a[p * n + q] = a[q * n + p] = 0.0;
}

void pd_eigen(double *a, size_t n, double *value, double *vector)
{
	memset(vector, 0, n * n * sizeof *vector);
	for (size_t i = 0; i < n; i++)
		vector[i * n + i] = 1.0;
	for (int sweep = 0; sweep < 60; sweep++) {
		bool turned = false;

		for (size_t p = 0; p + 1 < n; p++)
			for (size_t q = p + 1; q < n; q++) {
				double size = fabs(a[p * n + p]) +
				              fabs(a[q * n + q]);

				if (!(fabs(a[p * n + q]) > 1e-17 * size))
					continue;
				rotate(a, n, vector, p, q);
				turned = true;
			}
		if (!turned)
			break;
	}
	for (size_t i = 0; i < n; i++)
		value[i] = a[i * n + i];
}

double pd_inner(const double *a, size_t lda, const double *b, size_t ldb,
                size_t n)
{
	double sum = 0.0;

	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			sum += a[i * lda + j] * b[i * ldb + j];
	return sum;
}

double pd_trace(const double *a, const double *b, size_t n)
{
	double sum = 0.0;

	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++)
			sum += a[i * n + j] * b[j * n + i];
	return sum;
}

void pd_product(const double *a, const double *b, size_t n, double *out)
{
	memset(out, 0, n * n * sizeof *out);
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++) {
			double f = a[i * n + k];

			for (size_t j = 0; j < n; j++)
				out[i * n + j] += f * b[k * n + j];
		}
}

double pd_form(const double *x, const double *a, size_t ld, const double *y,
               size_t n)
{
	double sum = 0.0;

	for (size_t i = 0; i < n; i++) {
		double s = 0.0;

		for (size_t j = 0; j < n; j++)
			s += a[i * ld + j] * y[j];
		sum += x[i] * s;
	}
	return sum;
}

/* ---- sums ------------------------------------------------------------- */

enum { CHUNK = 128 }; /* rows that stay near while tiles pass over */

#define LANES 2
#define NAME(x) x##_plain
#define TARGET
#include "stats/nested_dense_lanes.h"

#if defined(__x86_64__) && defined(__GNUC__)
#define HAS_WIDE 1
#define LANES 4
#define NAME(x) x##_wide
#define TARGET __attribute__((target("avx2")))
#include "stats/nested_dense_lanes.h"
#else
#define HAS_WIDE 0
#endif

const pd_dense_kernel *pd_dense_kernel_at(size_t i)
{
	if (!i)
		return &kernel_plain;
#if HAS_WIDE
	if (i == 1 && __builtin_cpu_supports("avx2"))
		return &kernel_wide;
#endif
	return NULL;
}

static const pd_dense_kernel *best(void)
{
	const pd_dense_kernel *next = pd_dense_kernel_at(1);

	return next ? next : &kernel_plain;
}

void pd_cross_add(double *acc, const double *x, size_t x_step, const double *y,
                  size_t y_step, const double *weight, size_t rows, size_t ld)
{
	best()->cross_add(acc, x, x_step, y, y_step, weight, rows, ld);
}

void pd_rows_turn(double *x, size_t rows, const double *t, size_t ld)
{
	best()->rows_turn(x, rows, t, ld);
}

void pd_column_add(double *sum, const double *x, size_t rows, size_t at,
                   size_t ld)
{
	best()->column_add(sum, x, rows, at, ld);
}
