/*
 * robust_cluster_nested.c - the coefficients of a nested model under a
 * covariance that does not lean on the model: W = V^-1, working covariance V.
 * F = V W X = X and M = B here.
 */
#include "stats/nested_kernel.h"
#include "stats/nested_rows.h"
#include "stats/robust_cluster_own.h"

#include <stdlib.h>

enum { LONGEST = 2000 };

/* Every outermost group in one cluster? */
static pd_status whole(const struct pd_nested *m, const int32_t *cluster,
                       pd_arena *work, pd_error *err)
{
	size_t groups = m->level[0].n_groups;
	size_t *first = PD_NEW(work, size_t, groups);

	if (!first)
		return pd_fail(err, PD_NO_MEMORY, "no memory for clusters");
	for (size_t i = 0; i < m->n; i++) {
		size_t *at = &first[m->level[0].row_group[i]];

		if (*at == 0)
			*at = i + 1;
		else if (cluster[*at - 1] != cluster[i])
			return pd_fail(err, PD_DATA, "row %zu: its outermost "
			               "group lies in two clusters, expected "
			               "clusters of whole groups", i + 1);
	}
	return PD_OK;
}

/* V of the rows row[n], s^2 = 1 */
static void block(const struct pd_nested *m, const size_t *row, size_t n,
                  double *v)
{
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j <= i; j++) {
			double s = i == j ? 1.0 : 0.0;

			for (size_t k = 0; k < m->depth; k++) {
				const struct pd_level *lv = &m->level[k];
				double x[PD_NESTED_BLOCK], y[PD_NESTED_BLOCK];

				if (lv->row_group[row[i]] !=
				    lv->row_group[row[j]])
					break; /* nor any level below */
				rows_of(lv, m->random + row[i] * m->r, 1, x);
				rows_of(lv, m->random + row[j] * m->r, 1, y);
				s += pd_form(x, lv->T, lv->q, y, lv->q);
			}
			v[i * n + j] = v[j * n + i] = s;
		}
}

static void fill(const struct pd_nested *m, const struct pd_rows *rows,
                 const size_t *row, size_t n, struct pd_cluster_rows *c)
{
	size_t p = m->p;

	c->n = n;
	for (size_t i = 0; i < n; i++) {
		memcpy(c->x + i * p, m->rows + row[i] * m->ld,
		       p * sizeof *c->x);
		memcpy(c->wx + i * p, rows->vw + row[i] * m->ld,
		       p * sizeof *c->x);
		c->e[i] = rows->raw[row[i]];
	}
	block(m, row, n, c->v);
}

static pd_status clusters(const struct pd_nested *m,
                          const struct pd_rows *rows, pd_arena *work,
                          const struct pd_cluster_sort *sort,
                          struct pd_clustered *r, pd_error *err)
{
	size_t n = sort->longest, p = m->p;
	struct pd_cluster_rows c = { .n = 0 };
	pd_status st = PD_OK;

	c.x = PD_NEW(work, double, 2 * n * p + n);
	c.v = PD_NEW(work, double, n * n);
	if (!c.x || !c.v)
		return pd_fail(err, PD_NO_MEMORY, "no memory for a cluster of "
		               "%zu rows", n);
	c.fx = c.x;
	c.wx = c.x + n * p;
	c.e = c.wx + n * p;
	for (size_t g = 0; st == PD_OK && g < sort->clusters; g++) {
		fill(m, rows, sort->row + sort->start[g],
		     sort->start[g + 1] - sort->start[g], &c);
		st = pd_cluster_adjust(r, &c, &r->part[g], err);
	}
	return st;
}

static pd_status make(struct pd_nested *m, const struct pd_cluster_sort *sort,
                      pd_arena *work, struct pd_clustered *r, pd_error *err)
{
	struct pd_rows rows;
	size_t p = m->p;
	pd_status st = pd_rows_make(m, work, &rows, err);

	if (st != PD_OK)
		return st;
	pd_chol_inverse(rows.chol, p, p, r->bread);
	memcpy(r->model, r->bread, p * p * sizeof *r->bread);
	memcpy(r->u, m->u, p * p * sizeof *r->u);
	memcpy(r->beta, m->beta, p * sizeof *r->beta);
	r->y_scale = m->y_scale;
	st = clusters(m, &rows, work, sort, r, err);
	if (st == PD_OK)
		pd_clustered_finish(r);
	return st;
}

/* The outermost groups as codes. */
static const int32_t *groups_of(const struct pd_nested *m, pd_arena *work)
{
	int32_t *code = PD_NEW(work, int32_t, m->n);

	for (size_t i = 0; code && i < m->n; i++)
		code[i] = (int32_t)m->level[0].row_group[i];
	return code;
}

pd_status pd_clustered_nested(pd_nested *m, const int32_t *cluster,
                              pd_clustered **out, pd_error *err)
{
	pd_arena *work = pd_arena_new();
	struct pd_cluster_sort sort;
	struct pd_clustered *r = NULL;
	pd_status st = PD_OK;

	*out = NULL;
	if (m->depth == 0 || !m->fitted)
		st = pd_fail(err, PD_USAGE, "clusters of a mixed model need "
		             "levels and a fit");
	else if (!work)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for clusters");
	else if (cluster)
		st = whole(m, cluster, work, err);
	else if (!(cluster = groups_of(m, work)))
		st = pd_fail(err, PD_NO_MEMORY, "no memory for clusters");
	if (st == PD_OK)
		st = pd_cluster_sort(work, cluster, m->n, &sort, err);
	if (st == PD_OK && sort.longest > LONGEST)
		st = pd_fail(err, PD_REFUSED, "a cluster of %zu rows, at most "
		             "%d", sort.longest, LONGEST);
	if (st == PD_OK) {
		r = pd_clustered_start(m->p, sort.clusters);
		st = r ? make(m, &sort, work, r, err) :
		     pd_fail(err, PD_NO_MEMORY, "no memory for clusters");
	}
	if (st == PD_OK)
		*out = r;
	else
		pd_clustered_free(r);
	pd_arena_free(work);
	return st;
}
