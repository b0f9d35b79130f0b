/*
 * finding.c - a growing list of findings; texts lie in the list's arena.
 * Counting never stops, storing stops at a hundred thousand: a file that is
 * wrong in every row says so without filling the memory.
 */
#include "data/finding.h"
#include "base/arena.h"

#include <stdlib.h>
#include <string.h>

/* The last places are kept for errors: they decide whether a file is taken. */
enum { MOST_STORED = 100000, KEPT_FOR_ERRORS = 5000 };

struct pd_findings {
	pd_arena *texts;
	pd_finding *item;
	size_t n, room;
	size_t count[PD_ERROR + 1];
};

pd_findings *pd_findings_new(void)
{
	pd_findings *list = calloc(1, sizeof *list);

	if (!list)
		return NULL;
	list->texts = pd_arena_new();
	if (!list->texts) {
		free(list);
		return NULL;
	}
	return list;
}

void pd_findings_free(pd_findings *list)
{
	if (!list)
		return;
	pd_arena_free(list->texts);
	free(list->item);
	free(list);
}

static int grow(pd_findings *list)
{
	size_t room = list->room ? 2 * list->room : 64;
	pd_finding *item = realloc(list->item, room * sizeof *item);

	if (!item)
		return 0;
	list->item = item;
	list->room = room;
	return 1;
}

pd_status pd_findings_add(pd_findings *list, const char *code,
                          pd_finding_level level, uint32_t line,
                          uint32_t column, const char *found,
                          const char *expected)
{
	size_t most = level == PD_ERROR ? MOST_STORED
	                                : MOST_STORED - KEPT_FOR_ERRORS;

	list->count[level]++;
	if (list->n >= most)
		return PD_OK;
	if (list->n == list->room && !grow(list))
		return PD_NO_MEMORY;
	pd_finding f = { code, level, line, column, NULL, NULL };

	f.found = pd_arena_copy(list->texts, found ? found : "");
	f.expected = pd_arena_copy(list->texts, expected ? expected : "");
	if (!f.found || !f.expected)
		return PD_NO_MEMORY;
	list->item[list->n++] = f;
	return PD_OK;
}

size_t pd_findings_count(const pd_findings *list, pd_finding_level level)
{
	return list->count[level];
}

size_t pd_findings_stored(const pd_findings *list)
{
	return list->n;
}

const pd_finding *pd_findings_at(const pd_findings *list, size_t i)
{
	return i < list->n ? &list->item[i] : NULL;
}

static int by_place(const void *a, const void *b)
{
	const pd_finding *x = a, *y = b;
	int c;

	if (x->line != y->line)
		return x->line < y->line ? -1 : 1;
	if (x->column != y->column)
		return x->column < y->column ? -1 : 1;
	c = strcmp(x->code, y->code);
	if (c == 0)
		c = strcmp(x->found, y->found);
	return c ? c : strcmp(x->expected, y->expected);
}

void pd_findings_sort(pd_findings *list)
{
	if (list->n > 1)
		qsort(list->item, list->n, sizeof *list->item, by_place);
}
