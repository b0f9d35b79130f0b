/* rows_code.c - codes of the tree's levels: dense, by pull, by name. */
#include "plan/rows.h"

#include <stdlib.h>
#include <string.h>

size_t pd_rows_dense(const int32_t *code, size_t n, int32_t *out)
{
	int32_t top = -1;
	size_t count = 0;

	for (size_t i = 0; i < n; i++)
		top = code[i] > top ? code[i] : top;
	int32_t *to = malloc(((size_t)top + 2) * sizeof *to);

	if (!to)
		return (size_t)-1;
	memset(to, 0xff, ((size_t)top + 2) * sizeof *to);
	for (size_t i = 0; i < n; i++) {
		if (to[code[i]] < 0)
			to[code[i]] = (int32_t)count++;
		out[i] = to[code[i]];
	}
	free(to);
	return count;
}

int pd_rows_pulls(const pd_frame *frame, const unsigned char *keep,
                  int32_t *out)
{
	const pd_column *site = pd_frame_find(frame, "site");
	const pd_column *no = pd_frame_find(frame, "aliquot_no");
	size_t to = 0, last = 0;

	if (!site || !no)
		return 0;
	for (size_t i = 0; i < pd_frame_rows(frame); i++) {
		if (!keep[i])
			continue;
		int same = to && site->code[i] == site->code[last] &&
		           no->real[i] == no->real[last];

		out[to] = to ? out[to - 1] + !same : 0;
		to++;
		last = i;
	}
	return 1;
}

size_t pd_rows_level(const pd_rows *rows, const char *name)
{
	for (size_t k = 0; k < rows->depth; k++)
		if (strcmp(rows->level_name[k], name) == 0)
			return k;
	return PD_ROWS_DEPTH;
}
