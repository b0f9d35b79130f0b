/*
 * nested_dense.h - the small dense algebra of the nested model: symmetric
 * matrices of a few rows, row-major with row length ld >= n. Nothing here
 * allocates; sizes are numbers of fixed columns or of variance parameters.
 */
#ifndef PERDRAW_STATS_NESTED_DENSE_H
#define PERDRAW_STATS_NESTED_DENSE_H

#include <stdbool.h>
#include <stddef.h>

/* Two numbers side by side, in memory anywhere: what every 64-bit machine
 * works on at once. */
enum { PD_PAIR = 2 };
typedef double pd_pair __attribute__((vector_size(16), aligned(8), may_alias));
#define PD_INLINE static inline __attribute__((always_inline))

/* a = L L', lower triangle of a replaced by L, upper left as it was. False
 * when a pivot is not above 0. */
bool pd_chol(double *a, size_t n, size_t ld);
/* The same for a positive semi-definite a: a pivot at or below `floor` times
 * its diagonal makes its column of L exactly zero. The upper triangle is
 * zeroed. */
void pd_chol_semi(double *a, size_t n, size_t ld, double floor);
/* b[n] <- (L L')^-1 b. */
void pd_chol_solve(const double *l, size_t n, size_t ld, double *b);
/* out[n*n] <- (L L')^-1, full symmetric. */
void pd_chol_inverse(const double *l, size_t n, size_t ld, double *out);
/* log |L L'| */
double pd_chol_log_det(const double *l, size_t n, size_t ld);
/* Eigenvalues value[n] and orthonormal vectors (columns of vector[n*n]) of
 * the symmetric a[n*n], which is destroyed. Cyclic Jacobi rotations. */
void pd_eigen(double *a, size_t n, double *value, double *vector);
/* sum over i, j of a[i,j] b[i,j], first n rows and columns. */
double pd_inner(const double *a, size_t lda, const double *b, size_t ldb,
                size_t n);
/* trace of a b, both n*n */
double pd_trace(const double *a, const double *b, size_t n);
/* out[n*n] = a[n*n] b[n*n]; out must be neither. */
void pd_product(const double *a, const double *b, size_t n, double *out);
/* x' a y, a row-major with row length ld. */
double pd_form(const double *x, const double *a, size_t ld, const double *y,
               size_t n);

/*
 * acc[a,b] += sum over k of weight[k] x[k,a] y[k,b], acc ld * ld, rows of x
 * x_step apart, of y y_step; weight NULL: ones. ld is a multiple of 4. Where
 * x is y the sums are symmetric, made once and mirrored: acc must then be
 * symmetric before.
 */
void pd_cross_add(double *acc, const double *x, size_t x_step, const double *y,
                  size_t y_step, const double *weight, size_t rows, size_t ld);
/* Each of `rows` rows x[ld] <- x T, T[ld*ld] upper triangular, zeros below the
 * diagonal. ld is a multiple of 4. */
void pd_rows_turn(double *x, size_t rows, const double *t, size_t ld);
/* sum[ld] += sum over k of x[k,at] x[k,.], rows of x ld apart. ld is a
 * multiple of 4. */
void pd_column_add(double *sum, const double *x, size_t rows, size_t at,
                   size_t ld);

/* The three sums as they are done on any processor (0) and on this one where it
 * has wider vectors (1); NULL past the last. The same bytes come out. */
typedef struct pd_dense_kernel {
	void (*cross_add)(double *acc, const double *x, size_t x_step,
	                  const double *y, size_t y_step, const double *weight,
	                  size_t rows, size_t ld);
	void (*rows_turn)(double *x, size_t rows, const double *t, size_t ld);
	void (*column_add)(double *sum, const double *x, size_t rows,
	                   size_t at, size_t ld);
} pd_dense_kernel;
const pd_dense_kernel *pd_dense_kernel_at(size_t i);

#endif
