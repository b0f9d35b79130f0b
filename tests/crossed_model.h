/*
 * crossed_model.h - for the tests of the mixed model with crossed factors:
 * small unbalanced data of a plain generator that any language can repeat, and
 * the model from its definitions, V = sum s_i V_i formed and inverted.
 */
#ifndef PERDRAW_TESTS_CROSSED_MODEL_H
#define PERDRAW_TESTS_CROSSED_MODEL_H

#include "dense_model.h"
#include "stats/crossed.h"

enum { FACTORS = 4, CROSSED = 9, MOST_LEVELS = 16 };

/* tree: patient > case; x: one, a number, an arm; z: one, a number. */
struct crossed_data {
	struct data d;
	int32_t factor[FACTORS][ROWS];
};

/* Numbers in (0, 1): s <- 16807 s mod (2^31 - 1), s over 2^31 - 1. */
double plain_uniform(uint64_t *s);
/* Twelve of them added up, less 6: near enough to normal. */
double plain_normal(uint64_t *s);

/*
 * sd of patients, cases, the four factors, rows. Factors: 0 operator (6), 1
 * lot (9), 2 room (4), 3 weekday (5); lot 8 is met once.
 */
void make_crossed(struct crossed_data *c, uint64_t seed, const double sd[7]);
extern const double crossed_sds[7];

struct crossed_variant {
	const char *name;
	size_t depth, q[2], n_factors;
	size_t factor[FACTORS]; /* which */
	bool ml;
};
extern const struct crossed_variant crossed_variants[CROSSED];

pd_crossed_spec crossed_spec(const struct crossed_data *c,
                             const struct crossed_variant *v);
pd_crossed *new_crossed(const pd_crossed_spec *s);
pd_crossed *fitted_crossed(const pd_crossed_spec *s);

/* V_i; s from theta and the residual variance. dense_free at the end. */
void crossed_dense(struct dense *e, const struct crossed_data *c,
                   const struct crossed_variant *v);
void crossed_dense_theta(struct dense *e, const struct crossed_variant *v,
                         const double *theta, double s2);

/* Kenward & Roger (1997) from their formulas: P_i, Q_ij, W, Phi_A; f, g are
 * V_i V^-1 X and V^-1 V_i V^-1 X. */
struct crossed_kr {
	double p[MOST][P * P], q[MOST][MOST][P * P], w[MOST * MOST];
	double f[MOST][ROWS * P], g[MOST][ROWS * P], adjusted[P * P];
};
void crossed_kenward(const struct dense *e, const struct data *d,
                     struct crossed_kr *o);
/* Degrees of freedom of c'b; c'm c. */
double crossed_kr_df(const struct dense *e, const struct crossed_kr *o,
                     const double *c);
double crossed_form(const double *c, const double *m);

#endif
