/*
 * nested_spread_own.h - inside nested_spread*.c: the deviance over the log
 * ratios rho of classes 1 .. k.
 */
#ifndef PERDRAW_STATS_NESTED_SPREAD_OWN_H
#define PERDRAW_STATS_NESTED_SPREAD_OWN_H

#include "stats/nested_spread.h"

enum { PD_SPREAD_RATIOS = PD_SPREAD_CLASSES - 1 };

struct pd_spread_task {
	const pd_nested_spec *spec;
	const int32_t *class_of;
	size_t k;              /* ratios                                      */
	size_t rows[PD_SPREAD_CLASSES];
	double *outcome;       /* n: y, or what the columns leave of it       */
	double *x, *y, *z[PD_NESTED_LEVELS]; /* divided rows                  */
	double metric[PD_SPREAD_RATIOS * PD_SPREAD_RATIOS]; /* curvature where
	                          it was last asked for                       */
	/* a ratio held during a search; k: none */
	size_t held;
	double held_at;
	/* how it went */
	unsigned fits;
	bool vanished;         /* a ratio left the range: no top              */
	size_t which;          /* that ratio                                  */
	bool upwards;          /* it grew: the first class vanishes           */
	pd_status status;      /* of the last fit that failed                 */
	pd_error error;
};

/* One point of the deviance, rho[k]. */
struct pd_spread_point {
	double value;          /* NaN: no fit there                           */
	double slope[PD_SPREAD_RATIOS];
	double freedom[PD_SPREAD_CLASSES];
};

/* model (NULL is welcome): the fit, to be freed by the caller; else freed. */
void pd_spread_at(struct pd_spread_task *t, const double *rho,
                  struct pd_spread_point *out, pd_nested **model);

/* The lowest point from rho on, the held one staying. True when found. */
bool pd_spread_search(struct pd_spread_task *t, double *rho,
                      struct pd_spread_point *out);

/* curve[k*k]: second derivatives at rho; by[k] (each p*p, NULL is welcome):
 * derivative of the covariance of b. False: a neighbour has no fit. */
bool pd_spread_curve(struct pd_spread_task *t, const double *rho,
                     double *curve, double **by);

/* Where the profile over ratio g has risen by `rise`, going `side` (-1, 1)
 * from the lowest point rho; infinite when it never does. */
double pd_spread_limit(struct pd_spread_task *t, const double *rho, size_t g,
                       double lowest, double rise, double se, int side);

#endif
