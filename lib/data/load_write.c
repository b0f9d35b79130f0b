/*
 * load_write.c - rows into the store. New aliquots and assays are written
 * BULK_ROWS at a time by one statement (a third faster than one by one); a
 * row that is there already is read, compared and, where that is allowed,
 * changed after the old one went into history.
 */
#include "base/buf.h"
#include "data/load_own.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* `sql` ends in one tuple of parameters: the same with `n` of them. */
sqlite3_stmt *load_prepare_rows(struct load *L, const char *sql, int n)
{
	const char *tuple = strrchr(sql, '(');
	sqlite3_stmt *q = NULL;
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, sql);
	for (int k = 1; k < n; k++) {
		pd_buf_add(&b, ", ");
		pd_buf_add(&b, tuple);
	}
	if (!pd_buf_ok(&b))
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
	else
		load_fail(L, pd_db_prepare(L->s, pd_buf_text(&b), &q, L->err));
	pd_buf_clear(&b);
	return q;
}

void load_bulk_open(struct load *L, struct bulk *b, const char *sql)
{
	*b = (struct bulk){ .one = load_prepare_rows(L, sql, 1),
		            .many = load_prepare_rows(L, sql, BULK_ROWS) };
	b->n_parameters = b->one ? sqlite3_bind_parameter_count(b->one) : 0;
}

void load_bulk_close(struct bulk *b)
{
	sqlite3_finalize(b->one);
	sqlite3_finalize(b->many);
}

/* Write rows which[0..n-1]: all at once when they fill the statement. */
void load_write_rows(struct load *L, const struct bulk *b, load_bind *bind,
                     const uint32_t *which, size_t n)
{
	if (L->st != PD_OK)
		return;
	if (n == BULK_ROWS) {
		for (size_t i = 0; i < n; i++)
			bind(L, b->many, (int)i * b->n_parameters, which[i]);
		load_fail(L, pd_db_do(L->s, b->many, L->err));
		return;
	}
	for (size_t i = 0; i < n && L->st == PD_OK; i++) {
		bind(L, b->one, 0, which[i]);
		load_fail(L, pd_db_do(L->s, b->one, L->err));
	}
}

static void bind_reals(sqlite3_stmt *q, int at, const double *x, int n)
{
	for (int k = 0; k < n; k++)
		pd_db_bind_real(q, at + k, x[k]);
}

static void bind_fact(sqlite3_stmt *q, int at, bool is_real, double x)
{
	if (!isfinite(x))
		sqlite3_bind_null(q, at);
	else if (is_real)
		sqlite3_bind_double(q, at, x);
	else
		sqlite3_bind_int64(q, at, (int64_t)x);
}

/* Codes, numbers of names and days are whole: they go into INTEGER columns. */
void load_bind_facts(sqlite3_stmt *q, int at, record of, const double *fact,
                     int n)
{
	for (int k = 0; k < n; k++)
		bind_fact(q, at + k,
		          pd_field_about(load_fact_field(of, k))->kind ==
		          PD_FIELD_NUMBER, fact[k]);
}

void load_bind_end(struct load *L, sqlite3_stmt *q, int at, uint32_t line)
{
	sqlite3_bind_int64(q, at, L->source_id);
	sqlite3_bind_int64(q, at + 1, line);
}

static void bind_aliquot_row(struct load *L, sqlite3_stmt *q, int at,
                             const struct aliquot *a)
{
	sqlite3_bind_int64(q, at + 1, a->e.id);
	load_bind_facts(q, at + 2, OF_ALIQUOT, a->fact, N_ALIQUOT_FACTS);
	load_bind_end(L, q, at + 2 + N_ALIQUOT_FACTS, a->e.line);
}

/*
 * New rows have values only in columns of the file: the others were NULL when
 * the statement was prepared and stay so, which saves half of the binding.
 */
static void bind_aliquot(struct load *L, sqlite3_stmt *q, int at, uint32_t k)
{
	const struct aliquot *a = &L->aliquot[k];

	sqlite3_bind_int64(q, at + 1, a->e.id);
	for (int j = 0; j < L->n_facts[OF_ALIQUOT]; j++) {
		int f = L->fact[OF_ALIQUOT][j];

		bind_fact(q, at + 2 + f, L->is_real[OF_ALIQUOT][f], a->fact[f]);
	}
	load_bind_end(L, q, at + 2 + N_ALIQUOT_FACTS, a->e.line);
}

static void bind_assay_row(struct load *L, sqlite3_stmt *q, int at,
                           const struct assay *a)
{
	sqlite3_bind_int64(q, at + 1, a->e.id);
	sqlite3_bind_int64(q, at + 2, (int64_t)a->states);
	bind_reals(q, at + 3, a->value, N_VALUES);
	load_bind_end(L, q, at + 3 + N_VALUES, a->e.line);
}

static void bind_assay(struct load *L, sqlite3_stmt *q, int at, uint32_t k)
{
	const struct assay *a = &L->assay[k];

	if (L->is_long) {
		bind_assay_row(L, q, at, a);
		return;
	}
	sqlite3_bind_int64(q, at + 1, a->e.id);
	sqlite3_bind_int64(q, at + 2, (int64_t)a->states);
	for (int j = 0; j < L->n_values; j++)
		pd_db_bind_real(q, at + 3 + L->value[j],
		                a->value[L->value[j]]);
	load_bind_end(L, q, at + 3 + N_VALUES, a->e.line);
}

void load_write_open(struct load *L)
{
	static const char *const keep[] = {
		pd_sql_keep_patient, pd_sql_keep_case, pd_sql_keep_site,
		pd_sql_keep_aliquot, pd_sql_keep_assay,
	};
	static const char *const put_[] = {
		pd_sql_put_patient, pd_sql_put_case, pd_sql_put_site,
		pd_sql_put_aliquot, pd_sql_put_assay,
	};
	const struct {
		const char *sql;
		sqlite3_stmt **q;
	} all[] = {
		{ pd_sql_find_patient, &L->find_patient },
		{ pd_sql_patient_by_id, &L->patient_by_id },
		{ pd_sql_find_case, &L->find_case },
		{ pd_sql_find_sites, &L->find_sites },
		{ pd_sql_find_numbers, &L->find_numbers },
		{ pd_sql_get_aliquot, &L->get_aliquot },
		{ pd_sql_get_assay, &L->get_assay },
		{ pd_sql_add_label, &L->add_label },
	};

	for (uint32_t k = 0; k < BULK_ROWS; k++)
		L->in_order[k] = k;
	load_bulk_open(L, &L->aliquots, pd_sql_add_aliquot);
	load_bulk_open(L, &L->assays, pd_sql_add_assay);
	for (size_t i = 0; L->st == PD_OK && i < sizeof all / sizeof *all; i++)
		load_fail(L, pd_db_prepare(L->s, all[i].sql, all[i].q,
		                           L->err));
	for (int k = 0; L->st == PD_OK && k < N_RECORDS; k++) {
		load_fail(L, pd_db_prepare(L->s, keep[k], &L->keep[k],
		                           L->err));
		load_fail(L, pd_db_prepare(L->s, put_[k], &L->put[k],
		                           L->err));
	}
}

void load_write_close(struct load *L)
{
	sqlite3_stmt *all[] = { L->find_patient, L->patient_by_id,
		                L->find_case, L->find_sites, L->find_numbers,
		                L->get_aliquot, L->get_assay, L->add_label };

	load_bulk_close(&L->aliquots);
	load_bulk_close(&L->assays);
	for (size_t i = 0; i < sizeof all / sizeof *all; i++)
		sqlite3_finalize(all[i]);
	for (int k = 0; k < N_RECORDS; k++) {
		sqlite3_finalize(L->keep[k]);
		sqlite3_finalize(L->put[k]);
	}
}

static void flush_aliquots(struct load *L)
{
	load_write_rows(L, &L->aliquots, bind_aliquot, L->in_order,
	                L->aliquots.n);
	L->aliquots.n = 0;
}

static void flush_assays(struct load *L)
{
	load_write_rows(L, &L->assays, bind_assay, L->in_order, L->assays.n);
	L->assays.n = 0;
}

void load_flush(struct load *L)
{
	flush_aliquots(L);
	flush_assays(L);
}

void load_keep(struct load *L, record of, const struct entity *e)
{
	const char *why = L->request->reason;
	sqlite3_stmt *q = L->keep[of];

	if (e->replaced)
		L->report->n_superseded++;
	else if (L->n_filled++ == 0)
		L->first_filled = e->line;
	sqlite3_bind_int64(q, 1, e->id);
	sqlite3_bind_int64(q, 2, L->source_id);
	pd_db_bind_text(q, 3, !e->replaced ? "a blank was filled" :
	                why && *why ? why : "no reason given");
	load_fail(L, pd_db_do(L->s, q, L->err));
}

void load_put_label(struct load *L, const char *label, int64_t sample,
                    uint32_t line)
{
	sqlite3_stmt *q = L->add_label;

	pd_db_bind_text(q, 1, label);
	sqlite3_bind_int64(q, 2, sample);
	load_bind_end(L, q, 3, line);
	load_fail(L, pd_db_do(L->s, q, L->err));
}

/* ---- aliquots ---- */

/* An aliquot there is: what the row says of it must agree. */
static put again_aliquot(struct load *L, int64_t id, const pd_batch *b,
                         size_t i)
{
	struct aliquot a;
	uint32_t at[N_ALIQUOT_FACTS];
	sqlite3_stmt *q = L->get_aliquot;
	bool row = false;
	size_t errors = pd_findings_count(L->own, PD_ERROR);

	flush_aliquots(L);
	sqlite3_bind_int64(q, 1, id);
	load_fail(L, pd_db_step(L->s, q, &row, L->err));
	if (!row) {
		sqlite3_reset(q);
		load_fail(L, pd_fail(L->err, PD_INTERNAL, "aliquot lost"));
		return PUT_BAD;
	}
	a.e = load_entity(L, q);
	for (int k = 0; k < N_ALIQUOT_FACTS; k++) {
		a.fact[k] = load_number(q, 3 + k);
		at[k] = a.e.source ? 0 : a.e.line;
	}
	sqlite3_reset(q);
	load_agree_row(L, OF_ALIQUOT, &a.e, a.fact, at, b, i);
	if (pd_findings_count(L->own, PD_ERROR) > errors)
		return PUT_BAD;
	if (!a.e.filled && !a.e.replaced)
		return a.e.source ? PUT_SAME : PUT_REPEATED;
	if (a.e.source) {
		a.e.line = b->line[i];
		load_keep(L, OF_ALIQUOT, &a.e);
	}
	bind_aliquot_row(L, L->put[OF_ALIQUOT], 0, &a);
	load_fail(L, pd_db_do(L->s, L->put[OF_ALIQUOT], L->err));
	return PUT_CHANGED;
}

put load_put_aliquot(struct load *L, uint32_t site, int number,
                     const pd_batch *b, size_t i)
{
	struct site *s = &L->site[site];
	uint64_t bit = UINT64_C(1) << number % 64;
	int64_t id = s->e.id << ALIQUOT_BITS | number;

	if (s->seen[number / 64] & bit)
		return again_aliquot(L, id, b, i);
	if (!L->has_draws) {
		load_find(L, "unknown-draw", PD_ERROR, b->line[i],
		          PD_F_ALIQUOT_NO,
		          "a pull that is stored already",
		          "pull %d of this site of case '%s' is not known",
		          number, b->cell[PD_F_CASE].text[i]);
		return PUT_BAD;
	}
	s->seen[number / 64] |= bit;
	struct aliquot *a = &L->aliquot[L->aliquots.n++];

	a->e = (struct entity){ .id = id, .line = b->line[i] };
	for (int k = 0; k < N_ALIQUOT_FACTS; k++)
		a->fact[k] = NAN;
	for (int j = 0; j < L->n_facts[OF_ALIQUOT]; j++) {
		int k = L->fact[OF_ALIQUOT][j];

		a->fact[k] = load_cell(L, b, i, load_fact_field(OF_ALIQUOT,
		                                                k));
	}
	L->report->n_aliquots++;
	if (L->aliquots.n == BULK_ROWS)
		flush_aliquots(L);
	return PUT_NEW;
}

/* ---- assays ---- */

static uint8_t state_of(const struct assay *a, int k)
{
	return (uint8_t)(k < N_RESULTS ? a->states >> 4 * k & 15 : PD_MEASURED);
}

static bool is_blank(const struct assay *a, int k)
{
	return state_of(a, k) == PD_MEASURED && isnan(a->value[k]);
}

static bool is_same(const struct assay *a, const struct assay *b, int k)
{
	return state_of(a, k) == state_of(b, k) &&
	       (a->value[k] == b->value[k] ||
	        (isnan(a->value[k]) && isnan(b->value[k])));
}

static void copy_value(struct assay *to, const struct assay *from, int k)
{
	if (k < N_RESULTS)
		to->states = (to->states & ~(UINT64_C(15) << 4 * k)) |
		             (uint64_t)state_of(from, k) << 4 * k;
	to->value[k] = from->value[k];
}

/* A result cell in words. */
static const char *result_words(const struct assay *a, int k, char *buf,
                                size_t size)
{
	static const char *const words[] = {
		"too many to count", "failed", "not ordered", "not detected",
	};
	uint8_t state = state_of(a, k);

	if (state <= PD_ABOVE)
		snprintf(buf, size, state == PD_MEASURED ? "%.10g" :
		         state == PD_BELOW ? "<%.10g" : ">%.10g", a->value[k]);
	else
		snprintf(buf, size, "%s", words[state - PD_UNCOUNTABLE]);
	return buf;
}

/* Assays of earlier files that this one changed: which values it gave. */
static uint32_t *given_by_this_file(struct load *L, int64_t id, bool add)
{
	const char *key = (const char *)&id;
	uint32_t k = add ? pd_table_add(L->changed, key, sizeof id)
	                 : pd_table_find(L->changed, key, sizeof id);

	if (k == PD_TABLE_NONE)
		return NULL;
	if (k >= L->room_given) {
		size_t room = L->room_given ? 2 * L->room_given : 64;
		uint32_t *grown = realloc(L->given, room * sizeof *grown);

		if (!grown)
			return NULL;
		memset(grown + L->room_given, 0,
		       (room - L->room_given) * sizeof *grown);
		L->given = grown;
		L->room_given = room;
	}
	return &L->given[k];
}

static void results_differ(struct load *L, const struct assay *is,
                           const struct assay *was, int k, bool old)
{
	char a[40], b[40], where[300];
	pd_field f = load_value_field(k);

	load_find(L, old ? "differs-from-stored" : "rows-disagree",
	          PD_ERROR, is->e.line, L->has[f] ? f : PD_F_VALUE,
	          old ? "the stored value, or a load that supersedes"
	                        : "one value a sample and method version",
	          "%s %s, but %s at %s",
	          pd_field_about(f)->header,
	          result_words(is, k, a, sizeof a),
	          result_words(was, k, b, sizeof b),
	          load_place(L, &was->e, 0, where, sizeof where));
}

/*
 * Bring a row's results into those there are. Returns what came of it; sets
 * was->e.filled and was->e.replaced. ours: bits of the values that this file
 * gave. A result of an aliquot given twice in one
 * file is a finding even where it is the same; of a pool it may be repeated,
 * as clinics write it on the row of every draw in it.
 */
static put merge(struct load *L, struct assay *was, const struct assay *is,
                 uint32_t ours)
{
	int n_same = 0;
	size_t errors = pd_findings_count(L->own, PD_ERROR);
	bool pool = (is->e.id >> (ASSAY_BITS + 16) & 3) == POOL_SIDE;
	char where[300];

	for (int k = 0; k < N_VALUES; k++) {
		bool old = !(ours >> k & 1);

		if (is_blank(is, k))
			continue;
		if (is_blank(was, k)) {
			was->e.filled = true;
			copy_value(was, is, k);
		} else if (is_same(was, is, k)) {
			n_same += k < N_RESULTS && !old;
		} else if (old && L->request->supersede) {
			was->e.replaced = true;
			copy_value(was, is, k);
		} else {
			results_differ(L, is, was, k, old);
		}
	}
	if (pd_findings_count(L->own, PD_ERROR) > errors)
		return PUT_BAD;
	if (n_same && !pool) {
		load_find(L, "duplicate-key", PD_ERROR, is->e.line,
		          PD_F_ALIQUOT_NO,
		          "one row a sample and method version",
		          "the same result of the same sample at %s",
		          load_place(L, &was->e, 0, where, sizeof where));
		return PUT_BAD;
	}
	if (!was->e.filled && !was->e.replaced)
		return was->e.source ? PUT_SAME : PUT_REPEATED;
	return PUT_CHANGED;
}

static bool read_assay(struct load *L, int64_t id, struct assay *a)
{
	sqlite3_stmt *q = L->get_assay;
	bool row = false;

	sqlite3_bind_int64(q, 1, id);
	load_fail(L, pd_db_step(L->s, q, &row, L->err));
	if (row) {
		a->e = load_entity(L, q);
		a->states = (uint64_t)sqlite3_column_int64(q, 3);
		for (int k = 0; k < N_VALUES; k++)
			a->value[k] = load_number(q, 4 + k);
	}
	sqlite3_reset(q);
	return row;
}

/* The assay may be among the waiting rows or stored: merge it there. */
static bool put_into_old(struct load *L, const struct assay *a, put *out)
{
	struct assay was;
	uint32_t *given, ours = UINT32_MAX;

	for (size_t i = L->assays.n; i > 0; i--)
		if (L->assay[i - 1].e.id == a->e.id) {
			*out = merge(L, &L->assay[i - 1], a, ours);
			load_compare_results(L, &L->assay[i - 1], a->e.line);
			return true;
		}
	if (!read_assay(L, a->e.id, &was))
		return false;
	given = given_by_this_file(L, a->e.id, was.e.source != 0);
	if (was.e.source && !given) {
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
		return true;
	}
	if (given)
		ours = *given;
	*out = merge(L, &was, a, ours);
	load_compare_results(L, &was, a->e.line);
	for (int k = 0; given && k < N_VALUES; k++)
		*given |= (uint32_t)!is_blank(a, k) << k;
	if (*out != PUT_CHANGED)
		return true;
	if (was.e.source || (given && was.e.replaced)) {
		was.e.line = a->e.line;
		load_keep(L, OF_ASSAY, &was.e);
	}
	bind_assay_row(L, L->put[OF_ASSAY], 0, &was);
	load_fail(L, pd_db_do(L->s, L->put[OF_ASSAY], L->err));
	return true;
}

put load_put_assay(struct load *L, const struct assay *a, bool fresh)
{
	put out = PUT_NEW;
	bool old = !fresh && put_into_old(L, a, &out);

	if (out == PUT_NEW || out == PUT_CHANGED)
		load_measure(L, a);
	if (old)
		return out;
	L->assay[L->assays.n++] = *a;
	L->report->n_results++;
	if (L->assays.n == BULK_ROWS)
		flush_assays(L);
	return out;
}
