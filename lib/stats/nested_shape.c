/*
 * nested_shape.c - which nodes have the same C at every point, so that C, D
 * and what follows from them are worked out once for all of them.
 *
 * Leaves are of one shape when their C matrices are equal bit by bit (for
 * random intercepts: when they have equally many rows). An upper node's C is
 * made of its children's, so nodes are of one shape when their children's
 * shapes, counted, are the same. A few thousand cases with random intercepts
 * have a few hundred shapes; with random slopes on a measured column every
 * node is its own.
 */
#include "stats/nested_tree.h"

#include <stdlib.h>
#include <string.h>

static uint64_t mix(uint64_t h, uint64_t bits)
{
	h = (h ^ bits) * 0xff51afd7ed558ccdu;
	return h ^ (h >> 32);
}

static uint64_t bits_of(double x)
{
	uint64_t bits;

	memcpy(&bits, &x, sizeof bits);
	return bits;
}

/* A power of two, at least twice n. */
static size_t table_size(size_t n)
{
	size_t size = 16;

	while (size < 2 * n)
		size *= 2;
	return size;
}

/* ---- leaves ------------------------------------------------------------ */

static const double *leaf_c(const struct pd_nested *m, size_t g)
{
	return m->level[m->depth - 1].group_first +
	       g * (m->r * m->r + m->r * m->ld);
}

/* Shape of each leaf, numbered as met; example[shape] is one such leaf. */
static size_t find_leaf_shapes(const struct pd_nested *m, uint32_t *leaf_shape,
                               uint32_t *example, uint32_t *table, size_t size)
{
	size_t n = m->level[m->depth - 1].n_groups, rr = m->r * m->r;
	size_t found = 0;

	memset(table, 0xff, size * sizeof *table);
	for (size_t g = 0; g < n; g++) {
		const double *c = leaf_c(m, g);
		uint64_t h = 0;
		size_t at;

		for (size_t i = 0; i < rr; i++)
			h = mix(h, bits_of(c[i]));
		at = (size_t)h & (size - 1);
		while (table[at] != UINT32_MAX &&
		       memcmp(c, leaf_c(m, example[table[at]]),
		              rr * sizeof *c) != 0)
			at = (at + 1) & (size - 1);
		if (table[at] == UINT32_MAX) {
			example[found] = (uint32_t)g;
			table[at] = (uint32_t)found++;
		}
		leaf_shape[g] = table[at];
	}
	return found;
}

/* Nodes of a level sorted by parent: order[] of them. start: parents + 1. */
static void by_parent(const uint32_t *parent, size_t n, size_t n_parents,
                      uint32_t *start, uint32_t *order)
{
	memset(start, 0, (n_parents + 1) * sizeof *start);
	for (size_t g = 0; g < n; g++)
		start[(parent ? parent[g] : 0) + 1]++;
	for (size_t u = 0; u < n_parents; u++)
		start[u + 1] += start[u];
	for (size_t g = 0; g < n; g++)
		order[start[parent ? parent[g] : 0]++] = (uint32_t)g;
	for (size_t u = n_parents; u-- > 0;) /* back to where each begins */
		start[u + 1] = start[u];
	start[0] = 0;
}

/* Leaves of one shape under one parent, or single leaves where sums by shape
 * do not pay. last[shape] is the newest bundle of that shape. */
static void bundle(struct pd_level *lv, const uint32_t *leaf_shape,
                   const uint32_t *order, uint32_t *last)
{
	memset(last, 0xff, lv->n_groups * sizeof *last);
	for (size_t i = 0; i < lv->n_groups; i++) {
		uint32_t g = order[i], s = leaf_shape[g];
		uint32_t up = lv->group_parent ? lv->group_parent[g] : 0;

		if (!lv->presummed || last[s] == UINT32_MAX ||
		    lv->parent[last[s]] != up) {
			last[s] = (uint32_t)lv->n_nodes++;
			lv->parent[last[s]] = up;
			lv->shape[last[s]] = s;
		}
		lv->bundle[g] = last[s];
		lv->s.count[s] += 1.0;
		if (lv->presummed)
			lv->mult[last[s]] += 1.0;
	}
}

bool pd_shape_leaves(struct pd_nested *m)
{
	struct pd_level *lv = &m->level[m->depth - 1];
	size_t n = lv->n_groups, size = table_size(n), rr = m->r * m->r;
	size_t n_parents = m->depth > 1 ? lv[-1].n_groups : 1;
	uint32_t *work = calloc(3 * n + size + n_parents + 1, sizeof *work);
	uint32_t *leaf_shape = work, *order = work + n, *last = work + 2 * n;

	lv->bundle = PD_NEW(m->arena, uint32_t, n);
	lv->parent = PD_NEW(m->arena, uint32_t, n);
	lv->shape = PD_NEW(m->arena, uint32_t, n);
	lv->s.c = PD_NEW(m->arena, double, n * rr);
	lv->s.count = PD_NEW(m->arena, double, n);
	if (!work || !lv->bundle || !lv->parent || !lv->shape || !lv->s.c ||
	    !lv->s.count) {
		free(work);
		return false;
	}
	lv->s.n = find_leaf_shapes(m, leaf_shape, last, work + 3 * n, size);
	for (size_t s = 0; s < lv->s.n; s++)
		memcpy(lv->s.c + s * rr, leaf_c(m, last[s]),
		       rr * sizeof(double));
	lv->presummed = lv->s.n * 4 <= n;
	if (lv->presummed)
		lv->mult = PD_NEW(m->arena, double, n);
	by_parent(lv->group_parent, n, n_parents, work + 3 * n, order);
	if (!lv->presummed || lv->mult)
		bundle(lv, leaf_shape, order, last);
	free(work);
	return !lv->presummed || lv->mult;
}

/* ---- upper levels ------------------------------------------------------- */

struct part {
	uint32_t shape;
	double times;
};

static int cmp_part(const void *a, const void *b)
{
	uint32_t x = ((const struct part *)a)->shape;
	uint32_t y = ((const struct part *)b)->shape;

	return (x > y) - (x < y);
}

/* The children of one node by shape, ascending, counted. */
static size_t list_parts(const struct pd_level *below, const uint32_t *child,
                         size_t n, struct part *part)
{
	size_t k = 0;

	for (size_t i = 0; i < n; i++) {
		part[i].shape = below->shape[child[i]];
		part[i].times = below->mult ? below->mult[child[i]] : 1.0;
	}
	qsort(part, n, sizeof *part, cmp_part);
	for (size_t i = 0; i < n; i++)
		if (k > 0 && part[k - 1].shape == part[i].shape)
			part[k - 1].times += part[i].times;
		else
			part[k++] = part[i];
	return k;
}

static bool same_parts(const struct pd_shapes *s, size_t i,
                       const struct part *part, size_t k)
{
	size_t from = s->start[i];

	if (s->start[i + 1] - from != k)
		return false;
	for (size_t j = 0; j < k; j++)
		if (s->child[from + j] != part[j].shape ||
		    s->times[from + j] < part[j].times ||
		    s->times[from + j] > part[j].times)
			return false;
	return true;
}

/* The shape made of these parts, added when it is new. */
static uint32_t shape_of(struct pd_shapes *s, const struct part *part,
                         size_t k, uint32_t *table, size_t size)
{
	uint64_t h = k;
	size_t at, from;

	for (size_t j = 0; j < k; j++)
		h = mix(mix(h, part[j].shape), bits_of(part[j].times));
	at = (size_t)h & (size - 1);
	while (table[at] != UINT32_MAX && !same_parts(s, table[at], part, k))
		at = (at + 1) & (size - 1);
	if (table[at] != UINT32_MAX)
		return table[at];
	from = s->start[s->n];
	for (size_t j = 0; j < k; j++) {
		s->child[from + j] = part[j].shape;
		s->times[from + j] = part[j].times;
	}
	table[at] = (uint32_t)s->n++;
	s->start[s->n] = from + k;
	return table[at];
}

static bool upper_room(struct pd_nested *m, struct pd_level *lv)
{
	size_t n = lv->n_groups, children = lv[1].n_nodes;

	lv->n_nodes = n;
	lv->parent = lv->group_parent ? lv->group_parent :
	                                PD_NEW(m->arena, uint32_t, n);
	lv->shape = PD_NEW(m->arena, uint32_t, n);
	lv->s.c = PD_NEW(m->arena, double, n * m->r * m->r);
	lv->s.count = PD_NEW(m->arena, double, n);
	lv->s.start = PD_NEW(m->arena, size_t, n + 1);
	lv->s.child = PD_NEW(m->arena, uint32_t, children);
	lv->s.times = PD_NEW(m->arena, double, children);
	return lv->parent && lv->shape && lv->s.c && lv->s.count &&
	       lv->s.start && lv->s.child && lv->s.times;
}

bool pd_shape_upper(struct pd_nested *m, size_t k)
{
	struct pd_level *lv = &m->level[k], *below = lv + 1;
	size_t n = lv->n_groups, children = below->n_nodes;
	size_t size = table_size(n);
	uint32_t *table = calloc(size, sizeof *table);
	uint32_t *start = calloc(n + 1 + children, sizeof *start);
	struct part *part = calloc(children, sizeof *part);
	bool ok = upper_room(m, lv) && table && start && part;

	if (ok) {
		uint32_t *order = start + n + 1;

		memset(table, 0xff, size * sizeof *table);
		by_parent(below->parent, children, n, start, order);
		for (size_t g = 0; g < n; g++) {
			size_t parts = list_parts(below, order + start[g],
			                          start[g + 1] - start[g],
			                          part);

			lv->shape[g] = shape_of(&lv->s, part, parts, table,
			                        size);
			lv->s.count[lv->shape[g]] += 1.0;
		}
	}
	free(table);
	free(start);
	free(part);
	return ok;
}
