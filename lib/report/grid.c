/* grid.c - a table's columns by what their cells read as; see grid.h. */
#include "report/grid.h"

#include <stdio.h>
#include <string.h>

enum { NAME_LENGTH = 64, MOST_PARTS = 5 };

/* What the cells of a column are. */
struct census {
	size_t text, number, span, range, bound;
};

static struct census count(const pd_grid *g, size_t j)
{
	struct census c = { 0 };

	for (size_t i = 0; i < g->table->n_rows; i++) {
		switch (g->value[i][j].kind) {
		case PD_PRINTED_MISSING:
			break;
		case PD_PRINTED_TEXT:
			c.text++;
			break;
		case PD_PRINTED_NUMBER:
			c.number++;
			break;
		case PD_PRINTED_SPAN:
			c.span++;
			break;
		case PD_PRINTED_RANGE:
			c.range++;
			break;
		case PD_PRINTED_BELOW:
		case PD_PRINTED_ABOVE:
			c.bound++;
			break;
		}
	}
	return c;
}

/* Lower-case ASCII letters and digits, the rest as single '_'. */
static void make_name(const char *title, char to[NAME_LENGTH])
{
	size_t n = 0;

	for (const char *p = title; *p && n + 1 < NAME_LENGTH; p++) {
		char c = *p >= 'A' && *p <= 'Z' ? (char)(*p + 32) : *p;

		if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
			to[n++] = c;
		else if (n && to[n - 1] != '_')
			to[n++] = '_';
	}
	while (n && to[n - 1] == '_')
		n--;
	to[n] = '\0';
}

static bool taken(const pd_grid *g, const char *name)
{
	for (size_t k = 0; k < g->n_columns; k++)
		if (strcmp(g->column[k].name, name) == 0)
			return true;
	return false;
}

static const char *own_name(pd_arena *arena, const pd_grid *g,
                            const char *title)
{
	char base[NAME_LENGTH], name[NAME_LENGTH + 24];

	make_name(title, base);
	if (!base[0] || (base[0] >= '0' && base[0] <= '9'))
		snprintf(name, sizeof name, "column%s%s", base[0] ? "_" : "",
		         base);
	else
		snprintf(name, sizeof name, "%s", base);
	if (taken(g, name)) {
		char stem[sizeof name];

		snprintf(stem, sizeof stem, "%.*s", NAME_LENGTH, name);
		for (unsigned k = 2; taken(g, name); k++)
			snprintf(name, sizeof name, "%.*s_%u", NAME_LENGTH,
			         stem, k);
	}
	return pd_arena_copy(arena, name);
}

static bool add(pd_arena *arena, pd_grid *g, pd_grid_part part, bool is_number,
                size_t from, const char *title)
{
	const char *name = title ? own_name(arena, g, title) : NULL;

	if (!name)
		return false;
	g->column[g->n_columns++] =
	    (pd_grid_column){ name, title, part, is_number, from };
	return true;
}

/* The columns that column j of the table becomes. */
static bool expand(pd_arena *arena, pd_grid *g, size_t j)
{
	const pd_cell_column *c = &g->table->column[j];
	struct census n = count(g, j);
	size_t read = n.number + n.span + n.range + n.bound;
	const char *title = c->unit ? pd_arena_print(arena, "%s, %s", c->head,
	                                             c->unit)
	                            : c->head;

	if (n.number && n.number == read && !n.text)
		return add(arena, g, PD_GRID_VALUE, true, j, title);
	if (!add(arena, g, PD_GRID_TEXT, false, j, title))
		return false;
	/* Words that name a row are not numbers because one looks like it. */
	if (!read || (!c->right && n.text))
		return true;
#define PART(wanted, kind, is_number, words)                                   \
	(!(wanted) || add(arena, g, kind, is_number, j,                        \
	                  pd_arena_print(arena, "%s: " words, title)))
	return PART(read > n.range, PD_GRID_VALUE, true, "number") &&
	       PART(n.bound, PD_GRID_BOUND, false, "bound") &&
	       PART(n.span + n.range, PD_GRID_LOW, true, "lower limit") &&
	       PART(n.span + n.range, PD_GRID_HIGH, true, "upper limit");
#undef PART
}

static const char *part_of(const pd_printed *v, pd_grid_part part)
{
	switch (part) {
	case PD_GRID_VALUE:
		return v->value;
	case PD_GRID_LOW:
		return v->low;
	case PD_GRID_HIGH:
		return v->high;
	case PD_GRID_BOUND:
		return v->kind == PD_PRINTED_BELOW   ? "below"
		       : v->kind == PD_PRINTED_ABOVE ? "above"
		                                     : NULL;
	case PD_GRID_GROUP:
	case PD_GRID_TEXT:
		break;
	}
	return NULL;
}

static bool fill(pd_arena *arena, pd_grid *g)
{
	const char *group = NULL;

	for (size_t i = 0; i < g->table->n_rows; i++) {
		const pd_cell_row *r = &g->table->row[i];
		const char **cell = PD_NEW(arena, const char *, g->n_columns);

		if (!cell)
			return false;
		if (r->group)
			group = r->group;
		for (size_t k = 0; k < g->n_columns; k++) {
			const pd_grid_column *c = &g->column[k];

			cell[k] = c->part == PD_GRID_GROUP  ? group
			          : c->part == PD_GRID_TEXT ? r->cell[c->from]
			          : part_of(&g->value[i][c->from], c->part);
		}
		g->cell[i] = cell;
	}
	return true;
}

static bool read_cells(pd_arena *arena, pd_grid *g)
{
	const pd_table *t = g->table;

	for (size_t i = 0; i < t->n_rows; i++) {
		g->value[i] = PD_NEW(arena, pd_printed, t->n_columns);
		for (size_t j = 0; j < t->n_columns; j++)
			if (!g->value[i] ||
			    !pd_printed_read(arena, t->row[i].cell[j],
			                  &g->value[i][j]))
				return false;
	}
	return true;
}

static bool has_groups(const pd_table *t)
{
	for (size_t i = 0; i < t->n_rows; i++)
		if (t->row[i].group)
			return true;
	return false;
}

const pd_grid *pd_grid_make(pd_arena *arena, const pd_table *t)
{
	pd_grid *g = PD_NEW(arena, pd_grid, 1);

	if (!g)
		return NULL;
	g->table = t;
	g->column = PD_NEW(arena, pd_grid_column,
	                   1 + MOST_PARTS * t->n_columns);
	g->value = PD_NEW(arena, pd_printed *, t->n_rows + 1);
	g->cell = PD_NEW(arena, const char **, t->n_rows + 1);
	if (!g->column || !g->value || !g->cell || !read_cells(arena, g))
		return NULL;
	if (has_groups(t) &&
	    !add(arena, g, PD_GRID_GROUP, false, 0, "Group of rows"))
		return NULL;
	for (size_t j = 0; j < t->n_columns; j++)
		if (!expand(arena, g, j))
			return NULL;
	return fill(arena, g) ? g : NULL;
}
