/*
 * basis.h - a model matrix turned into columns at right angles.
 *
 *   X = Q R,  Q'Q = n I,  R upper triangular with a positive diagonal,
 *
 * so that a search sees parameters of like size whatever the units of X:
 * gamma = R beta. Gram-Schmidt with each column treated twice (Giraud, Langou
 * and Rozloznik 2005: twice is enough).
 */
#ifndef PERDRAW_STATS_BASIS_H
#define PERDRAW_STATS_BASIS_H

#include "base/arena.h"
#include "base/status.h"

typedef struct pd_basis {
	size_t n, p;
	double *q; /* n * p row-major                                        */
	double *r; /* p * p row-major                                        */
} pd_basis;

/*
 * x[n*p] row-major. PD_DATA: a value that is not finite (row and column
 * named); PD_REFUSED: a column whose part beside the columns before it is
 * below 1e-10 of its length (column named, counted from 1), or p 0 or above
 * n; PD_NO_MEMORY.
 */
pd_status pd_basis_new(pd_arena *arena, const double *x, size_t n, size_t p,
                       pd_basis *out, pd_error *err);
/* beta[p] = R^-1 gamma[p]; the two may be the same array. */
void pd_basis_back(const pd_basis *b, const double *gamma, double *beta);
/* v[m*m], the covariance of (gamma, m - p further parameters), into that of
 * (beta, the same further ones), in place. */
void pd_basis_back_covariance(const pd_basis *b, double *v, size_t m);

#endif
