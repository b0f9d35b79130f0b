/*
 * dense_sandwich.h - for tests: the cluster sandwich from its definitions,
 * with matrices of the number of rows. P columns, up to ROWS rows, cluster
 * codes 0 .. 199.
 */
#ifndef PERDRAW_TESTS_DENSE_SANDWICH_H
#define PERDRAW_TESTS_DENSE_SANDWICH_H

#include "dense_model.h"

struct direct {
	size_t n;
	double *w, *v;         /* n*n: to be filled before direct_at         */
	double *left, *middle, *adjust; /* I-H, (I-H)V(I-H)', A              */
	double *t, *s;         /* n*n: work; t holds A'W X B afterwards      */
	double bread[P * P], beta[P], cov[P * P], e[ROWS];
};

/* All zero; free(d->w) gives it back. */
void direct_new(struct direct *d, size_t n);
/* bread, beta, covariance from w and v. */
void direct_at(struct direct *d, const double *x, const double *y,
               const int32_t *cluster);
/* df of c from p_i = (I-H)_i'A_i'W_i X_i B c, formed one by one. */
double direct_df(const struct direct *d, const double *c,
                 const int32_t *cluster);

#endif
