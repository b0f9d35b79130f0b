/*
 * reader.c - records into batches: each cell through its intake, each row
 * past the rules, rows with errors out. header.c makes the intakes, cell.c
 * reads a cell, place.c says where.
 */
#include "data/damage.h"
#include "data/privacy.h"
#include "data/reader_parts.h"

#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool new_cells(pd_reader *r, pd_field f)
{
	pd_cells *c = &r->batch.cell[f];
	pd_field_kind kind = pd_field_about(f)->kind;
	size_t n = PD_BATCH_ROWS;

	if (kind == PD_FIELD_TEXT || kind == PD_FIELD_POOL) {
		c->text = PD_NEW(r->arena, const char *, n);
		c->length = PD_NEW(r->arena, uint32_t, n);
		return c->text && c->length;
	}
	if (kind == PD_FIELD_WORD) {
		c->code = PD_NEW(r->arena, int8_t, n);
		return c->code != NULL;
	}
	c->number = PD_NEW(r->arena, double, n);
	if (kind == PD_FIELD_RESULT)
		c->state = PD_NEW(r->arena, uint8_t, n);
	return c->number && (c->state || kind != PD_FIELD_RESULT);
}

/* A constant of the map stands in every row of every batch. */
static bool fill_constant(pd_reader *r, pd_field f)
{
	const pd_map_constant *k = &r->map->constant[f];
	pd_cells *c = &r->batch.cell[f];
	char pseudonym[PD_PSEUDONYM];
	const char *text = k->text;

	if (!new_cells(r, f))
		return false;
	if (text && r->map->pseudonym[f] && r->cells.key) {
		pd_pseudonym(r->cells.key, text, strlen(text), pseudonym);
		text = pd_arena_copy(r->arena, pseudonym);
		if (!text)
			return false;
	}
	for (size_t i = 0; i < PD_BATCH_ROWS; i++) {
		if (c->text) {
			c->text[i] = text;
			c->length[i] = (uint32_t)strlen(text);
		} else if (c->code) {
			c->code[i] = k->code;
		} else {
			c->number[i] = k->number;
		}
	}
	return true;
}

static pd_status make_batch(pd_reader *r, pd_error *err)
{
	bool ok;

	r->batch.line = PD_NEW(r->arena, uint32_t, PD_BATCH_ROWS);
	r->offset = PD_NEW(r->arena, size_t, PD_BATCH_ROWS);
	r->bad = PD_NEW(r->arena, bool, PD_BATCH_ROWS);
	ok = r->batch.line && r->offset && r->bad;
	for (int f = 0; ok && f < PD_N_FIELDS; f++) {
		if (r->of[f]) {
			ok = new_cells(r, (pd_field)f);
			r->batch.column[f] = r->of[f]->column + 1;
		} else if (r->map->constant[f].set) {
			ok = fill_constant(r, (pd_field)f);
		}
	}
	return ok ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static pd_status set_up(pd_reader *r, const char *bytes, size_t size,
                        pd_error *err)
{
	pd_status st;

	for (size_t i = 0; i < r->map->n_missing; i++)
		r->cells.missing_first[(unsigned char)pd_lower(
		    r->map->missing[i][0])] = true;
	st = pd_text_init(&r->text, bytes, size, r->map->encoding, r->findings,
	                  err);
	if (st == PD_OK)
		st = pd_csv_new(r->text.data, r->text.size, r->map->delimiter,
		                r->findings, &r->csv, err);
	r->dead = true;
	if (st == PD_OK && r->text.usable)
		st = pd_reader_header(r, err);
	if (st == PD_OK && !r->dead)
		st = make_batch(r, err);
	if (st == PD_OK && r->st != PD_OK)
		st = pd_fail(err, r->st, "out of memory");
	return st;
}

pd_status pd_reader_open(const char *bytes, size_t size, const pd_map *map,
                         const unsigned char *key, pd_findings *findings,
                         pd_reader **out, pd_error *err)
{
	pd_reader *r;
	pd_status st;

	*out = NULL;
	if (size >= UINT32_MAX)
		return pd_fail(err, PD_DATA, "a file of 4 GiB or more");
	if (key && sodium_init() < 0)
		return pd_fail(err, PD_INTERNAL, "no cryptography");
	r = calloc(1, sizeof *r);
	if (!r || !(r->arena = pd_arena_new())) {
		free(r);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	r->map = r->cells.map = map;
	r->cells.key = key;
	r->findings = findings;
	st = set_up(r, bytes, size, err);
	if (st == PD_NO_MEMORY)
		pd_fail(err, st, "out of memory");
	if (st != PD_OK) {
		pd_reader_close(r);
		return st;
	}
	*out = r;
	return PD_OK;
}

void pd_reader_close(pd_reader *r)
{
	if (!r)
		return;
	pd_csv_free(r->csv);
	pd_text_clear(&r->text);
	pd_labels_clear(&r->cells.labels);
	free(r->checkpoint);
	pd_arena_free(r->arena);
	free(r);
}

size_t pd_reader_rows(const pd_reader *r)
{
	return r->n_rows;
}

static inline void store(pd_cells *c, pd_field_kind kind, size_t i,
                         const pd_value *v)
{
	switch (kind) {
	case PD_FIELD_TEXT:
	case PD_FIELD_POOL:
		c->text[i] = v->text;
		c->length[i] = v->length;
		break;
	case PD_FIELD_WORD:
		c->code[i] = v->code;
		break;
	case PD_FIELD_RESULT:
		c->state[i] = v->state;
		c->number[i] = v->number;
		break;
	default:
		c->number[i] = v->number;
	}
}

/* All-digit labels: a column of one width that has some narrower ones. */
static void watch_zeros(pd_intake *in, const pd_csv_record *rec,
                        const pd_csv_cell *cell)
{
	uint32_t n = cell->length;

	if (n > 20 || !pd_is_digit(cell->text[0]))
		return;
	for (uint32_t k = 1; k < n; k++)
		if (!pd_is_digit(cell->text[k]))
			return;
	if (n > 1 && cell->text[0] == '0' && n > in->zero_width)
		in->zero_width = (uint8_t)n;
	if (in->narrow[n]++ == 0) {
		in->narrow_line[n] = rec->line;
		in->narrow_offset[n] = rec->offset;
	}
}

/* The unit of a long row; false when told. */
static bool row_unit(pd_reader *r, const pd_csv_record *rec, size_t i,
                     pd_value *outcome)
{
	const pd_csv_cell *u = &rec->cell[r->of[PD_F_UNIT]->column];
	pd_field f = pd_outcome_field(outcome->code);
	const char *why = NULL;
	char expected[600], list[400];

	if (r->unit_known && r->unit_outcome == outcome->code &&
	    pd_same_word(u->text, u->length, r->unit_text)) {
		r->batch.cell[PD_F_OUTCOME].code[i] =
		    (int8_t)pd_outcome_code(r->unit_field);
		return true;
	}
	r->unit_known = false;
	if (u->length == 0) {
		pd_reader_tell(r, PD_RULE_UNIT_BLANK, rec->offset, rec->line,
		               r->of[PD_F_UNIT]->column, NULL);
		return false;
	}
	r->unit_field = f;
	bool ok = pd_unit_find(f, u->text, u->length, &r->unit, &why);

	if (!ok && f == PD_F_CFU_F) { /* the unit says which of the two */
		r->unit_field = PD_F_CFU_F_E6;
		ok = pd_unit_find(PD_F_CFU_F_E6, u->text, u->length, &r->unit,
		                  &why);
	}
	if (!ok) {
		pd_unit_list(f, list, sizeof list);
		snprintf(expected, sizeof expected,
		         why ? "another unit for %s: %s" : "for %s one of %s",
		         pd_field_about(f)->header, why ? why : list);
		pd_reader_tell(r, PD_RULE_UNIT_UNKNOWN, rec->offset, rec->line,
		               r->of[PD_F_UNIT]->column, expected);
		return false;
	}
	if (u->length < sizeof r->unit_text) {
		memcpy(r->unit_text, u->text, u->length);
		r->unit_text[u->length] = '\0';
		r->unit_outcome = outcome->code;
		r->unit_known = true;
	}
	r->batch.cell[PD_F_OUTCOME].code[i] =
	    (int8_t)pd_outcome_code(r->unit_field);
	return true;
}

/* "not ordered" and the like count nothing: the unit may be blank. */
static bool needs_no_unit(const pd_reader *r, const pd_csv_record *rec,
                          const pd_intake *in)
{
	const pd_csv_cell *value = &rec->cell[in->column];

	return rec->cell[r->of[PD_F_UNIT]->column].length == 0 &&
	       (pd_state_by_word(value->text, value->length) != PD_MEASURED ||
	        pd_map_lookup(in->values, value->text, value->length));
}

/* Before VALUE of a long row is read: its outcome and unit. */
static bool prepare_value(pd_reader *r, const pd_csv_record *rec, size_t i,
                          pd_intake *in)
{
	pd_value outcome = { .code = -1 };

	if (rec->cell[in->column].length == 0 || !r->of[PD_F_UNIT])
		return true;
	if (r->batch.cell[PD_F_OUTCOME].code)
		outcome.code = r->batch.cell[PD_F_OUTCOME].code[i];
	if (outcome.code < 0) {
		if (r->of[PD_F_OUTCOME] &&
		    rec->cell[r->of[PD_F_OUTCOME]->column].length == 0)
			pd_reader_tell(r, PD_RULE_KEY_BLANK, rec->offset,
			               rec->line, r->of[PD_F_OUTCOME]->column,
			               NULL);
		return false;
	}
	if (needs_no_unit(r, rec, in)) {
		in->unit = (pd_unit){ PD_WAY_SHIFT, 0, 1 };
		return true;
	}
	if (!row_unit(r, rec, i, &outcome))
		return false;
	in->unit = r->unit;
	if (r->unit.way == PD_WAY_OF_TNC) {
		pd_reader_tell(r, PD_RULE_PERCENT_NO_TNC, rec->offset,
		               rec->line, in->column, NULL);
		return false;
	}
	return true;
}

/* MNC given as a percentage of the row's TNC. */
static void share_of_tnc(pd_reader *r, const pd_csv_record *rec, size_t i)
{
	pd_cells *mnc = &r->batch.cell[PD_F_MNC];
	const pd_cells *tnc = &r->batch.cell[PD_F_TNC];

	if (!r->of[PD_F_MNC] || r->of[PD_F_MNC]->unit.way != PD_WAY_OF_TNC ||
	    isnan(mnc->number[i]))
		return;
	if (!tnc->number || tnc->state[i] != PD_MEASURED) {
		pd_reader_tell(r, PD_RULE_PERCENT_NO_TNC, rec->offset,
		               rec->line, r->of[PD_F_MNC]->column, NULL);
		r->bad[i] = true;
		return;
	}
	mnc->number[i] = tnc->number[i] * mnc->number[i] / 100;
}

/* Bones in the midline have no side. */
static bool may_be_blank(const pd_reader *r, pd_field f, size_t i)
{
	const pd_cells *bone = &r->batch.cell[PD_F_LANDMARK];
	const char *word;

	if (f != PD_F_SIDE || !bone->code || bone->code[i] < 0)
		return false;
	word = pd_vocab_words(PD_F_LANDMARK)[bone->code[i]];
	return strcmp(word, "sternum") == 0 ||
	       strcmp(word, "vertebral body") == 0;
}

static bool is_blank_value(const pd_intake *in, const pd_value *v)
{
	switch (in->kind) {
	case PD_FIELD_TEXT:
	case PD_FIELD_POOL:
		return v->text == NULL;
	case PD_FIELD_WORD:
		return v->code < 0;
	default:
		return isnan(v->number);
	}
}

/* The cell differs from the one above it: read it. */
static void fresh_cell(pd_reader *r, const pd_csv_record *rec, size_t i,
                       pd_intake *in, const pd_csv_cell *cell, pd_value *v)
{
	pd_rule rule = PD_RULE_NONE;
	bool label = in->field == PD_F_PATIENT || in->field == PD_F_CASE ||
	             in->field == PD_F_SAMPLE;

	in->last = NULL;
	if (in->field == PD_F_VALUE && !prepare_value(r, rec, i, in)) {
		*v = (pd_value){ NAN, NULL, 0, PD_BLANK, -1 };
		r->bad[i] = true;
		return;
	}
	rule = pd_cell_read(&r->cells, in, cell->text, cell->length, v);
	if (rule != PD_RULE_NONE) {
		pd_reader_tell(r, rule, rec->offset, rec->line, in->column,
		               r->cells.expected[0] ? r->cells.expected : NULL);
		r->bad[i] |= pd_rule_about(rule)->level == PD_ERROR;
		return;
	}
	if (label && cell->length && !in->pseudonym)
		watch_zeros(in, rec, cell);
	if (rec->quoted || in->field == PD_F_VALUE)
		return; /* the text will not stay; or means another thing */
	in->last = cell->text;
	in->last_length = cell->length;
	in->last_value = *v;
}

/* The last byte first: numbers differ there. */
static inline bool same_as_last(const pd_intake *in, const pd_csv_cell *cell)
{
	uint32_t n = cell->length;

	return in->last && in->last_length == n &&
	       (n == 0 || (in->last[n - 1] == cell->text[n - 1] &&
	                   memcmp(in->last, cell->text, n) == 0));
}

static void convert(pd_reader *r, const pd_csv_record *rec, size_t i)
{
	bool side_blank = false;

	r->batch.line[i] = rec->line;
	r->offset[i] = rec->offset;
	r->bad[i] = false;
	for (size_t k = 0; k < r->n_intakes; k++) {
		pd_intake *in = &r->intake[k];
		const pd_csv_cell *cell = &rec->cell[in->column];
		pd_value v;

		if (same_as_last(in, cell))
			v = in->last_value;
		else
			fresh_cell(r, rec, i, in, cell, &v);
		store(&r->batch.cell[in->field], in->kind, i, &v);
		if (in->needed && is_blank_value(in, &v) && !r->bad[i]) {
			if (in->field == PD_F_SIDE) {
				side_blank = true;
				continue;
			}
			pd_reader_tell(r, PD_RULE_KEY_BLANK, rec->offset,
			               rec->line, in->column, NULL);
			r->bad[i] = true;
		}
	}
	if (side_blank && !may_be_blank(r, PD_F_SIDE, i)) {
		pd_reader_tell(r, PD_RULE_KEY_BLANK, rec->offset, rec->line,
		               r->of[PD_F_SIDE]->column, NULL);
		r->bad[i] = true;
	}
	share_of_tnc(r, rec, i);
}

static bool is_empty(const pd_csv_record *rec)
{
	for (size_t j = 0; j < rec->n; j++)
		if (rec->cell[j].length)
			return false;
	return true;
}

/* A word like Total in the first filled cell, and a key left blank. */
static bool is_total(const pd_reader *r, const pd_csv_record *rec)
{
	size_t first = 0, keys = 0, blank = 0;

	while (first < rec->n && rec->cell[first].length == 0)
		first++;
	if (first == rec->n || rec->cell[first].length > 16)
		return false;
	const pd_csv_cell *head = &rec->cell[first];

	if (pd_is_digit(head->text[head->length - 1]) || /* most labels */
	    !pd_damage_total(head->text, head->length))
		return false;
	if (rec->n != r->width)
		return true;
	for (size_t k = 0; k < r->n_intakes; k++) {
		size_t j = r->intake[k].column;

		if (!r->intake[k].needed || j == first)
			continue;
		keys++;
		blank += rec->cell[j].length == 0;
	}
	return keys == 0 || blank > 0;
}

/* One record into row i; false when it makes no row. */
static bool take_record(pd_reader *r, const pd_csv_record *rec, size_t i)
{
	if (rec->bad) {
		r->n_rows++;
		return false;
	}
	if (rec->cell[0].length == 0 && is_empty(rec)) {
		if (r->n_empty++ == 0)
			r->empty_line = rec->line;
		return false;
	}
	r->n_rows++;
	if (is_total(r, rec)) {
		pd_reader_say(r, PD_RULE_TOTAL_ROW, rec->line, 1, NULL, NULL);
		return false;
	}
	if (rec->n != r->width) {
		pd_reader_ragged(r, rec);
		return false;
	}
	convert(r, rec, i);
	return true;
}

static void tell_rule(void *user, pd_rule rule, size_t row, pd_field f,
                      const char *expected)
{
	pd_reader *r = user;

	if (r->of[f]) /* a constant breaks a rule in every row: told at its partner */
		pd_reader_tell(r, rule, r->offset[row], r->batch.line[row],
		               r->of[f]->column, expected);
	else
		pd_reader_say(r, rule, r->batch.line[row], 1, NULL, expected);
	r->bad[row] |= pd_rule_about(rule)->level == PD_ERROR;
}

/* Rows with errors leave; the others move up. */
static void drop_bad_rows(pd_reader *r)
{
	pd_batch *b = &r->batch;
	size_t to = 0;

	for (size_t i = 0; i < b->n_rows; i++) {
		if (r->bad[i])
			continue;
		b->line[to] = b->line[i];
		r->offset[to] = r->offset[i];
		for (size_t k = 0; to != i && k < r->n_intakes; k++) {
			pd_cells *c = &b->cell[r->intake[k].field];

			if (c->text) {
				c->text[to] = c->text[i];
				c->length[to] = c->length[i];
			}
			if (c->code)
				c->code[to] = c->code[i];
			if (c->number)
				c->number[to] = c->number[i];
			if (c->state)
				c->state[to] = c->state[i];
		}
		to++;
	}
	b->n_rows = to;
}

static bool add_checkpoint(pd_reader *r)
{
	if (r->n_checkpoints == r->checkpoint_room) {
		size_t room = r->checkpoint_room ? 2 * r->checkpoint_room : 64;
		pd_checkpoint *c = realloc(r->checkpoint, room * sizeof *c);

		if (!c)
			return false;
		r->checkpoint = c;
		r->checkpoint_room = room;
	}
	r->checkpoint[r->n_checkpoints++] =
	    (pd_checkpoint){ r->offset[0], r->batch.line[0] };
	return true;
}

static pd_status fill(pd_reader *r, bool *more, pd_error *err)
{
	pd_csv_record rec;
	pd_status st = PD_OK;
	size_t n = 0;

	pd_labels_reset(&r->cells.labels);
	for (size_t k = 0; k < r->n_intakes; k++)
		if (r->intake[k].kind == PD_FIELD_TEXT ||
		    r->intake[k].kind == PD_FIELD_POOL)
			r->intake[k].last = NULL;
	r->batch.n_rows = 0;
	*more = true;
	while (n < PD_BATCH_ROWS && *more) {
		*more = pd_csv_next(r->csv, &rec, &st, err);
		if (*more && take_record(r, &rec, n))
			n++;
	}
	r->batch.n_rows = n;
	if (st == PD_OK && n && !add_checkpoint(r))
		st = PD_NO_MEMORY;
	if (st == PD_OK && (r->cells.no_memory || r->st != PD_OK))
		st = PD_NO_MEMORY;
	return st == PD_NO_MEMORY ? pd_fail(err, st, "out of memory") : st;
}

pd_status pd_reader_next(pd_reader *r, const pd_batch **batch, pd_error *err)
{
	pd_status st = PD_OK;
	bool more = true;

	*batch = &r->batch;
	r->batch.n_rows = 0;
	while (!r->dead && !r->ended && r->batch.n_rows == 0) {
		st = fill(r, &more, err);
		if (st != PD_OK)
			break;
		pd_rules_run(&r->batch, tell_rule, r);
		drop_bad_rows(r);
		if (!more) {
			pd_reader_finish(r);
			r->ended = true;
		}
		if (r->st != PD_OK) {
			st = pd_fail(err, r->st, "out of memory");
			break;
		}
	}
	if (st != PD_OK)
		*batch = NULL;
	return st;
}
