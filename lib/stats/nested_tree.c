/*
 * nested_tree.c - from group codes to the tree, and the one pass over the
 * rows that makes every sum the likelihood needs. Letters: nested_tree.h.
 */
#include "stats/nested_kernel.h"

#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

/* ---- room --------------------------------------------------------------- */

struct pd_room {
	struct pd_room *older;
	void *at;
	size_t size;
};

enum { PAGE = 2 << 20 }; /* a large one */

double *pd_tree_room(struct pd_nested *m, size_t n)
{
#if defined(MAP_ANONYMOUS) && defined(MADV_HUGEPAGE)
	if (n >= PAGE / 2 / sizeof(double) &&
	    n < SIZE_MAX / 2 / sizeof(double)) {
		struct pd_room *room = PD_NEW(m->arena, struct pd_room, 1);
		size_t size = n * sizeof(double);
		void *at;

		if (size % PAGE >= PAGE / 2) /* more than half of one: all */
			size += PAGE - size % PAGE;
		at = room ? mmap(NULL, size, PROT_READ | PROT_WRITE,
		                 MAP_PRIVATE | MAP_ANONYMOUS, -1, 0) :
		            MAP_FAILED;
		if (at == MAP_FAILED)
			return NULL;
		madvise(at, size, MADV_HUGEPAGE); /* or do without */
		*room = (struct pd_room){ m->large, at, size };
		m->large = room;
		return at;
	}
#endif
	return PD_NEW(m->arena, double, n);
}

void pd_tree_free(struct pd_nested *m)
{
	for (struct pd_room *r = m->large; r; r = r->older)
		munmap(r->at, r->size);
	m->large = NULL;
}

/* ---- groups ------------------------------------------------------------- */

static int cmp_code(const void *a, const void *b)
{
	int32_t x = *(const int32_t *)a, y = *(const int32_t *)b;

	return (x > y) - (x < y);
}

/* Codes used, ascending and without repeats, from a sorted copy. */
static size_t distinct(int32_t *code, size_t n)
{
	size_t k = 0;

	qsort(code, n, sizeof *code, cmp_code);
	for (size_t i = 0; i < n; i++)
		if (k == 0 || code[i] != code[k - 1])
			code[k++] = code[i];
	return k;
}

/* row_group by a table over the codes, where the largest code allows it. */
static size_t number_by_table(const int32_t *code, size_t n, size_t size,
                              uint32_t *table, uint32_t *row_group)
{
	uint32_t next = 0;

	for (size_t i = 0; i < n; i++)
		table[code[i]] = 1;
	for (size_t c = 0; c < size; c++)
		if (table[c])
			table[c] = next++;
	for (size_t i = 0; i < n; i++)
		row_group[i] = table[code[i]];
	return next;
}

static size_t number_by_sorting(const int32_t *code, size_t n, int32_t *sorted,
                                uint32_t *row_group)
{
	size_t k;

	memcpy(sorted, code, n * sizeof *code);
	k = distinct(sorted, n);
	for (size_t i = 0; i < n; i++) {
		const int32_t *at = bsearch(&code[i], sorted, k, sizeof *code,
		                            cmp_code);

		row_group[i] = (uint32_t)(at - sorted);
	}
	return k;
}

/* Groups of one level numbered 0.. in ascending order of code. */
static pd_status number(struct pd_nested *m, struct pd_level *lv,
                        const int32_t *code, pd_error *err)
{
	size_t n = m->n;
	int32_t largest = 0;
	void *room;

	for (size_t i = 0; i < n; i++) {
		if (code[i] < 0)
			return pd_fail(err, PD_DATA, "level %zu, row %zu: "
			               "group code %ld, expected 0 or more",
			               (size_t)(lv - m->level) + 1, i + 1,
			               (long)code[i]);
		if (code[i] > largest)
			largest = code[i];
	}
	if ((size_t)largest < 16 * n + 1024)
		room = calloc((size_t)largest + 1, sizeof(uint32_t));
	else
		room = calloc(n, sizeof(int32_t));
	lv->row_group = PD_NEW(m->arena, uint32_t, n);
	if (!room || !lv->row_group) {
		free(room);
		return pd_fail(err, PD_NO_MEMORY, "no memory for groups");
	}
	if ((size_t)largest < 16 * n + 1024)
		lv->n_groups = number_by_table(code, n, (size_t)largest + 1,
		                               room, lv->row_group);
	else
		lv->n_groups = number_by_sorting(code, n, room, lv->row_group);
	free(room);
	return PD_OK;
}

/* Each group must lie inside one group of the level above. */
static pd_status nest(struct pd_nested *m, size_t k, pd_error *err)
{
	struct pd_level *lv = &m->level[k], *up = lv - 1;

	lv->group_parent = PD_NEW(m->arena, uint32_t, lv->n_groups);
	if (!lv->group_parent)
		return pd_fail(err, PD_NO_MEMORY, "no memory for groups");
	memset(lv->group_parent, 0xff, lv->n_groups * sizeof(uint32_t));
	for (size_t i = 0; i < m->n; i++) {
		uint32_t *parent = &lv->group_parent[lv->row_group[i]];

		if (*parent == UINT32_MAX)
			*parent = up->row_group[i];
		else if (*parent != up->row_group[i])
			return pd_fail(err, PD_DATA, "row %zu: its group of "
			               "level %zu lies in two groups of level "
			               "%zu, expected nested groups", i + 1,
			               k + 1, k);
	}
	return PD_OK;
}

/* Are all random columns of x among those of y? */
static bool among(const struct pd_level *x, const struct pd_level *y)
{
	for (size_t i = 0; i < x->q; i++) {
		size_t j = 0;

		while (j < y->q && y->col[j] != x->col[i])
			j++;
		if (j == y->q)
			return false;
	}
	return true;
}

/* Levels whose variance no data could tell apart from another's. */
static pd_status distinguishable(const struct pd_nested *m, size_t k,
                                 pd_error *err)
{
	const struct pd_level *lv = &m->level[k];

	if (lv->n_groups < 2)
		return pd_fail(err, PD_REFUSED, "level %zu has a single "
		               "group, expected at least 2", k + 1);
	if (lv->n_groups == m->n)
		return pd_fail(err, PD_REFUSED, "level %zu has one row a "
		               "group: its variance cannot be told from the "
		               "residual's", k + 1);
	if (k > 0 && lv->n_groups == lv[-1].n_groups &&
	    (among(lv, lv - 1) || among(lv - 1, lv)))
		return pd_fail(err, PD_REFUSED, "levels %zu and %zu have the "
		               "same groups: their variances cannot be told "
		               "apart", k, k + 1);
	return PD_OK;
}

pd_status pd_tree_groups(struct pd_nested *m, const pd_nested_spec *spec,
                         pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < m->depth; k++) {
		st = number(m, &m->level[k], spec->group[k], err);
		if (st == PD_OK && k > 0)
			st = nest(m, k, err);
		if (st == PD_OK)
			st = distinguishable(m, k, err);
	}
	return st;
}

/* C and B of each leaf, columns >= from of B only. */
static void leaf_sums(struct pd_nested *m, size_t from)
{
	struct pd_level *lv = &m->level[m->depth - 1];
	size_t r = m->r, ld = m->ld, step = r * r + r * ld;
	size_t first = from / 4 * 4;

	for (size_t g = 0; from > 0 && g < lv->n_groups; g++)
		for (size_t a = 0; a < r; a++)
			memset(lv->group_first + g * step + r * r + a * ld +
			       first, 0, (ld - first) * sizeof(double));
	for (size_t i = 0; i < m->n; i++) {
		const double *z = m->random + i * r, *x = m->rows + i * ld;
		double *leaf = lv->group_first + lv->row_group[i] * step;

		for (size_t a = 0; a < r; a++) {
			row_add(leaf + r * r + a * ld + first, z[a], x + first,
			        ld - first);
			for (size_t c = 0; from == 0 && c < r; c++)
				leaf[a * r + c] += z[a] * z[c];
		}
	}
}

enum { BATCH = 128 }; /* leaves whose sums are made together */

/* Doubles a level's work takes; given `at`, its parts are laid out there. */
static size_t level_room(const struct pd_nested *m, struct pd_level *lv,
                         double *at)
{
	size_t r = m->r, rr = r * r, q = lv->q, ld = m->ld, all = 0;
	size_t ns = lv->s.n, nn = lv->n_nodes;
	size_t sums = lv->presummed ? ns * q * q * ld * ld : 0;
	bool deepest = lv + 1 == m->level + m->depth;
	struct pd_shapes *s = &lv->s;
	struct { double **at; size_t n; } room[] = {
		{ &s->d, ns * q * q }, { &s->f, ns * rr }, { &s->cn, ns * rr },
		{ &s->omega, ns * rr }, { &s->dc, ns * rr },
		{ &s->dd, ns * q * q }, { &s->df, ns * rr },
		{ &s->dcn, ns * rr }, { &s->domega, ns * rr },
		{ &lv->weight, nn }, { &lv->b, nn * r * ld },
		{ &lv->h, nn * q * ld }, { &lv->db, nn * r * ld },
		{ &lv->dh, r > 1 ? nn * q * ld : 0 },
		{ &lv->e, deepest ? 0 : nn * r * ld },
		{ &lv->de, deepest ? 0 : nn * r * ld }, { &lv->total, sums },
		{ &lv->within, sums },
		{ &lv->batch, lv->presummed ? 2 * BATCH * q * ld : 0 },
	};

	for (size_t i = 0; i < sizeof room / sizeof *room; i++) {
		if (at)
			*room[i].at = at + all;
		all += room[i].n;
	}
	if (at && r == 1)
		lv->dh = lv->db; /* nested_tangent.c writes one over the other */
	return all;
}

/* The work of all levels in one piece. */
static bool work_room(struct pd_nested *m)
{
	size_t all = 0;
	double *at;

	for (size_t k = 0; k < m->depth; k++)
		all += level_room(m, &m->level[k], NULL);
	at = pd_tree_room(m, all);
	for (size_t k = 0; at && k < m->depth; k++)
		at += level_room(m, &m->level[k], at);
	return at != NULL;
}

/* Leaves in order of shape. */
static bool by_shape(struct pd_nested *m, struct pd_level *lv)
{
	uint32_t *start = calloc(lv->s.n + 1, sizeof *start);
	bool ok;

	lv->order = PD_NEW(m->arena, uint32_t, lv->n_groups);
	ok = start && lv->order;
	for (size_t s = 0; ok && s < lv->s.n; s++)
		start[s + 1] = start[s] + (uint32_t)lv->s.count[s];
	for (size_t g = 0; ok && g < lv->n_groups; g++)
		lv->order[start[lv->shape[lv->bundle[g]]]++] = (uint32_t)g;
	free(start);
	return ok;
}

pd_status pd_tree_grow(struct pd_nested *m, pd_error *err)
{
	bool ok = true;

	if (m->depth > 0) {
		struct pd_level *leaves = &m->level[m->depth - 1];

		leaves->group_first =
			pd_tree_room(m, leaves->n_groups *
			             (m->r * m->r + m->r * m->ld));
		ok = leaves->group_first != NULL;
		if (ok) {
			leaf_sums(m, 0);
			ok = pd_shape_leaves(m);
		}
	}
	for (size_t k = m->depth; ok && k-- > 0;)
		ok = k + 1 == m->depth || pd_shape_upper(m, k);
	ok = ok && (m->depth == 0 || work_room(m));
	if (ok && m->depth > 0 && m->level[m->depth - 1].presummed)
		ok = by_shape(m, &m->level[m->depth - 1]);
	if (!ok)
		return pd_fail(err, PD_NO_MEMORY, "no memory for the tree of "
		               "%zu rows", m->n);
	pd_tree_sums(m, 0);
	return PD_OK;
}

/*
 * Sums of columns >= from begin at the block of four that `from` lies in: what
 * lies before it in that block comes out as it was.
 */

/* Mean B of each bundle. */
static void bundle_means(struct pd_nested *m, struct pd_level *lv, size_t from)
{
	size_t r = m->r, ld = m->ld, step = r * r + r * ld;
	size_t first = from / 4 * 4;

	for (size_t i = 0; i < lv->n_nodes * r; i++)
		memset(lv->b + i * ld + first, 0,
		       (ld - first) * sizeof(double));
	for (size_t g = 0; g < lv->n_groups; g++) {
		const double *leaf = lv->group_first + g * step + r * r;
		double *b = lv->b + lv->bundle[g] * r * ld;
		double share = lv->mult ? 1.0 / lv->mult[lv->bundle[g]] : 1.0;

		for (size_t a = 0; a < r; a++)
			row_add(b + a * ld + first, share,
			        leaf + a * ld + first, ld - first);
	}
}

/* The leaves of some bundles, all of one shape, into its sums: B_S of each in
 * x, about its bundle's mean in about (q*ld a leaf). */
static void add_leaves(struct pd_level *lv, size_t shape, const double *x,
                       const double *about, size_t n, size_t ld)
{
	size_t q = lv->q, ll = ld * ld;

	for (size_t i = 0; i < q; i++)
		for (size_t j = 0; j < q; j++) {
			size_t at = ((shape * q + i) * q + j) * ll;

			pd_cross_add(lv->total + at, x + i * ld, q * ld,
			             x + j * ld, q * ld, NULL, n, ld);
			pd_cross_add(lv->within + at, about + i * ld, q * ld,
			             about + j * ld, q * ld, NULL, n, ld);
		}
}

/*
 * total[s][i][j] = sum over the leaves of shape s of B_i' B_j (rows i, j of
 * B_S), and within[s][i][j] the same about the bundle means.
 */
static void presum(struct pd_nested *m, struct pd_level *lv)
{
	size_t q = lv->q, ld = m->ld, r = m->r, step = r * r + r * ld, n = 0;
	size_t size = lv->s.n * q * q * ld * ld * sizeof(double), s;
	double *x = lv->batch, *about = x + BATCH * q * ld;

	memset(lv->total, 0, size);
	memset(lv->within, 0, size);
	for (size_t k = 0; k < lv->n_groups; k++) {
		size_t g = lv->order[k], at = lv->bundle[g];
		const double *leaf = lv->group_first + g * step + r * r;
		const double *mean = lv->b + at * r * ld;

		s = lv->shape[at];
		for (size_t i = 0; i < q; i++)
			for (size_t j = 0; j < ld; j++) {
				size_t c = lv->col[i] * ld + j;

				x[(n * q + i) * ld + j] = leaf[c];
				about[(n * q + i) * ld + j] = leaf[c] - mean[c];
			}
		if (++n < BATCH && k + 1 < lv->n_groups &&
		    lv->shape[lv->bundle[lv->order[k + 1]]] == s)
			continue;
		add_leaves(lv, s, x, about, n, ld);
		n = 0;
	}
}

/* W'W, column p and row p only where from > 0. */
static void cross_sums(struct pd_nested *m, size_t from)
{
	size_t ld = m->ld;

	if (from == 0) {
		memset(m->cross, 0, ld * ld * sizeof *m->cross);
		pd_cross_add(m->cross, m->rows, ld, m->rows, ld, NULL, m->n,
		             ld);
		return;
	}
	memset(m->vec, 0, ld * sizeof *m->vec);
	pd_column_add(m->vec, m->rows, m->n, from, ld);
	for (size_t j = 0; j < ld; j++)
		m->cross[j * ld + from] = m->cross[from * ld + j] = m->vec[j];
}

void pd_tree_sums(struct pd_nested *m, size_t from)
{
	if (from > 0 || !m->have_cross)
		cross_sums(m, from);
	if (m->depth == 0)
		return;
	if (from > 0)
		leaf_sums(m, from);
	bundle_means(m, &m->level[m->depth - 1], from);
	if (m->level[m->depth - 1].presummed)
		presum(m, &m->level[m->depth - 1]);
}
