/*
 * newton.c - guarded Newton steps up a log-likelihood.
 */
#include "stats/newton.h"
#include "stats/quantile.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

enum { MOST_STEPS = 200, MOST_HALVINGS = 60, MOST_RIDGES = 40,
       MOST_SLOW = 4 };
static const double SMALL_STEP = 1e-9;
static const double LONGEST_STEP = 2; /* over 1 + |parameter| */
/* A step this long that promises this little runs away: for a parameter that
 * has come to 20, a standard error above 1,000. */
static const double LONG_STEP = 0.01, NO_GAIN = 1e-7;

struct room {
	pd_newton_function *f;
	void *with;
	size_t p;
	double *a, *scale, *step, *next, *next_gradient, *next_hessian;
	/* Thrifty: */
	int thrifty;
	int mended;   /* the curvature is not that of this place             */
	int slow;     /* steps since it was asked for whose gain did not fall
	                 to half                                             */
	double last_gain, length; /* of the step: pd_newton_record.step      */
};

/* a = equilibrated -H + ridge I and its Cholesky factor; 0 when it has none. */
static int factor(struct room *r, const double *hessian, double ridge)
{
	size_t p = r->p;
	gsl_matrix_view a = gsl_matrix_view_array(r->a, p, p);

	for (size_t i = 0; i < p; i++) {
		double d = fabs(hessian[i * p + i]);

		r->scale[i] = d > 0 ? 1 / sqrt(d) : 1;
	}
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			r->a[i * p + j] = -hessian[i * p + j] * r->scale[i] *
			                  r->scale[j] + (i == j ? ridge : 0);
	return gsl_linalg_cholesky_decomp1(&a.matrix) == GSL_SUCCESS;
}

/* The step from gradient and Hessian; returns g'(-H)^-1 g, NaN if none. */
static double find_step(struct room *r, const double *gradient,
                        const double *hessian)
{
	size_t p = r->p;
	gsl_matrix_view a = gsl_matrix_view_array(r->a, p, p);
	gsl_vector_view s = gsl_vector_view_array(r->step, p);
	double ridge = 0, gain = 0;

	for (int k = 0; !factor(r, hessian, ridge); k++) {
		if (k == MOST_RIDGES)
			return NAN;
		ridge = ridge > 0 ? 4 * ridge : 1e-3;
	}
	for (size_t i = 0; i < p; i++)
		r->step[i] = gradient[i] * r->scale[i];
	gsl_linalg_cholesky_svx(&a.matrix, &s.vector);
	for (size_t i = 0; i < p; i++) {
		r->step[i] *= r->scale[i];
		gain += gradient[i] * r->step[i];
	}
	return gain;
}

/* Shorten the step so that no parameter moves further than allowed. */
static void measure_step(struct room *r, const double *par,
                         pd_newton_record *record)
{
	record->step = 0;
	for (size_t i = 0; i < r->p; i++) {
		double size = 1 + fabs(par[i]);

		if (fabs(r->step[i]) / size > record->step) {
			record->step = fabs(r->step[i]) / size;
			record->furthest = i;
		}
	}
	r->length = record->step;
	for (size_t i = 0; record->step > LONGEST_STEP && i < r->p; i++)
		r->step[i] *= LONGEST_STEP / record->step;
}

/* The curvature at par, asked for. */
static void renew(struct room *r, const double *par, double *value,
                  double *gradient, double *hessian)
{
	r->f(r->with, par, value, gradient, hessian);
	r->mended = r->slow = 0;
	r->last_gain = INFINITY;
}

/* With b = -H, s the step gone and y = what -g grew by:
 * b += y y' / (y's) - b s s'b / (s'b s); 0 where y's is not above 0. A last
 * step tells nothing: y is rounding. */
static int mend(struct room *r, const double *gradient, double *hessian)
{
	size_t p = r->p;
	double *y = r->next_hessian, *bs = y + p, ys = 0, sbs = 0;

	if (r->length <= SMALL_STEP)
		return 1;
	for (size_t i = 0; i < p; i++) {
		y[i] = gradient[i] - r->next_gradient[i];
		bs[i] = 0;
		for (size_t j = 0; j < p; j++)
			bs[i] -= hessian[i * p + j] * r->step[j];
		ys += y[i] * r->step[i];
		sbs += bs[i] * r->step[i];
	}
	if (!(ys > 1e-8 * sbs && sbs > 0))
		return 0;
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			hessian[i * p + j] -= y[i] * y[j] / ys -
			                      bs[i] * bs[j] / sbs;
	r->mended = 1;
	return 1;
}

/* Take over the point gone to by the whole step. */
static void arrive(struct room *r, double *par, double next, double *value,
                   double *gradient, double *hessian)
{
	size_t p = r->p;

	memcpy(par, r->next, p * sizeof *par);
	*value = next;
	if (r->thrifty && !mend(r, gradient, hessian)) {
		renew(r, par, value, gradient, hessian);
		return;
	}
	memcpy(gradient, r->next_gradient, p * sizeof *gradient);
	if (!r->thrifty)
		memcpy(hessian, r->next_hessian, p * p * sizeof *hessian);
}

/* Go along the step, halved until the value does not fall. The whole step is
 * mostly good: its curvature, unless it is dear, is asked for at once. */
static int climb(struct room *r, double *par, double *value, double *gradient,
                 double *hessian)
{
	double part = 1, next, slack = 1e-13 * (1 + fabs(*value));

	for (int k = 0; k < MOST_HALVINGS; k++, part /= 2) {
		for (size_t i = 0; i < r->p; i++)
			r->next[i] = par[i] + part * r->step[i];
		r->f(r->with, r->next, &next, r->next_gradient,
		     k || r->thrifty ? NULL : r->next_hessian);
		if (!isfinite(next) || next < *value - slack)
			continue;
		if (k) {
			memcpy(par, r->next, r->p * sizeof *par);
			renew(r, par, value, gradient, hessian);
		} else {
			arrive(r, par, next, value, gradient, hessian);
		}
		return 1;
	}
	return 0;
}

/* The next step; one of a mended curvature that says to end in anything but a
 * top, or has not done well, is found again by that of this place. */
static pd_newton_end aim(struct room *r, const double *par, double *value,
                         double *gradient, double *hessian,
                         pd_newton_record *record)
{
	for (;;) {
		int stuck, away;

		record->gain = find_step(r, gradient, hessian);
		stuck = !isfinite(record->gain);
		if (!stuck)
			measure_step(r, par, record);
		away = !stuck && record->step > LONG_STEP &&
		       record->gain < NO_GAIN;
		r->slow += !(record->gain < 0.5 * r->last_gain);
		r->last_gain = record->gain;
		if (!r->mended || !(stuck || away || r->slow > MOST_SLOW))
			return stuck ? PD_NEWTON_STUCK
			       : away ? PD_NEWTON_RUNAWAY : PD_NEWTON_TOP;
		renew(r, par, value, gradient, hessian);
	}
}

static pd_newton_end search(struct room *r, double *par, double *gradient,
                            double *hessian, pd_newton_record *record)
{
	for (record->iterations = 1; record->iterations <= MOST_STEPS;
	     record->iterations++) {
		pd_newton_end end = aim(r, par, &record->value, gradient,
		                        hessian, record);
		int small = record->step <= SMALL_STEP;

		if (end != PD_NEWTON_TOP)
			return end;
		if (!climb(r, par, &record->value, gradient, hessian) &&
		    !small) {
			if (!r->mended)
				return PD_NEWTON_STUCK;
			renew(r, par, &record->value, gradient, hessian);
		}
		if (small)
			return PD_NEWTON_TOP;
	}
	return PD_NEWTON_STUCK;
}

static int make_room(pd_arena *arena, struct room *r, size_t p)
{
	r->p = p;
	r->a = PD_NEW(arena, double, p * p + 1);
	r->scale = PD_NEW(arena, double, p + 1);
	r->step = PD_NEW(arena, double, p + 1);
	r->next = PD_NEW(arena, double, p + 1);
	r->next_gradient = PD_NEW(arena, double, p + 1);
	r->next_hessian = PD_NEW(arena, double, p * p + 2 * p + 1);
	return r->a && r->scale && r->step && r->next && r->next_gradient &&
	       r->next_hessian;
}

static pd_status search_from(pd_arena *arena, struct room *r, size_t p,
                             double *par, double *gradient, double *hessian,
                             pd_newton_record *record, pd_error *err)
{
	pd_base_init();
	*record = (pd_newton_record){ .end = PD_NEWTON_STUCK };
	if (!make_room(arena, r, p))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	renew(r, par, &record->value, gradient, hessian);
	if (!isfinite(record->value))
		return pd_fail(err, PD_NUMERIC, "the likelihood cannot be "
		               "computed at the start of the search");
	record->end = p ? search(r, par, gradient, hessian, record)
	                : PD_NEWTON_TOP;
	return PD_OK;
}

pd_status pd_newton_search(pd_arena *arena, pd_newton_function *f, void *with,
                           size_t p, double *par, double *gradient,
                           double *hessian, pd_newton_record *record,
                           pd_error *err)
{
	struct room r = { .f = f, .with = with };

	return search_from(arena, &r, p, par, gradient, hessian, record, err);
}

pd_status pd_newton_thrifty(pd_arena *arena, pd_newton_function *f,
                            void *with, size_t p, double *par,
                            double *gradient, double *hessian,
                            pd_newton_record *record, pd_error *err)
{
	struct room r = { .f = f, .with = with, .thrifty = 1 };

	return search_from(arena, &r, p, par, gradient, hessian, record, err);
}

pd_status pd_newton_covariance(pd_arena *arena, const double *hessian,
                               size_t p, double *covariance, pd_error *err)
{
	struct room r = { 0 };

	pd_base_init();
	if (!make_room(arena, &r, p))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	gsl_matrix_view a = gsl_matrix_view_array(r.a, p, p);

	if (!factor(&r, hessian, 0))
		return pd_fail(err, PD_NUMERIC, "the curvature at the end of "
		               "the search is not that of a maximum");
	gsl_linalg_cholesky_invert(&a.matrix);
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			covariance[i * p + j] = r.a[i * p + j] * r.scale[i] *
			                        r.scale[j];
	return PD_OK;
}

pd_status pd_newton_contrast(const double *beta, const double *covariance,
                             size_t p, size_t width, const double *c,
                             double level, pd_estimate *out, pd_error *err)
{
	double value = 0, variance = 0, z;

	if (!(level > 0 && level < 1))
		return pd_fail(err, PD_DATA, "interval level %g is outside 0 "
		               "to 1", level);
	for (size_t j = 0; j < p; j++) {
		value += c[j] * beta[j];
		for (size_t k = 0; k < p; k++)
			variance += c[j] * c[k] * covariance[j * width + k];
	}
	if (!(variance > 0))
		return pd_fail(err, PD_USAGE, "the contrast is 0");
	z = pd_normal_quantile(0.5 + 0.5 * level);
	*out = (pd_estimate){ .value = value, .se = sqrt(variance),
	                      .df = INFINITY, .level = level };
	out->low = value - z * out->se;
	out->high = value + z * out->se;
	out->p = 2 * pd_normal_upper(fabs(value / out->se));
	return PD_OK;
}
