/*
 * frame.c - columns in an arena, levels found through an open-addressing
 * table a factor. Columns are few, so names are searched one by one.
 */
#include "base/frame.h"
#include "base/arena.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A column and what only this room needs to know about it. */
struct slot {
	pd_column c; /* first: a pd_column * of ours is a struct slot *       */
	int32_t *table;   /* level codes by hash, -1 where free               */
	size_t table_size; /* a power of two, 0 before the first level        */
	size_t level_room;
	struct slot *next;
};

struct pd_frame {
	pd_arena *arena;
	size_t n_rows, n_columns;
	struct slot *first, *last;
};

pd_frame *pd_frame_new(size_t n_rows)
{
	pd_frame *f = calloc(1, sizeof *f);

	if (!f)
		return NULL;
	f->n_rows = n_rows;
	f->arena = pd_arena_new();
	if (!f->arena) {
		free(f);
		return NULL;
	}
	return f;
}

void pd_frame_free(pd_frame *f)
{
	if (!f)
		return;
	for (struct slot *s = f->first; s; s = s->next)
		free(s->table);
	pd_arena_free(f->arena);
	free(f);
}

size_t pd_frame_rows(const pd_frame *f)
{
	return f->n_rows;
}

size_t pd_frame_columns(const pd_frame *f)
{
	return f->n_columns;
}

static struct slot *add(pd_frame *f, const char *name, pd_kind kind)
{
	if (pd_frame_find(f, name))
		return NULL;
	struct slot *s = PD_NEW(f->arena, struct slot, 1);
	char *copy = s ? pd_arena_copy(f->arena, name) : NULL;

	if (!copy)
		return NULL;
	s->c.name = copy;
	s->c.kind = kind;
	if (kind == PD_REAL) {
		s->c.real = PD_NEW(f->arena, double, f->n_rows);
		if (!s->c.real)
			return NULL;
		for (size_t i = 0; i < f->n_rows; i++)
			s->c.real[i] = NAN;
	} else {
		s->c.code = PD_NEW(f->arena, int32_t, f->n_rows);
		if (!s->c.code)
			return NULL;
		for (size_t i = 0; i < f->n_rows; i++)
			s->c.code[i] = -1;
	}
	if (f->last)
		f->last->next = s;
	else
		f->first = s;
	f->last = s;
	f->n_columns++;
	return s;
}

pd_column *pd_frame_add_real(pd_frame *f, const char *name)
{
	struct slot *s = add(f, name, PD_REAL);

	return s ? &s->c : NULL;
}

pd_column *pd_frame_add_factor(pd_frame *f, const char *name)
{
	struct slot *s = add(f, name, PD_FACTOR);

	return s ? &s->c : NULL;
}

/* FNV-1a, Fowler, Noll and Vo: fine for short words. */
static uint64_t hash(const char *word)
{
	uint64_t h = 14695981039346656037u;

	for (; *word; word++)
		h = (h ^ (unsigned char)*word) * 1099511628211u;
	return h ^ (h >> 32);
}

/* The place in the table that holds `word` or would. */
static size_t place(const struct slot *s, const char *word)
{
	size_t i = (size_t)hash(word) & (s->table_size - 1);

	while (s->table[i] >= 0 && strcmp(s->c.level[s->table[i]], word) != 0)
		i = (i + 1) & (s->table_size - 1);
	return i;
}

static int fill_table(struct slot *s, size_t size)
{
	int32_t *table = malloc(size * sizeof *table);

	if (!table)
		return 0;
	memset(table, 0xff, size * sizeof *table);
	free(s->table);
	s->table = table;
	s->table_size = size;
	for (size_t k = 0; k < s->c.n_levels; k++)
		table[place(s, s->c.level[k])] = (int32_t)k;
	return 1;
}

int32_t pd_frame_level(pd_frame *f, pd_column *c, const char *word)
{
	struct slot *s = (struct slot *)c;

	if (s->table_size == 0 && !fill_table(s, 64))
		return -1;
	size_t i = place(s, word);

	if (s->table[i] >= 0)
		return s->table[i];
	if (c->n_levels == s->level_room) {
		size_t room = s->level_room ? 2 * s->level_room : 16;
		const char **level = PD_NEW(f->arena, const char *, room);

		if (!level)
			return -1;
		if (c->n_levels)
			memcpy(level, c->level, c->n_levels * sizeof *level);
		c->level = level;
		s->level_room = room;
	}
	char *copy = pd_arena_copy(f->arena, word);

	if (!copy || c->n_levels >= INT32_MAX)
		return -1;
	c->level[c->n_levels] = copy;
	s->table[i] = (int32_t)c->n_levels++;
	int32_t code = s->table[i];

	if (2 * c->n_levels > s->table_size &&
	    !fill_table(s, 2 * s->table_size))
		return -1;
	return code;
}

size_t pd_frame_column(const pd_frame *f, const char *name)
{
	size_t i = 0;

	for (struct slot *s = f->first; s; s = s->next, i++)
		if (strcmp(s->c.name, name) == 0)
			return i;
	return PD_NO_COLUMN;
}

pd_column *pd_frame_at(const pd_frame *f, size_t i)
{
	struct slot *s = f->first;

	while (s && i--)
		s = s->next;
	return s ? &s->c : NULL;
}

pd_column *pd_frame_find(const pd_frame *f, const char *name)
{
	for (struct slot *s = f->first; s; s = s->next)
		if (strcmp(s->c.name, name) == 0)
			return &s->c;
	return NULL;
}

struct word_at {
	const char *word;
	int32_t at;
};

static int by_word(const void *a, const void *b)
{
	return strcmp(((const struct word_at *)a)->word,
	              ((const struct word_at *)b)->word);
}

pd_status pd_column_sort_levels(pd_column *c, size_t n_rows)
{
	struct slot *s = (struct slot *)c;
	size_t n = c->n_levels;

	if (n < 2)
		return PD_OK;
	struct word_at *order = malloc(n * sizeof *order);
	int32_t *to = malloc(n * sizeof *to);

	if (!order || !to) {
		free(order);
		free(to);
		return PD_NO_MEMORY;
	}
	for (size_t k = 0; k < n; k++)
		order[k] = (struct word_at){ c->level[k], (int32_t)k };
	qsort(order, n, sizeof *order, by_word);
	for (size_t k = 0; k < n; k++) {
		c->level[k] = order[k].word;
		to[order[k].at] = (int32_t)k;
	}
	for (size_t i = 0; i < n_rows; i++)
		if (c->code[i] >= 0)
			c->code[i] = to[c->code[i]];
	free(order);
	free(to);
	return fill_table(s, s->table_size) ? PD_OK : PD_NO_MEMORY;
}

/* Copy the kept rows of one column into a new frame. */
static int select_column(const pd_frame *f, const pd_column *c,
                         const unsigned char *keep, pd_frame *out)
{
	pd_column *d = c->kind == PD_REAL ? pd_frame_add_real(out, c->name)
	                                  : pd_frame_add_factor(out, c->name);
	size_t to = 0;

	if (!d)
		return 0;
	for (size_t k = 0; k < c->n_levels; k++)
		if (pd_frame_level(out, d, c->level[k]) < 0)
			return 0;
	for (size_t i = 0; i < f->n_rows; i++) {
		if (!keep[i])
			continue;
		if (c->kind == PD_REAL)
			d->real[to++] = c->real[i];
		else
			d->code[to++] = c->code[i];
	}
	return 1;
}

pd_status pd_frame_select(const pd_frame *f, const unsigned char *keep,
                          pd_frame **out, pd_error *err)
{
	size_t n = 0;

	*out = NULL;
	for (size_t i = 0; i < f->n_rows; i++)
		n += keep[i] != 0;
	pd_frame *g = pd_frame_new(n);
	int ok = g != NULL;

	for (struct slot *s = f->first; ok && s; s = s->next)
		ok = select_column(f, &s->c, keep, g);
	if (!ok) {
		pd_frame_free(g);
		return pd_fail(err, PD_NO_MEMORY, "out of memory for %zu rows",
		               n);
	}
	*out = g;
	return PD_OK;
}
