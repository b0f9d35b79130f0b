/*
 * notes_blood.c - the share of blood in words: for how many results it could
 * not be computed and for want of what, and how it lies at each level (the
 * median, the middle half, how many above a half and above the whole).
 */
#include "data/query.h"
#include "plan/notes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NOTES = 6, MOST_LACKS = 16 };

static int is_share(const pd_question *q)
{
	return strcmp(q->outcome, "blood_share") == 0;
}

static pd_status add(pd_rows *out, const char *words, pd_error *err)
{
	if (!words)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (out->n_share_notes < MOST_NOTES)
		out->share_note[out->n_share_notes++] = words;
	return PD_OK;
}

pd_status pd_note_lacking(const pd_question *q, const pd_frame *frame,
                          const unsigned char *keep, pd_arena *arena,
                          pd_rows *out, pd_error *err)
{
	const pd_column *why = is_share(q) ? pd_frame_find(frame, "lacking")
	                                   : NULL;
	const pd_column *low = pd_frame_find(frame, "low");
	size_t n[MOST_LACKS] = { 0 }, all = 0, kept = 0;
	const char *words = "";

	if (!why || !low)
		return PD_OK;
	for (size_t i = 0; i < pd_frame_rows(frame); i++) {
		if (!keep[i])
			continue;
		kept++;
		if (!isnan(low->real[i]) || why->code[i] >= MOST_LACKS)
			continue;
		n[why->code[i]]++;
		all++;
	}
	if (!all)
		return PD_OK;
	for (size_t k = 0; words && k < why->n_levels; k++)
		if (n[k])
			words = pd_arena_print(arena, "%s%s%zu without %s",
			                       words, *words ? ", " : "", n[k],
			                       why->level[k]);
	return add(out, words ? pd_arena_print(
	    arena, "Not computable: %zu of %zu pulls (%s). No usual blood count "
	    "stands in.", all, kept, words) : NULL, err);
}

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Of x[n] in order, n > 0: the value p of the way, between neighbours in
 * proportion. */
static double part(const double *x, size_t n, double p)
{
	double at = p * (double)(n - 1);
	size_t k = (size_t)at;

	return k + 1 < n ? x[k] + (at - (double)k) * (x[k + 1] - x[k]) : x[k];
}

static pd_status describe(double *x, size_t n, const char *where,
                          pd_arena *arena, pd_rows *out, pd_error *err)
{
	size_t half = 0, whole = 0;

	if (n == 0)
		return PD_OK;
	qsort(x, n, sizeof *x, by_size);
	for (size_t i = 0; i < n; i++) {
		half += x[i] > 50;
		whole += x[i] > 100;
	}
	const char *over = whole ? pd_arena_print(
	    arena, "; %zu above 100%%, which is an error of a count or a "
	    "concentrated sample and is kept as it is", whole) : "";

	return add(out, over ? pd_arena_print(
	    arena, "Share of blood%s: median %.1f%%, middle half %.1f%% to "
	    "%.1f%%; above 50%% in %zu of %zu results (%.1f%%)%s.", where,
	    part(x, n, 0.5), part(x, n, 0.25), part(x, n, 0.75), half, n,
	    100 * (double)half / (double)n, over) : NULL, err);
}

pd_status pd_note_blood(const pd_question *q, pd_arena *arena,
                        pd_arena *scratch, pd_rows *out, pd_error *err)
{
	double *x = is_share(q) && isnan(q->floor)
	                ? PD_NEW(scratch, double, out->n + 1) : NULL;
	pd_status st = PD_OK;

	if (!is_share(q) || !isnan(q->floor))
		return PD_OK;
	if (!x)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t a = 0; st == PD_OK && a < (out->arm ? out->n_arms : 1);
	     a++) {
		const char *where = out->arm ? pd_arena_print(
		    arena, ", %s", out->arm_name[a]) : "";
		size_t n = 0;

		for (size_t i = 0; i < out->n; i++)
			if ((!out->arm || (size_t)out->arm[i] == a) &&
			    out->low[i] == out->high[i])
				x[n++] = out->low[i];
		st = where ? describe(x, n, where, arena, out, err)
		           : pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	return st;
}
