/*
 * header.c - from a file's first row and its map to intakes: which column
 * feeds which field, what is missing, what must not be there at all.
 */
#include "data/damage.h"
#include "data/privacy.h"
#include "data/reader_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void header_finding(pd_reader *r, pd_rule rule, size_t column,
                           const char *expected)
{
	uint32_t line, at;
	char found[160];

	pd_csv_place(r->csv, r->header_offset, r->header_line, column, &line,
	             &at);
	snprintf(found, sizeof found, "%s '%.80s'", pd_rule_about(rule)->what,
	         r->header[column]);
	pd_reader_say(r, rule, line, at, found, expected);
}

/* The header row divided by another sign than the declared one? */
static bool other_delimiter(pd_reader *r, const pd_csv_record *rec)
{
	static const struct { char sign; const char *word; } others[] = {
		{ ';', "semicolon" }, { '\t', "tab" }, { '|', "vertical bar" },
		{ ',', "comma" },
	};
	char found[120], expected[120];
	const char *s = rec->cell[0].text;

	if (rec->n != 1)
		return false;
	for (size_t k = 0; k < sizeof others / sizeof *others; k++) {
		if (others[k].sign == r->map->delimiter ||
		    !memchr(s, others[k].sign, rec->cell[0].length) ||
		    pd_map_find(r->map, s, rec->cell[0].length))
			continue;
		snprintf(found, sizeof found,
		         "the header row is divided by %ss", others[k].word);
		snprintf(expected, sizeof expected,
		         "`delimiter = %s` under [file] in the map",
		         others[k].word);
		pd_reader_say(r, PD_RULE_DELIMITER, rec->line, 1, found,
		              expected);
		return true;
	}
	return false;
}

static pd_status copy_headers(pd_reader *r, const pd_csv_record *rec,
                              pd_error *err)
{
	r->width = rec->n;
	r->header_line = rec->line;
	r->header_offset = rec->offset;
	r->header = PD_NEW(r->arena, const char *, rec->n);
	r->hide = PD_NEW(r->arena, bool, rec->n);
	for (size_t j = 0; r->header && j < rec->n; j++) {
		r->header[j] = pd_arena_copy_n(r->arena, rec->cell[j].text,
		                               rec->cell[j].length);
		if (!r->header[j])
			r->header = NULL;
	}
	return r->header && r->hide ? PD_OK
	                            : pd_fail(err, PD_NO_MEMORY,
	                                      "out of memory");
}

static bool same_header(const char *a, const char *b)
{
	return pd_same_word(a, strlen(a), b);
}

/* true when an earlier column has this name. */
static bool check_name(pd_reader *r, size_t j)
{
	const char *h = r->header[j];
	pd_rule damage = pd_damage(h, strlen(h));

	if (!*h) {
		header_finding(r, PD_RULE_HEADER_BLANK, j, NULL);
		return true;
	}
	if (damage != PD_RULE_NONE)
		header_finding(r, damage, j, NULL);
	for (size_t i = 0; i < j; i++)
		if (same_header(h, r->header[i])) {
			header_finding(r, PD_RULE_HEADER_TWICE, j, NULL);
			return true;
		}
	return damage != PD_RULE_NONE;
}

static void add_intake(pd_reader *r, size_t j, pd_field f, pd_unit unit)
{
	pd_intake *in = &r->intake[r->n_intakes];
	char expected[200];

	if (r->of[f] || r->map->constant[f].set) {
		snprintf(expected, sizeof expected,
		         "one source for %s; it has %s '%.80s' already",
		         pd_field_about(f)->header,
		         r->of[f] ? "column" : "a",
		         r->of[f] ? r->header[r->of[f]->column] : "constant");
		header_finding(r, PD_RULE_FIELD_TWICE, j, expected);
		return;
	}
	*in = (pd_intake){
		.column = (uint32_t)j,
		.field = f,
		.kind = pd_field_about(f)->kind,
		.unit = unit,
		.values = r->map->values[f],
		.pseudonym = r->map->pseudonym[f],
	};
	r->hide[j] |= in->pseudonym;
	r->of[f] = in;
	r->n_intakes++;
}

static void unknown_header(pd_reader *r, size_t j)
{
	const char *h = r->header[j];
	char expected[300];

	if (pd_private_header(h, strlen(h))) {
		header_finding(r, PD_RULE_ID_HEADER, j, NULL);
		return;
	}
	snprintf(expected, sizeof expected,
	         "a known header (nearest is '%s'), or under [columns] in the "
	         "map: %.80s = FIELD, or %.80s = ignore",
	         pd_nearest_header(h, strlen(h)), h, h);
	header_finding(r, PD_RULE_HEADER_UNKNOWN, j, expected);
}

/* A column that the map names, fed into its fields. */
static void mapped_header(pd_reader *r, size_t j, const pd_map_column *c)
{
	const char *h = r->header[j];
	bool private = pd_private_header(h, strlen(h));

	r->hide[j] = c->n_targets == 0;
	for (size_t k = 0; k < c->n_targets; k++) {
		if (private && !r->map->pseudonym[c->field[k]]) {
			header_finding(r, PD_RULE_ID_HEADER, j, NULL);
			private = false;
		}
		add_intake(r, j, c->field[k], c->unit[k]);
	}
}

static void one_header(pd_reader *r, size_t j, bool *used)
{
	const char *h = r->header[j];
	const pd_map_column *c = pd_map_find(r->map, h, strlen(h));

	if (c)
		used[c - r->map->column] = true;
	if (check_name(r, j))
		return;
	if (c) {
		mapped_header(r, j, c);
		return;
	}
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (same_header(h, pd_field_about((pd_field)f)->header)) {
			add_intake(r, j, (pd_field)f,
			           (pd_unit){ PD_WAY_SHIFT, 0, 1 });
			return;
		}
	unknown_header(r, j);
}

static bool has(const pd_reader *r, pd_field f)
{
	return r->of[f] || r->map->constant[f].set;
}

static void need_column(pd_reader *r, pd_field f)
{
	char found[120];

	if (has(r, f))
		return;
	snprintf(found, sizeof found, "no column '%s'",
	         pd_field_about(f)->header);
	pd_reader_say(r, PD_RULE_COLUMN_MISSING, r->header_line, 0, found,
	              NULL);
}

/* The column, and a value in every row. */
static void need(pd_reader *r, pd_field f)
{
	if (r->of[f])
		r->of[f]->needed = true;
	need_column(r, f);
}

/* Something about a draw beyond its number? */
static bool any_draw(const pd_reader *r)
{
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (pd_field_about((pd_field)f)->of == PD_OF_ALIQUOT &&
		    has(r, (pd_field)f) && f != PD_F_ALIQUOT_NO)
			return true;
	return false;
}

static bool any_result(const pd_reader *r)
{
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (pd_field_about((pd_field)f)->kind == PD_FIELD_RESULT &&
		    has(r, (pd_field)f))
			return true;
	return has(r, PD_F_OUTCOME);
}

/* Draws need the tree's keys; results need a tie to draws. */
static void check_kind(pd_reader *r)
{
	static const pd_field draw_keys[] = { PD_F_PATIENT, PD_F_CASE,
		PD_F_CASE_DATE, PD_F_SIDE, PD_F_SITE_NO, PD_F_ALIQUOT_NO };
	static const char *const words[] = { "", "draws", "results", "both" };
	bool results = any_result(r);
	bool draws = any_draw(r) || !results;
	int kind = draws && results ? 3 : results ? 2 : 1;
	char found[80], expected[80];

	if (r->map->kind && r->map->kind != kind) {
		snprintf(found, sizeof found, "the columns hold %s",
		         words[kind]);
		snprintf(expected, sizeof expected, "%s, as the map declares",
		         words[r->map->kind]);
		pd_reader_say(r, PD_RULE_FILE_KIND, r->header_line, 0, found,
		              expected);
	}
	for (size_t k = 0; draws && k < sizeof draw_keys / sizeof *draw_keys;
	     k++)
		need(r, draw_keys[k]);
	if (has(r, PD_F_OUTCOME) || has(r, PD_F_VALUE)) {
		need_column(r, PD_F_OUTCOME);
		need_column(r, PD_F_VALUE);
		need_column(r, PD_F_UNIT);
	}
	if (draws)
		return;
	if (!has(r, PD_F_SAMPLE))
		need(r, PD_F_CASE);
	if (!has(r, PD_F_SAMPLE) && !has(r, PD_F_POOL)) {
		need(r, PD_F_SIDE);
		need(r, PD_F_SITE_NO);
		need(r, PD_F_ALIQUOT_NO);
	}
}

/* Things about the header as a whole that are worth a word. */
static void check_whole(pd_reader *r, const bool *used)
{
	char found[160];
	bool dish = false;

	for (size_t i = 0; i < r->map->n_columns; i++) {
		if (used[i])
			continue;
		snprintf(found, sizeof found, "no column '%.100s' (%.30s:%u)",
		         r->map->column[i].header, r->map->name,
		         r->map->column[i].line);
		pd_reader_say(r, PD_RULE_MAP_UNUSED, r->header_line, 0, found,
		              NULL);
	}
	if (pd_map_wants_key(r->map) && !r->cells.key)
		pd_reader_say(r, PD_RULE_KEY_MISSING, 0, 0, NULL, NULL);
	for (int f = PD_F_DISH_1; f <= PD_F_DISH_6; f++)
		dish |= r->of[f] != NULL;
	if (dish && !has(r, PD_F_CELLS_PLATED))
		pd_reader_say(r, PD_RULE_NO_PLATED, r->header_line, 0,
		              "colonies and no column 'cells_plated'", NULL);
}

/* VALUE is read after OUTCOME and UNIT of its row: put it last. */
static void value_last(pd_reader *r)
{
	pd_intake *value = r->of[PD_F_VALUE], held;

	if (!value)
		return;
	held = *value;
	memmove(value, value + 1,
	        (size_t)(r->intake + r->n_intakes - value - 1) * sizeof *value);
	r->intake[r->n_intakes - 1] = held;
	for (size_t i = 0; i < r->n_intakes; i++)
		r->of[r->intake[i].field] = &r->intake[i];
}

pd_status pd_reader_header(pd_reader *r, pd_error *err)
{
	pd_csv_record rec;
	pd_status st;
	bool *used;

	r->dead = true;
	if (!pd_csv_next(r->csv, &rec, &st, err)) {
		if (st == PD_OK)
			pd_reader_say(r, PD_RULE_EMPTY_FILE, 1, 1, NULL, NULL);
		return st;
	}
	if (rec.bad || other_delimiter(r, &rec))
		return PD_OK;
	st = copy_headers(r, &rec, err);
	if (st != PD_OK)
		return st;
	r->intake = PD_NEW(r->arena, pd_intake, PD_N_FIELDS);
	used = PD_NEW(r->arena, bool, r->map->n_columns);
	if (!r->intake || !used)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t j = 0; j < r->width; j++)
		one_header(r, j, used);
	check_whole(r, used);
	value_last(r);
	check_kind(r);
	r->dead = r->n_intakes == 0;
	return PD_OK;
}
