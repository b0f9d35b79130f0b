/*
 * crossed_build.c - the nodes of a tree in preorder, the columns of W each of
 * them touches, and the sums that do not move with the parameters. Letters:
 * crossed_border.h.
 */
#include "stats/crossed_border.h"

#include <stdlib.h>
#include <string.h>

/* What is needed only while building; counts are one longer than named. */
struct plan {
	const struct pd_nested *m;
	struct pd_border *s;
	size_t *child_at[PD_NESTED_LEVELS];   /* groups: first child         */
	uint32_t *child[PD_NESTED_LEVELS];    /* groups one level down       */
	uint32_t *leaf_node;   /* node of each deepest group                 */
	size_t *row_at;        /* nodes + 1: rows of a leaf node             */
	size_t *low, *high;    /* nodes: its rows in `row`                   */
	uint32_t *row;         /* n: rows, leaf by leaf in preorder          */
	uint32_t *stamp;       /* rc: node that saw the column last, + 1     */
};

/* Children of the groups of level k, in order of code. */
static bool list_children(struct plan *b, pd_arena *arena, size_t k)
{
	const struct pd_level *lv = &b->m->level[k], *in = lv + 1;
	size_t *at = PD_NEW(arena, size_t, lv->n_groups + 2);
	uint32_t *child = PD_NEW(arena, uint32_t, in->n_groups);

	b->child_at[k] = at;
	b->child[k] = child;
	if (!at || !child)
		return false;
	for (size_t g = 0; g < in->n_groups; g++)
		at[in->group_parent[g] + 2]++;
	for (size_t g = 2; g <= lv->n_groups + 1; g++)
		at[g] += at[g - 1];
	for (size_t g = 0; g < in->n_groups; g++)
		child[at[in->group_parent[g] + 1]++] = (uint32_t)g;
	return true;
}

static void grow(struct plan *b, size_t level, size_t group, size_t parent,
                 size_t root)
{
	struct pd_border *s = b->s;
	size_t me = s->n_nodes++;

	if (level == 0)
		parent = root = me;
	s->node[me] = (struct pd_border_node){
		.level = (uint32_t)level, .group = (uint32_t)group,
		.parent = (uint32_t)parent, .root = (uint32_t)root
	};
	if (level + 1 == s->n_tree) {
		b->leaf_node[group] = (uint32_t)me;
		return;
	}
	for (size_t c = b->child_at[level][group];
	     c < b->child_at[level][group + 1]; c++)
		grow(b, level + 1, b->child[level][c], me, root);
}

/* Rows leaf by leaf; every node's rows are then one stretch of them. */
static void order_rows(struct plan *b)
{
	const struct pd_level *leaves = &b->m->level[b->s->n_tree - 1];
	struct pd_border *s = b->s;

	for (size_t i = 0; i < b->m->n; i++)
		b->row_at[b->leaf_node[leaves->row_group[i]] + 1]++;
	for (size_t k = 0; k < s->n_nodes; k++)
		b->row_at[k + 1] += b->row_at[k];
	for (size_t k = 0; k < s->n_nodes; k++) {
		b->low[k] = b->row_at[k];
		b->high[k] = b->row_at[k + 1];
	}
	for (size_t i = 0; i < b->m->n; i++) {
		size_t k = b->leaf_node[leaves->row_group[i]];

		b->row[b->row_at[k]++] = (uint32_t)i;
	}
	for (size_t k = s->n_nodes; k-- > 0;)
		if (s->node[k].parent != k &&
		    b->high[s->node[k].parent] < b->high[k])
			b->high[s->node[k].parent] = b->high[k];
}

static int cmp_u32(const void *a, const void *b)
{
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

	return (x > y) - (x < y);
}

/* Columns of W under node k, ascending, into out; their number. */
static size_t touched(struct plan *b, size_t k, uint32_t *out)
{
	const struct pd_border *s = b->s;
	size_t n = 0;

	for (size_t i = b->low[k]; i < b->high[k]; i++)
		for (size_t j = 0; j < s->n_factors; j++) {
			size_t c = s->first[j] + s->code[j][b->row[i]];

			if (b->stamp[c] == k + 1)
				continue;
			b->stamp[c] = (uint32_t)k + 1;
			out[n++] = (uint32_t)c;
		}
	qsort(out, n, sizeof *out, cmp_u32);
	return n;
}

/* Where each of the columns of node k stands among those of node `of`. */
static void locate(const struct pd_border *s, size_t k, size_t of,
                   uint32_t *out)
{
	const struct pd_border_node *nd = &s->node[k], *up = &s->node[of];
	size_t at = 0;

	for (size_t i = 0; i < nd->n_touch; i++) {
		while (s->column[up->touch + at] != s->column[nd->touch + i])
			at++;
		out[nd->touch + i] = (uint32_t)at;
	}
}

/* Two rounds: how many, then which. */
static bool make_touches(struct plan *b, pd_arena *arena)
{
	struct pd_border *s = b->s;
	uint32_t *scratch = PD_NEW(arena, uint32_t, s->rc);
	size_t total = 0;

	if (!scratch)
		return false;
	for (size_t k = 0; k < s->n_nodes; k++) {
		s->node[k].touch = total;
		s->node[k].n_touch = (uint32_t)touched(b, k, scratch);
		total += s->node[k].n_touch;
		if (s->widest < b->m->w + s->node[k].n_touch)
			s->widest = b->m->w + s->node[k].n_touch;
	}
	s->column = PD_NEW(arena, uint32_t, total);
	s->in_parent = PD_NEW(arena, uint32_t, total);
	s->in_root = PD_NEW(arena, uint32_t, total);
	if (!s->column || !s->in_parent || !s->in_root)
		return false;
	memset(b->stamp, 0, s->rc * sizeof *b->stamp);
	for (size_t k = 0; k < s->n_nodes; k++) {
		touched(b, k, s->column + s->node[k].touch);
		locate(s, k, s->node[k].parent, s->in_parent);
		locate(s, k, s->node[k].root, s->in_root);
	}
	return true;
}

static bool node_room(const struct pd_nested *m, struct pd_border *s,
                      pd_arena *arena)
{
	size_t r = m->r, nn = s->n_nodes, nb = 0, nh = 0;
	size_t block = PD_MAX_BLOCK, deep = s->n_tree + 1;

	for (size_t k = 0; k < nn; k++) {
		struct pd_border_node *nd = &s->node[k];
		size_t q = m->level[nd->level].q;

		nd->b = nb;
		nd->h = nh;
		nb += r * (m->w + nd->n_touch);
		nh += q * (m->w + s->node[nd->root].n_touch);
	}
	struct { double **at; size_t n; } want[] = {
		{ &s->b, nb }, { &s->db, nb }, { &s->h, nh }, { &s->hn, nh },
		{ &s->c, nn * r * r }, { &s->c1, nn * r * r },
		{ &s->dc, nn * r * r }, { &s->dc1, nn * r * r },
		{ &s->d, nn * block }, { &s->g, nn * block },
		{ &s->dd, nn * block }, { &s->k, nn * block },
		{ &s->hp, nn * PD_NESTED_BLOCK * m->w },
		{ &s->e, deep * r * s->widest },
		{ &s->de, deep * r * s->widest },
		{ &s->o, deep * r * r }, { &s->od, deep * r * r },
		{ &s->gram, s->n_e * s->widest * s->widest },
		{ &s->wide, 4 * PD_NESTED_BLOCK * s->widest },
	};

	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(arena, double, want[i].n);
		if (!*want[i].at)
			return false;
	}
	return true;
}

static bool dense_room(const struct pd_nested *m, struct pd_border *s,
                       pd_arena *arena)
{
	size_t dd = s->dim * s->dim, rr = s->rc * s->rc, rw = s->rc * m->w;
	struct { double **at; size_t n; } want[] = {
		{ &s->cross, dd }, { &s->a, dd }, { &s->ae, s->n_e * dd },
		{ &s->n, rr }, { &s->u, rr }, { &s->cc, rr }, { &s->j, rw },
		{ &s->hc, rw }, { &s->x, s->n_e * rr }, { &s->y, s->n_e * rw },
		{ &s->z, s->n_e * rw },
		{ &s->t, 2 * rr + rw + s->rc + m->w },
	};

	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		*want[i].at = PD_NEW(arena, double, want[i].n);
		if (!*want[i].at)
			return false;
	}
	return true;
}

/* C and B of the leaves. */
static void leaf_sums(struct plan *b)
{
	const struct pd_nested *m = b->m;
	struct pd_border *s = b->s;
	size_t r = m->r, w = m->w;

	for (size_t k = 0; k < s->n_nodes; k++) {
		const struct pd_border_node *nd = &s->node[k];
		const uint32_t *column = s->column + nd->touch;
		size_t width = w + nd->n_touch;

		if (nd->level + 1 < s->n_tree)
			continue;
		for (size_t i = b->low[k]; i < b->high[k]; i++) {
			const double *z = m->random + b->row[i] * r;
			const double *x = m->rows + b->row[i] * m->ld;

			for (size_t a = 0; a < r; a++) {
				double *to = s->b + nd->b + a * width;

				for (size_t c = 0; c < r; c++)
					s->c[(k * r + a) * r + c] +=
						z[a] * z[c];
				for (size_t c = 0; c < w; c++)
					to[c] += z[a] * x[c];
			}
			for (size_t j = 0; j < s->n_factors; j++) {
				uint32_t c = (uint32_t)s->first[j] +
				             s->code[j][b->row[i]];
				const uint32_t *at =
					bsearch(&c, column, nd->n_touch,
					        sizeof c, cmp_u32);

				for (size_t a = 0; a < r; a++)
					s->b[nd->b + a * width + w +
					     (size_t)(at - column)] += z[a];
			}
		}
	}
}

/* [X y W]'[X y W], both triangles. */
static void cross_sums(const struct pd_nested *m, struct pd_border *s)
{
	size_t w = m->w, dim = s->dim;

	for (size_t i = 0; i < m->n; i++) {
		const double *x = m->rows + i * m->ld;

		for (size_t a = 0; a < w; a++)
			for (size_t c = 0; c <= a; c++)
				s->cross[a * dim + c] += x[a] * x[c];
		for (size_t j = 0; j < s->n_factors; j++) {
			double *to = s->cross +
				(w + s->first[j] + s->code[j][i]) * dim;

			for (size_t c = 0; c < w; c++)
				to[c] += x[c];
			for (size_t l = 0; l <= j; l++)
				to[w + s->first[l] + s->code[l][i]] += 1.0;
		}
	}
	for (size_t a = 0; a < dim; a++)
		for (size_t c = 0; c < a; c++)
			s->cross[c * dim + a] = s->cross[a * dim + c];
}

static bool grow_all(struct plan *b, pd_arena *arena, pd_arena *brief)
{
	struct pd_border *s = b->s;
	const struct pd_nested *m = b->m;
	size_t nodes = 0;

	for (size_t k = 0; k < s->n_tree; k++)
		nodes += m->level[k].n_groups;
	s->node = PD_NEW(arena, struct pd_border_node, nodes);
	b->leaf_node = PD_NEW(brief, uint32_t,
	                      m->level[s->n_tree - 1].n_groups);
	b->row_at = PD_NEW(brief, size_t, nodes + 1);
	b->low = PD_NEW(brief, size_t, nodes);
	b->high = PD_NEW(brief, size_t, nodes);
	b->row = PD_NEW(brief, uint32_t, m->n);
	b->stamp = PD_NEW(brief, uint32_t, s->rc);
	if (!s->node || !b->leaf_node || !b->row_at || !b->low || !b->high ||
	    !b->row || !b->stamp)
		return false;
	for (size_t k = 0; k + 1 < s->n_tree; k++)
		if (!list_children(b, brief, k))
			return false;
	for (size_t g = 0; g < m->level[0].n_groups; g++)
		grow(b, 0, g, 0, 0);
	order_rows(b);
	if (!make_touches(b, arena) || !node_room(m, s, arena))
		return false;
	leaf_sums(b);
	return true;
}

pd_status pd_border_new(const struct pd_nested *m, pd_arena *arena,
                        size_t n_tree, size_t n_factors,
                        const uint32_t *const *code, const size_t *n_levels,
                        struct pd_border **out, pd_error *err)
{
	struct pd_border *s = pd_arena_alloc(arena, 1, sizeof *s);
	pd_arena *brief = pd_arena_new();
	struct plan b = { .m = m, .s = s };
	bool ok = s && brief;

	for (size_t j = 0; ok && j < n_factors; j++) {
		s->code[j] = code[j];
		s->first[j + 1] = s->first[j] + n_levels[j];
	}
	if (ok) {
		s->n_tree = n_tree;
		s->n_factors = n_factors;
		s->rc = s->first[n_factors];
		s->dim = m->w + s->rc;
		s->widest = m->w;
		for (size_t k = 0; k < n_tree; k++)
			s->n_e += m->level[k].n_elements;
		ok = dense_room(m, s, arena) &&
		     (n_tree == 0 || grow_all(&b, arena, brief));
	}
	pd_arena_free(brief);
	if (!ok)
		return pd_fail(err, PD_NO_MEMORY, "no memory for %zu rows "
		               "with crossed factors", m->n);
	cross_sums(m, s);
	*out = s;
	return PD_OK;
}
