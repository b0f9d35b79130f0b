/*
 * dense_model.h - for the tests of the mixed model: small unbalanced trees,
 * and the same model from its definitions with matrices of the number of
 * rows, V = s^2 (I + sum Z T Z') formed and inverted.
 */
#ifndef PERDRAW_TESTS_DENSE_MODEL_H
#define PERDRAW_TESTS_DENSE_MODEL_H

#include "stats/nested.h"

enum { ROWS = 160, P = 3, MOST = 8, VARIANTS = 8 };

/* Fails the test unless |got - want| <= tolerance * max(1, |want|). */
void near(const char *what, double got, double want, double tolerance);

struct data {
	size_t n;
	double x[ROWS * P], y[ROWS], z[ROWS * 2];
	int32_t group[3][ROWS];
};

/* patient > case > site, unbalanced; x: one, a number, an arm; z: one, a
 * number; sd of patients, cases, sites and rows. */
void make(struct data *d, uint64_t seed, const double sd[4]);
extern const double sds[4];

/* Random effects of the variants: columns a level; ML or REML. */
struct variant {
	const char *name;
	size_t depth, q[3];
	bool ml;
};
extern const struct variant variants[VARIANTS];

pd_nested_spec spec_of(const struct data *d, const struct variant *v);
/* Made, or made and fitted; the test fails when that fails. */
pd_nested *new_model(const pd_nested_spec *s);
pd_nested *fitted(const pd_nested_spec *s);

struct dense {
	size_t n, k;             /* rows; variance parameters, residual last */
	double *v;               /* k matrices n*n: dV/ds_i                  */
	double s[MOST];          /* V = sum s_i V_i                          */
	double *inverse;         /* n*n                                      */
	double phi[P * P], beta[P], log_det, log_det_x, rss;
};

/* In place inverse of a symmetric positive matrix; returns log |a|. */
double invert(double *a, size_t n);
/* V_i of every element of every level's covariance, and of the residual. */
void dense_new(struct dense *e, const struct data *d, const struct variant *v);
void dense_free(struct dense *e);
/* Everything that follows from s. */
void dense_at(struct dense *e, const struct data *d);
/* -2 log-likelihood with all constants. */
double dense_deviance(const struct dense *e, bool ml);
/* s from theta and the residual variance. */
void dense_theta(struct dense *e, const struct variant *v, const double *theta,
                 double s2);

#endif
