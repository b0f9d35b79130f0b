/*
 * curve_models.c - values and gradients of the curves in curve_models.h.
 */
#include "curve_models.h"

#include <math.h>

/* Row i of the gradient, or a row nobody reads. */
#define ROW(p) (gradient ? gradient + i * (p) : waste)

int curve_rise(const double *b, void *context, double *value, double *gradient)
{
	const struct curve_x *c = context;
	double waste[2], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], part = -expm1(-b[1] * x);

		g = ROW(2);
		value[i] = b[0] * part;
		g[0] = part;
		g[1] = b[0] * x * exp(-b[1] * x);
	}
	return 0;
}

int curve_chwirut(const double *b, void *context, double *value,
                  double *gradient)
{
	const struct curve_x *c = context;
	double waste[3], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], below = b[1] + b[2] * x;

		g = ROW(3);
		value[i] = exp(-b[0] * x) / below;
		g[0] = -x * value[i];
		g[1] = -value[i] / below;
		g[2] = -x * value[i] / below;
	}
	return 0;
}

int curve_decays(const double *b, void *context, double *value,
                 double *gradient)
{
	const struct curve_x *c = context;
	double waste[6], *g;

	for (size_t i = 0; i < c->n; i++) {
		g = ROW(6);
		value[i] = 0;
		for (size_t k = 0; k < 6; k += 2) {
			double part = exp(-b[k + 1] * c->x[i]);

			value[i] += b[k] * part;
			g[k] = part;
			g[k + 1] = -b[k] * c->x[i] * part;
		}
	}
	return 0;
}

int curve_peaks(const double *b, void *context, double *value,
                double *gradient)
{
	const struct curve_x *c = context;
	double waste[8], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], part = exp(-b[1] * x);

		g = ROW(8);
		value[i] = b[0] * part;
		g[0] = part;
		g[1] = -b[0] * x * part;
		for (size_t k = 2; k < 8; k += 3) {
			double z = (x - b[k + 1]) / b[k + 2];

			part = exp(-z * z);
			value[i] += b[k] * part;
			g[k] = part;
			g[k + 1] = b[k] * part * 2 * z / b[k + 2];
			g[k + 2] = b[k] * part * 2 * z * z / b[k + 2];
		}
	}
	return 0;
}

int curve_power(const double *b, void *context, double *value,
                double *gradient)
{
	const struct curve_x *c = context;
	double waste[2], *g;

	for (size_t i = 0; i < c->n; i++) {
		double part = pow(c->x[i], b[1]);

		g = ROW(2);
		value[i] = b[0] * part;
		g[0] = part;
		g[1] = b[0] * part * log(c->x[i]);
	}
	return 0;
}

int curve_root(const double *b, void *context, double *value, double *gradient)
{
	const struct curve_x *c = context;
	double waste[2], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], base = 1 + 2 * b[1] * x;

		if (!(base > 0))
			return 1;
		g = ROW(2);
		g[0] = 1 - 1 / sqrt(base);
		value[i] = b[0] * g[0];
		g[1] = b[0] * x / (base * sqrt(base));
	}
	return 0;
}

int curve_ratio(const double *b, void *context, double *value,
                double *gradient)
{
	const struct curve_x *c = context;
	double waste[5], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], below = 1 + x * (b[3] + x * b[4]);

		g = ROW(5);
		value[i] = (b[0] + x * (b[1] + x * b[2])) / below;
		g[0] = 1 / below;
		g[1] = x / below;
		g[2] = x * x / below;
		g[3] = -value[i] * x / below;
		g[4] = -value[i] * x * x / below;
	}
	return 0;
}

int curve_enzyme(const double *b, void *context, double *value,
                 double *gradient)
{
	const struct curve_x *c = context;
	double waste[4], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], above = x * x + b[1] * x;
		double below = x * x + b[2] * x + b[3];

		g = ROW(4);
		value[i] = b[0] * above / below;
		g[0] = above / below;
		g[1] = b[0] * x / below;
		g[2] = -value[i] * x / below;
		g[3] = -value[i] / below;
	}
	return 0;
}

int curve_logistic(const double *b, void *context, double *value,
                   double *gradient)
{
	const struct curve_x *c = context;
	double waste[3], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i], e = exp(b[1] - b[2] * x), part = 1 / (1 + e);

		g = ROW(3);
		value[i] = b[0] * part;
		g[0] = part;
		g[1] = -b[0] * e * part * part;
		g[2] = -x * g[1];
	}
	return 0;
}

int curve_bell(const double *b, void *context, double *value, double *gradient)
{
	const struct curve_x *c = context;
	double waste[3], *g;

	for (size_t i = 0; i < c->n; i++) {
		double z = (c->x[i] - b[2]) / b[1], e = exp(-0.5 * z * z);

		g = ROW(3);
		value[i] = b[0] / b[1] * e;
		g[0] = e / b[1];
		g[1] = value[i] * (z * z - 1) / b[1];
		g[2] = value[i] * z / b[1];
	}
	return 0;
}

int curve_saturates(const double *b, void *context, double *value,
                    double *gradient)
{
	const struct curve_x *c = context;
	double waste[2], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i];

		g = ROW(2);
		g[0] = x / (b[1] + x);
		value[i] = b[0] * g[0];
		g[1] = -value[i] / (b[1] + x);
	}
	return 0;
}

int curve_saturates_two(const double *b, void *context, double *value,
                        double *gradient)
{
	const struct curve_x *c = context;
	double waste[3], *g;

	for (size_t i = 0; i < c->n; i++) {
		double x = c->x[i];

		g = ROW(3);
		g[0] = x / (b[2] + x);
		g[1] = c->group[i] * g[0];
		value[i] = (b[0] + b[1] * c->group[i]) * g[0];
		g[2] = -value[i] / (b[2] + x);
	}
	return 0;
}
