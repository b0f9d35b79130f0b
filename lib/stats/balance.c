/*
 * balance.c - how alike two arms are, before and after weighting; see
 * weighting.h.
 */
#include "stats/summary.h"
#include "stats/weighting.h"

#include <gsl/gsl_eigen.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double FLAT = 1e-12; /* an eigenvalue of shares this small is 0 */
static const double SAME = 1e-9;  /* shares this close are equal             */

/* Weighted sums of one arm. */
struct side {
	double sum, square;
	size_t rows;
};

struct table {
	const int32_t *arm;
	const double *weight;
	size_t n;
	struct side side[2];
	pd_balance *row;
	size_t n_rows;
};

/* ---- input ------------------------------------------------------------ */

static pd_status look_weights(struct table *t, pd_error *err)
{
	for (size_t i = 0; i < t->n; i++) {
		double w = t->weight[i];

		if (t->arm[i] != 0 && t->arm[i] != 1)
			return pd_fail(err, PD_DATA, "row %zu: the arm is %d, "
			               "expected 0 or 1", i + 1,
			               (int)t->arm[i]);
		if (!(w >= 0) || isinf(w))
			return pd_fail(err, PD_DATA, "row %zu: the weight is "
			               "%g, expected a number of 0 or more",
			               i + 1, w);
		t->side[t->arm[i]].sum += w;
		t->side[t->arm[i]].square += w * w;
		t->side[t->arm[i]].rows += w > 0;
	}
	for (int a = 0; a < 2; a++)
		if (t->side[a].rows < 2)
			return pd_fail(err, PD_REFUSED, "arm %d has %zu rows "
			               "with a weight, expected at least 2", a,
			               t->side[a].rows);
	return PD_OK;
}

static pd_status look_column(const pd_column *c, size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++)
		if (c->kind == PD_REAL ? !isfinite(c->real[i])
		                       : c->code[i] < 0 ||
		                         (size_t)c->code[i] >= c->n_levels)
			return pd_fail(err, PD_DATA, "row %zu: '%s' is "
			               "missing, expected a value in every row",
			               i + 1, c->name);
	return PD_OK;
}

/* ---- one line --------------------------------------------------------- */

static double over(double difference, double s1, double s0)
{
	double s = sqrt(0.5 * s1 * s1 + 0.5 * s0 * s0);

	if (s > 0)
		return difference / s;
	return difference == 0 ? 0 : copysign(INFINITY, difference);
}

static void differences(pd_balance *b)
{
	double after = b->weighted_mean[1] - b->weighted_mean[0];

	b->before = over(b->mean[1] - b->mean[0], b->sd[1], b->sd[0]);
	b->after = over(after, b->weighted_sd[1], b->weighted_sd[0]);
	b->after_same = over(after, b->sd[1], b->sd[0]);
	b->ratio_before = b->ratio_after = NAN;
}

/* Means and sds about the first value; w NULL: all 1. */
static void moments(const struct table *t, const double *x, const double *w,
                    double mean[2], double sd[2])
{
	double sum[2] = { 0, 0 }, square[2] = { 0, 0 }, ss[2] = { 0, 0 };

	mean[0] = mean[1] = 0;
	for (size_t i = 0; i < t->n; i++) {
		double wt = w ? w[i] : 1;

		sum[t->arm[i]] += wt;
		square[t->arm[i]] += wt * wt;
		mean[t->arm[i]] += wt * (x[i] - x[0]);
	}
	for (int a = 0; a < 2; a++)
		mean[a] = x[0] + mean[a] / sum[a];
	for (size_t i = 0; i < t->n; i++) {
		double off = x[i] - mean[t->arm[i]];

		ss[t->arm[i]] += (w ? w[i] : 1) * off * off;
	}
	for (int a = 0; a < 2; a++)
		sd[a] = sqrt(ss[a] * sum[a] /
		             (sum[a] * sum[a] - square[a]));
}

static void number(struct table *t, const pd_column *c)
{
	pd_balance *b = &t->row[t->n_rows++];

	*b = (pd_balance){ .name = c->name };
	moments(t, c->real, NULL, b->mean, b->sd);
	moments(t, c->real, t->weight, b->weighted_mean, b->weighted_sd);
	differences(b);
	if (b->sd[0] > 0)
		b->ratio_before = b->sd[1] * b->sd[1] / (b->sd[0] * b->sd[0]);
	if (b->weighted_sd[0] > 0)
		b->ratio_after = b->weighted_sd[1] * b->weighted_sd[1] /
		                 (b->weighted_sd[0] * b->weighted_sd[0]);
}

static void share(struct table *t, const char *name, const char *level,
                  const double before[2], const double after[2])
{
	pd_balance *b = &t->row[t->n_rows++];

	*b = (pd_balance){ .name = name, .level = level };
	for (int a = 0; a < 2; a++) {
		b->mean[a] = before[a];
		b->weighted_mean[a] = after[a];
		b->sd[a] = sqrt(before[a] * (1 - before[a]));
		b->weighted_sd[a] = sqrt(fmax(0, after[a] * (1 - after[a])));
	}
	differences(b);
}

/* ---- factors ---------------------------------------------------------- */

/*
 * d' S^- d over k shares; infinite when d has a part that S knows no spread
 * of. The shares of each arm sum to 1, so that S never has full rank.
 */
static pd_status distance(const double *p1, const double *p0, size_t k,
                          double *out, pd_error *err)
{
	gsl_matrix *s = gsl_matrix_calloc(k, k), *v = gsl_matrix_alloc(k, k);
	gsl_vector *e = gsl_vector_alloc(k);
	gsl_eigen_symmv_workspace *room = gsl_eigen_symmv_alloc(k);
	pd_status st = PD_OK;

	if (!s || !v || !e || !room)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < k && st == PD_OK; i++)
		for (size_t j = 0; j < k; j++)
			gsl_matrix_set(s, i, j, 0.5 *
			               ((i == j) * (p1[i] + p0[i]) -
			                p1[i] * p1[j] - p0[i] * p0[j]));
	if (st == PD_OK && gsl_eigen_symmv(s, e, v, room))
		st = pd_fail(err, PD_NUMERIC, "the spread of a factor's levels "
		             "cannot be analysed");
	*out = 0;
	for (size_t j = 0; j < k && st == PD_OK; j++) {
		double part = 0;

		for (size_t i = 0; i < k; i++)
			part += gsl_matrix_get(v, i, j) * (p1[i] - p0[i]);
		if (gsl_vector_get(e, j) > FLAT)
			*out += part * part / gsl_vector_get(e, j);
		else if (fabs(part) > SAME)
			*out = INFINITY;
	}
	*out = sqrt(*out);
	gsl_eigen_symmv_free(room);
	gsl_vector_free(e);
	gsl_matrix_free(v);
	gsl_matrix_free(s);
	return st;
}

/* p[4 * k]: shares of arm 0 and 1 before, then after. */
static void shares(const struct table *t, const pd_column *c, double *p)
{
	size_t k = c->n_levels;
	double rows[2] = { 0, 0 };

	for (size_t i = 0; i < t->n; i++)
		rows[t->arm[i]] += 1;
	for (size_t i = 0; i < t->n; i++) {
		size_t a = (size_t)t->arm[i], at = (size_t)c->code[i];

		p[a * k + at] += 1;
		p[(2 + a) * k + at] += t->weight[i];
	}
	for (size_t at = 0; at < 2 * k; at++) {
		p[at] /= rows[at / k];
		p[2 * k + at] /= t->side[at / k].sum;
	}
}

static pd_status whole(struct table *t, const pd_column *c, const double *p,
                       pd_error *err)
{
	size_t k = c->n_levels;
	pd_balance *b = &t->row[t->n_rows++];
	pd_status st;

	*b = (pd_balance){ c->name, NULL, { NAN, NAN }, { NAN, NAN },
	                   { NAN, NAN }, { NAN, NAN }, 0, 0, NAN, NAN, NAN };
	st = distance(p + k, p, k, &b->before, err);
	if (st == PD_OK)
		st = distance(p + 3 * k, p + 2 * k, k, &b->after, err);
	return st;
}

static pd_status factor(struct table *t, const pd_column *c, pd_error *err)
{
	size_t k = c->n_levels;
	double *p = calloc(4 * k + 1, sizeof *p);
	pd_status st = PD_OK;

	if (!p)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	shares(t, c, p);
	if (k > 2)
		st = whole(t, c, p, err);
	for (size_t j = k == 2; j < k && st == PD_OK; j++)
		share(t, c->name, c->level[j],
		      (double[]){ p[j], p[k + j] },
		      (double[]){ p[2 * k + j], p[3 * k + j] });
	free(p);
	return st;
}

static int is_share(const pd_column *c, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (c->real[i] != 0 && c->real[i] != 1)
			return 0;
	return 1;
}

static void yes_no(struct table *t, const pd_column *c)
{
	double before[2] = { 0, 0 }, after[2] = { 0, 0 }, rows[2] = { 0, 0 };

	for (size_t i = 0; i < t->n; i++) {
		int a = t->arm[i];

		rows[a] += 1;
		before[a] += c->real[i];
		after[a] += t->weight[i] * c->real[i];
	}
	for (int a = 0; a < 2; a++) {
		before[a] /= rows[a];
		after[a] /= t->side[a].sum;
	}
	share(t, c->name, NULL, before, after);
}

/* ---- the table -------------------------------------------------------- */

static pd_status lines(struct table *t, const pd_column *c, pd_error *err)
{
	pd_status st = look_column(c, t->n, err);

	if (st != PD_OK)
		return st;
	if (c->kind == PD_FACTOR)
		return factor(t, c, err);
	if (is_share(c, t->n))
		yes_no(t, c);
	else
		number(t, c);
	const pd_balance *b = &t->row[t->n_rows - 1];
	const double made[] = { b->mean[0], b->mean[1], b->sd[0], b->sd[1],
	                        b->weighted_mean[0], b->weighted_mean[1],
	                        b->weighted_sd[0], b->weighted_sd[1] };

	return pd_check_results(made, sizeof made / sizeof *made, err);
}

pd_status pd_balance_table(const pd_column *const *column, size_t n_columns,
                           const int32_t *arm, const double *weight, size_t n,
                           pd_balance **out, size_t *n_out, pd_error *err)
{
	struct table t = { .arm = arm, .weight = weight, .n = n };
	size_t most = 1;
	pd_status st;

	pd_base_init();
	*out = NULL;
	*n_out = 0;
	st = look_weights(&t, err);
	if (st != PD_OK)
		return st;
	for (size_t j = 0; j < n_columns; j++)
		most += column[j]->kind == PD_REAL ? 1
		                                   : column[j]->n_levels + 1;
	t.row = calloc(most, sizeof *t.row);
	if (!t.row)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < n_columns && st == PD_OK; j++)
		st = lines(&t, column[j], err);
	if (st != PD_OK) {
		free(t.row);
		return st;
	}
	*out = t.row;
	*n_out = t.n_rows;
	return PD_OK;
}
