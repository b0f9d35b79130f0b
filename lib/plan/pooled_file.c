/* pooled_file.c - a file of printed ratios, strictly read. */
#include "plan/keyfile.h"
#include "plan/pooled.h"
#include "base/file.h"
#include "base/near.h"
#include "base/scan.h"
#include "data/csv.h"
#include "data/query.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 1 << 20, MOST_ROWS = 500 };

enum field {
	SOURCE, OUTCOME, JUDGE, FIRST, SECOND, RATIO, LOW, HIGH, LEVEL, N,
	DESIGN, NOTE, N_FIELDS
};

static const struct {
	const char *name;
	bool needed;
} fields[N_FIELDS] = {
	{ "source", true }, { "outcome", true }, { "judge", true },
	{ "first", true },  { "second", true },  { "ratio", true },
	{ "low", true },    { "high", true },    { "level", false },
	{ "n", false },     { "design", false }, { "note", false },
};

struct reading {
	pd_arena *arena;
	const char *path;
	pd_csv *csv;
	pd_csv_record record;
	size_t at[N_FIELDS];     /* column of each field, SIZE_MAX: none       */
	pd_pooled_file *out;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory reading ratios");
}

static pd_status bad_cell(struct reading *r, size_t column, const char *want,
                          pd_error *err)
{
	const pd_csv_record *c = &r->record;
	uint32_t line, at;
	int n = column < c->n ? (int)c->cell[column].length : 0;

	pd_csv_place(r->csv, c->offset, c->line, column, &line, &at);
	return pd_fail_at(err, PD_DATA, r->path, line, at,
	                  "found '%.*s', expected %s", n > 60 ? 60 : n,
	                  n ? c->cell[column].text : "", want);
}

static pd_status unknown_head(struct reading *r, size_t column, pd_error *err)
{
	const pd_csv_cell *cell = &r->record.cell[column];
	char given[64], want[160];
	pd_near near = { .given = given };

	snprintf(given, sizeof given, "%.*s",
	         (int)(cell->length < 63 ? cell->length : 63), cell->text);
	for (size_t f = 0; f < N_FIELDS; f++)
		pd_near_try(&near, fields[f].name);
	snprintf(want, sizeof want, "one of source, outcome, judge, first, "
	         "second, ratio, low, high, level, n, design, note%s",
	         pd_near_words(&near));
	return bad_cell(r, column, want, err);
}

static pd_status read_heads(struct reading *r, pd_error *err)
{
	for (size_t f = 0; f < N_FIELDS; f++)
		r->at[f] = SIZE_MAX;
	for (size_t c = 0; c < r->record.n; c++) {
		const pd_csv_cell *cell = &r->record.cell[c];
		size_t f = 0;

		while (f < N_FIELDS &&
		       (strlen(fields[f].name) != cell->length ||
		        strncmp(fields[f].name, cell->text, cell->length)))
			f++;
		if (f == N_FIELDS)
			return unknown_head(r, c, err);
		if (r->at[f] != SIZE_MAX)
			return bad_cell(r, c, "each column once", err);
		r->at[f] = c;
	}
	for (size_t f = 0; f < N_FIELDS; f++)
		if (fields[f].needed && r->at[f] == SIZE_MAX)
			return pd_fail_at(err, PD_DATA, r->path, r->record.line,
			                  1, "no column '%s'", fields[f].name);
	return PD_OK;
}

static size_t length_of(const struct reading *r, enum field f)
{
	return r->at[f] < r->record.n ? r->record.cell[r->at[f]].length : 0;
}

static pd_status text(struct reading *r, enum field f, const char **out,
                      pd_error *err)
{
	size_t n = length_of(r, f);

	*out = NULL;
	if (n == 0)
		return fields[f].needed
		           ? bad_cell(r, r->at[f], "some words", err)
		           : PD_OK;
	*out = pd_arena_copy_n(r->arena, r->record.cell[r->at[f]].text, n);
	return *out ? PD_OK : no_memory(err);
}

/* A blank is NaN. */
static pd_status number(struct reading *r, enum field f, double least,
                        double most, const char *want, double *out,
                        pd_error *err)
{
	size_t n = length_of(r, f);

	*out = NAN;
	if (n == 0)
		return PD_OK;
	if (!pd_scan_number(r->record.cell[r->at[f]].text, n, '.', 0, out) ||
	    !(*out > least && *out < most))
		return bad_cell(r, r->at[f], want, err);
	return PD_OK;
}

static pd_status check_judged(struct reading *r, size_t k, pd_error *err)
{
	const pd_pooled_file *o = r->out;

	if (pd_query_unit(o->outcome[k], o->judge[k]))
		return PD_OK;
	return pd_query_unit(o->outcome[k], "concentration") ||
	               pd_query_unit(o->outcome[k], "percent")
	           ? bad_cell(r, r->at[JUDGE], "concentration, prevalence or "
	                      "yield, as the outcome can be judged", err)
	           : bad_cell(r, r->at[OUTCOME], "an outcome such as tnc, cd34 "
	                      "or cfu_f", err);
}

static pd_status read_numbers(struct reading *r, pd_pooled_row *row,
                              pd_error *err)
{
	static const char positive[] = "a ratio above 0";
	pd_status st = number(r, RATIO, 0, 1e6, positive, &row->value, err);

	if (st == PD_OK && isnan(row->value))
		st = bad_cell(r, r->at[RATIO], positive, err);
	if (st == PD_OK)
		st = number(r, LOW, 0, 1e6, positive, &row->low, err);
	if (st == PD_OK)
		st = number(r, HIGH, 0, 1e6, positive, &row->high, err);
	if (st == PD_OK && isnan(row->low) != isnan(row->high))
		st = bad_cell(r, r->at[isnan(row->low) ? LOW : HIGH],
		              "both limits or none", err);
	if (st == PD_OK && row->low >= row->high)
		st = bad_cell(r, r->at[LOW], "a limit below the other", err);
	if (st == PD_OK && (row->value < row->low || row->value > row->high))
		st = bad_cell(r, r->at[RATIO], "a ratio between its limits", err);
	if (st == PD_OK)
		st = number(r, LEVEL, 0.5, 0.9999, "a level such as 0.95",
		            &row->level, err);
	if (st == PD_OK)
		st = number(r, N, 0, 1e9, "a number of patients", &row->n, err);
	if (isnan(row->level))
		row->level = 0.95;
	return st;
}

static pd_status read_row(struct reading *r, pd_error *err)
{
	pd_pooled_file *o = r->out;
	size_t k = o->n++;
	pd_pooled_row *row = &o->row[k];

	if (r->record.n > N_FIELDS)
		return bad_cell(r, N_FIELDS, "no further cell", err);
	row->line = r->record.line;
	row->weight = row->se = NAN;
	pd_status st = text(r, SOURCE, &row->source, err);

	if (st == PD_OK)
		st = text(r, OUTCOME, &o->outcome[k], err);
	if (st == PD_OK)
		st = text(r, JUDGE, &o->judge[k], err);
	if (st == PD_OK)
		st = text(r, FIRST, &o->first[k], err);
	if (st == PD_OK)
		st = text(r, SECOND, &o->second[k], err);
	if (st == PD_OK)
		st = check_judged(r, k, err);
	if (st == PD_OK)
		st = read_numbers(r, row, err);
	if (st == PD_OK)
		st = text(r, DESIGN, &row->design, err);
	return st == PD_OK ? text(r, NOTE, &row->note, err) : st;
}

static pd_status read_all(struct reading *r, pd_error *err)
{
	pd_status st = PD_OK;
	bool heads = false;

	while (st == PD_OK && pd_csv_next(r->csv, &r->record, &st, err)) {
		if (r->record.bad)
			st = pd_fail_at(err, PD_DATA, r->path, r->record.line,
			                1, "found a record that is no CSV, "
			                "expected cells parted by commas");
		else if (!heads)
			st = read_heads(r, err);
		else if (r->out->n == MOST_ROWS)
			st = pd_fail_at(err, PD_DATA, r->path, r->record.line,
			                1, "more than %d rows", MOST_ROWS);
		else
			st = read_row(r, err);
		heads = true;
	}
	if (st == PD_OK && r->out->n == 0)
		st = pd_fail_at(err, PD_DATA, r->path, 0, 0, "holds no row");
	return st;
}

static pd_status make_room(pd_arena *arena, pd_pooled_file *o, pd_error *err)
{
	o->row = PD_NEW(arena, pd_pooled_row, MOST_ROWS);
	o->outcome = PD_NEW(arena, const char *, MOST_ROWS);
	o->judge = PD_NEW(arena, const char *, MOST_ROWS);
	o->first = PD_NEW(arena, const char *, MOST_ROWS);
	o->second = PD_NEW(arena, const char *, MOST_ROWS);
	return o->row && o->outcome && o->judge && o->first && o->second
	           ? PD_OK
	           : no_memory(err);
}

pd_status pd_pooled_read(pd_arena *arena, const char *path,
                         pd_pooled_file *out, pd_error *err)
{
	struct reading r = { .arena = arena, .path = path, .out = out };
	char *bytes;
	size_t n;

	memset(out, 0, sizeof *out);
	pd_status st = pd_file_read(path, MOST_BYTES, &bytes, &n, err);

	if (st == PD_OK && n > MOST_BYTES)
		st = pd_fail_at(err, PD_DATA, path, 0, 0, "larger than 1 MiB");
	if (st == PD_OK)
		st = pd_file_name(arena, path, &out->name, err);
	if (st == PD_OK)
		st = make_room(arena, out, err);
	if (st == PD_OK && !(out->sha256 = pd_keyfile_sha256(arena, bytes, n)))
		st = no_memory(err);
	if (st == PD_OK)
		st = pd_csv_new(bytes, n, ',', NULL, &r.csv, err);
	if (st == PD_OK)
		st = read_all(&r, err);
	pd_csv_free(r.csv);
	free(bytes);
	return st;
}
