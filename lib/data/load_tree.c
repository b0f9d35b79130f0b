/*
 * load_tree.c - the clinic's tree as far as one file touches it. A case that
 * is stored comes in with its patient, its sites and the pull numbers they
 * have; a new one is made when its first row is read.
 */
#include "data/load_own.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool room_for(struct load *L, void *array, size_t *room, size_t n,
                     size_t size)
{
	void **p = array;

	if (n < *room)
		return true;
	size_t more = *room ? 2 * *room : 1024;
	void *grown = realloc(*p, more * size);

	if (!grown) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return false;
	}
	*p = grown;
	*room = more;
	return true;
}

void load_tree_open(struct load *L)
{
	sqlite3_stmt *q = NULL;
	bool row = true;
	pd_status st = pd_db_prepare(L->s, pd_sql_names, &q, L->err);

	while (st == PD_OK && row) {
		st = pd_db_step(L->s, q, &row, L->err);
		if (st != PD_OK || !row)
			break;
		struct pd_table *t = L->names[sqlite3_column_int(q, 0)];
		const char *name = pd_db_text(q, 2);

		if (pd_table_add(t, name, strlen(name)) == PD_TABLE_NONE)
			st = pd_fail(L->err, PD_NO_MEMORY, "out of memory");
	}
	sqlite3_finalize(q);
	for (int k = 0; k < 3; k++)
		L->n_old_names[k] = pd_table_count(L->names[k]);
	load_fail(L, st);
}

/* ---- patients ---- */

static uint32_t new_patient(struct load *L, const char *label, size_t length)
{
	uint32_t k = pd_table_add(L->labels[0], label, length);

	if (k == PD_TABLE_NONE ||
	    !room_for(L, &L->patient, &L->room_patients, k,
	              sizeof *L->patient)) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return NONE;
	}
	struct patient *p = &L->patient[k];

	*p = (struct patient){ .fact = { NAN, NAN } };
	L->n_patients = k + 1;
	return k;
}

/* The patient q stands on, taken into memory. */
static uint32_t take_patient(struct load *L, sqlite3_stmt *q)
{
	const char *label = pd_db_text(q, 5);
	uint32_t k = pd_table_find(L->labels[0], label, strlen(label));

	if (k != PD_TABLE_NONE)
		return k;
	k = new_patient(L, label, strlen(label));
	if (k == NONE)
		return k;
	L->patient[k].e = load_entity(L, q);
	for (int j = 0; j < N_PATIENT_FACTS; j++)
		L->patient[k].fact[j] = load_number(q, 3 + j);
	return k;
}

static uint32_t find_patient(struct load *L, const char *label, size_t length,
                             uint32_t line)
{
	uint32_t k = pd_table_find(L->labels[0], label, length);
	bool row = false;

	if (k != PD_TABLE_NONE)
		return k;
	if (!L->store_empty) {
		sqlite3_stmt *q = L->find_patient;

		sqlite3_bind_text(q, 1, label, (int)length, SQLITE_STATIC);
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		k = row ? take_patient(L, q) : NONE;
		sqlite3_reset(q);
		if (row)
			return k;
	}
	k = new_patient(L, label, length);
	if (k != NONE) {
		L->patient[k].e.id = L->next_patient++;
		L->patient[k].e.line = line;
		L->report->n_patients++;
	}
	return k;
}

/* ---- cases ---- */

static uint32_t new_case(struct load *L, const char *label, size_t length,
                         uint32_t line)
{
	uint32_t k = pd_table_add(L->labels[1], label, length);

	if (k == PD_TABLE_NONE ||
	    !room_for(L, &L->case_, &L->room_cases, k, sizeof *L->case_)) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return NONE;
	}
	struct case_ *c = &L->case_[k];

	memset(c, 0, sizeof *c);
	for (int j = 0; j < N_CASE_FACTS; j++)
		c->fact[j] = NAN;
	c->line = line;
	L->n_cases = k + 1;
	return k;
}

static uint32_t new_site(struct load *L, uint32_t c)
{
	if (!room_for(L, &L->site, &L->room_sites, L->n_sites,
	              sizeof *L->site))
		return NONE;
	struct site *s = &L->site[L->n_sites];

	memset(s, 0, sizeof *s);
	for (int j = 0; j < N_SITE_FACTS; j++)
		s->fact[j] = NAN;
	s->next = L->case_[c].first_site;
	L->case_[c].first_site = (uint32_t)++L->n_sites;
	return (uint32_t)L->n_sites - 1;
}

static uint32_t site_by_key(struct load *L, uint32_t c, int64_t id)
{
	for (uint32_t k = L->case_[c].first_site; k; k = L->site[k - 1].next)
		if (L->site[k - 1].e.id == id)
			return k - 1;
	return NONE;
}

/* Sites and pull numbers of a stored case. */
static void take_sites(struct load *L, uint32_t c)
{
	sqlite3_stmt *q = L->find_sites;
	bool row = true;

	sqlite3_bind_int64(q, 1, L->case_[c].e.id);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		uint32_t k = row ? new_site(L, c) : NONE;

		if (k == NONE)
			break;
		L->site[k].e = load_entity(L, q);
		for (int j = 0; j < N_SITE_FACTS; j++)
			L->site[k].fact[j] = load_number(q, 3 + j);
	}
	sqlite3_reset(q);
	q = L->find_numbers;
	row = true;
	sqlite3_bind_int64(q, 1, L->case_[c].e.id);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		if (!row)
			break;
		int64_t id = sqlite3_column_int64(q, 0);
		uint32_t k = site_by_key(L, c, id >> ALIQUOT_BITS);
		unsigned no = (unsigned)(id & MOST_NUMBER);

		if (k != NONE)
			L->site[k].seen[no / 64] |= UINT64_C(1) << no % 64;
		if (sqlite3_column_type(q, 1) != SQLITE_NULL)
			L->case_[c].total_ml += sqlite3_column_double(q, 1);
	}
	sqlite3_reset(q);
}

/* The stored case of that label, taken into memory; NONE when there is none. */
static uint32_t take_case(struct load *L, const char *label, size_t length,
                          uint32_t line)
{
	sqlite3_stmt *q = L->find_case;
	bool row = false;
	uint32_t k = NONE, p = NONE;

	sqlite3_bind_text(q, 1, label, (int)length, SQLITE_STATIC);
	load_fail(L, pd_db_step(L->s, q, &row, L->err));
	if (row) {
		sqlite3_stmt *r = L->patient_by_id;
		bool found = false;

		sqlite3_bind_int64(r, 1, sqlite3_column_int64(q, 10));
		load_fail(L, pd_db_step(L->s, r, &found, L->err));
		p = found ? take_patient(L, r) : NONE;
		sqlite3_reset(r);
	}
	if (p != NONE)
		k = new_case(L, label, length, line);
	if (k != NONE) {
		L->case_[k].patient = p;
		L->case_[k].e = load_entity(L, q);
		for (int j = 0; j < N_CASE_FACTS; j++)
			L->case_[k].fact[j] = load_number(q, 3 + j);
	}
	sqlite3_reset(q);
	if (k != NONE)
		take_sites(L, k);
	return k;
}

static uint32_t make_case(struct load *L, const pd_batch *b, size_t i)
{
	const pd_cells *label = &b->cell[PD_F_CASE];
	const pd_cells *who = &b->cell[PD_F_PATIENT];
	uint32_t line = b->line[i];

	if (!L->has_draws) {
		load_find(L, "unknown-draw", PD_ERROR, line,
		          PD_F_CASE,
		          "a case whose draws are stored already",
		          "case '%s' is not known", label->text[i]);
		return NONE;
	}
	if (!who->text || !who->text[i]) {
		load_find(L, "unknown-case", PD_ERROR, line,
		          PD_F_CASE,
		          "a stored case, or a patient for a new one",
		          "case '%s' is not known and names no patient",
		          label->text[i]);
		return NONE;
	}
	uint32_t p = find_patient(L, who->text[i], who->length[i], line);
	uint32_t k = p == NONE ? NONE : new_case(L, label->text[i],
	                                         label->length[i], line);

	if (k == NONE)
		return NONE;
	if (L->next_case > INT32_MAX) {
		load_fail(L, pd_fail(L->err, PD_DATA, "too many cases"));
		return NONE;
	}
	L->case_[k].patient = p;
	L->case_[k].e.id = L->next_case++;
	L->case_[k].e.line = line;
	L->report->n_cases++;
	return k;
}

static bool same_label(const struct pd_table *t, uint32_t k, const pd_cells *c,
                       size_t i)
{
	return pd_table_length(t, k) == c->length[i] &&
	       memcmp(pd_table_word(t, k), c->text[i], c->length[i]) == 0;
}

uint32_t load_find_case(struct load *L, const pd_batch *b, size_t i)
{
	const pd_cells *label = &b->cell[PD_F_CASE];
	const pd_cells *who = &b->cell[PD_F_PATIENT];
	uint32_t k = L->last_case;

	if (!label->text || !label->text[i]) {
		load_find(L, "case-missing", PD_ERROR, b->line[i],
		          PD_F_CASE, "the case the row belongs to",
		          "no case");
		return NONE;
	}
	if (k == NONE || !same_label(L->labels[1], k, label, i)) {
		k = pd_table_find(L->labels[1], label->text[i],
		                  label->length[i]);
		if (k == PD_TABLE_NONE)
			k = L->store_empty ? NONE :
			    take_case(L, label->text[i], label->length[i],
			              b->line[i]);
		if (k == NONE)
			k = make_case(L, b, i);
		if (k == NONE)
			return NONE;
		L->last_case = k;
	}
	struct case_ *c = &L->case_[k];
	char where[300];

	if (who->text && who->text[i] &&
	    !same_label(L->labels[0], c->patient, who, i)) {
		load_find(L, "case-of-two-patients", PD_ERROR, b->line[i],
		          PD_F_PATIENT, "one patient a case",
		          "case '%s' of patient '%s', but of '%s' at %s",
		          label->text[i], who->text[i],
		          pd_table_word(L->labels[0], c->patient),
		          load_place(L, &c->e, 0, where, sizeof where));
		return NONE;
	}
	return k;
}

/* ---- sites ---- */

static int side_of(const pd_batch *b, size_t i)
{
	const int8_t *code = b->cell[PD_F_SIDE].code;

	return code && code[i] >= 0 ? code[i] + 1 : 0;
}

uint32_t load_find_site(struct load *L, uint32_t c, const pd_batch *b,
                        size_t i)
{
	double no = b->cell[PD_F_SITE_NO].number[i];
	int side = side_of(b, i);

	if (no < 1 || no > MOST_NUMBER) {
		load_find(L, "number-range", PD_ERROR, b->line[i],
		          PD_F_SITE_NO, "1 to 255",
		          "site number %.10g", no);
		return NONE;
	}
	int64_t id = L->case_[c].e.id << SITE_BITS | (int64_t)side << 8 |
	             (int64_t)no;
	uint32_t k = site_by_key(L, c, id);

	if (k != NONE)
		return k;
	if (!L->has_draws) {
		load_find(L, "unknown-draw", PD_ERROR, b->line[i],
		          PD_F_SITE_NO,
		          "a site whose draws are stored already",
		          "site %g%s of case '%s' is not known", no,
		          side == 1 ? " left" : side == 2 ? " right" : "",
		          b->cell[PD_F_CASE].text[i]);
		return NONE;
	}
	k = new_site(L, c);
	if (k != NONE) {
		L->site[k].e.id = id;
		L->site[k].e.line = b->line[i];
		L->report->n_sites++;
	}
	return k;
}
