/*
 * release_read.c - the store's rows brought to what may be told of them: dates
 * to years, ages and body mass indices to bands, names to codes.
 */
#include "data/release_own.h"
#include "base/scan.h"
#include "data/sql_text.h"

#include <math.h>
#include <string.h>

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory for the release");
}

static double real(sqlite3_stmt *q, int column)
{
	return sqlite3_column_type(q, column) == SQLITE_NULL
	           ? (double)NAN : sqlite3_column_double(q, column);
}

static void take_assay(pd_release_work *w, sqlite3_stmt *q)
{
	struct rl_assay *a = &w->assay[w->n_assays++];

	a->id = sqlite3_column_int64(q, 0);
	a->states = (uint64_t)sqlite3_column_int64(q, 1);
	for (int k = 0; k < RL_OUTCOMES; k++)
		a->value[k] = real(q, 2 + k);
	a->plated = real(q, 2 + RL_OUTCOMES);
	a->days = real(q, 3 + RL_OUTCOMES);
	a->threshold = real(q, 4 + RL_OUTCOMES);
	a->source = (uint32_t)sqlite3_column_int64(q, 5 + RL_OUTCOMES);
	/* results of one sample lie together */
	int64_t sample = a->id >> 14;

	if (!w->n_samples || w->sample_id[w->n_samples - 1] != sample)
		w->sample_id[w->n_samples++] = sample;
	a->sample = (uint32_t)(w->n_samples - 1);
}

static pd_status read_assays(pd_release_work *w, pd_error *err)
{
	sqlite3_stmt *q = NULL;
	pd_store_counts c;
	bool row = true;
	pd_status st = pd_store_count(w->s, &c, err);

	if (st != PD_OK)
		return st;
	w->assay = PD_NEW(w->arena, struct rl_assay, c.n_results + 1);
	w->sample_id = PD_NEW(w->arena, int64_t, c.n_results + 1);
	if (!w->assay || !w->sample_id)
		return no_memory(err);
	st = pd_db_prepare(w->s, pd_sql_release_assays, &q, err);
	while (st == PD_OK && row) {
		st = pd_db_step(w->s, q, &row, err);
		if (st == PD_OK && row && w->n_assays < c.n_results)
			take_assay(w, q);
	}
	sqlite3_finalize(q);
	return st;
}

static pd_status read_sources(pd_release_work *w, pd_error *err)
{
	sqlite3_stmt *q = NULL;
	sqlite3_int64 n = 0;
	bool row = true;
	pd_status st = pd_db_number(w->s, pd_sql_count_sources, &n, err);

	w->source_name = PD_NEW(w->arena, const char *, (size_t)n + 1);
	if (st == PD_OK && !w->source_name)
		st = no_memory(err);
	if (st == PD_OK)
		st = pd_db_prepare(w->s, pd_sql_audit_sources, &q, err);
	while (st == PD_OK && row) {
		st = pd_db_step(w->s, q, &row, err);
		if (st != PD_OK || !row || w->n_sources >= (size_t)n)
			break;
		/* keys of sources are 1, 2, 3 ... */
		w->source_name[w->n_sources] =
		    pd_arena_copy(w->arena, pd_db_text(q, 1));
		if (!w->source_name[w->n_sources++])
			st = no_memory(err);
	}
	sqlite3_finalize(q);
	return st;
}

/* ---- patients and cases -------------------------------------------------- */

static uint16_t landmarks_of(const struct q_tree *t, const struct q_case *c)
{
	uint16_t bits = 0;

	for (uint32_t k = 0; k < c->n_sites; k++) {
		const struct q_site *s = &t->site[c->first_site + k];

		if (s->n_aliquots && s->landmark >= 0)
			bits |= (uint16_t)(1u << s->landmark);
	}
	return bits;
}

/* Visits of a patient lie together in t->order, by date. */
static void number_visits(pd_release_work *w)
{
	const struct q_tree *t = w->t;
	uint16_t visit = 0;
	double first = NAN;

	for (size_t k = 0; k < t->n_cases; k++) {
		const struct q_case *c = &t->case_[t->order[k]];
		struct rl_case *to = &w->case_[t->order[k]];

		if (!c->repeat) {
			visit = 0;
			first = c->date;
		}
		to->visit = isnan(c->date) ? 0 : ++visit;
		to->days = isnan(c->date) ? -1 : (int32_t)(c->date - first);
	}
}

static bool tell_cases(pd_release_work *w)
{
	const struct q_tree *t = w->t;
	int year, month, day;

	w->case_ = PD_NEW(w->arena, struct rl_case, t->n_cases + 1);
	w->sex = PD_NEW(w->arena, uint8_t, t->n_patients + 1);
	w->adverse = PD_NEW(w->arena, int8_t, t->n_sites + 1);
	if (!w->case_ || !w->sex || !w->adverse)
		return false;
	for (size_t i = 0; i < t->n_cases; i++) {
		const struct q_case *c = &t->case_[i];
		struct rl_case *to = &w->case_[i];

		to->age = rl_age_of(&w->ask, q_case_age(t, c));
		to->bmi = rl_bmi_of(c->bmi);
		if (!isnan(c->date)) {
			pd_date_of((int32_t)c->date, &year, &month, &day);
			to->year = (uint16_t)year;
		}
		to->landmarks = landmarks_of(t, c);
	}
	for (size_t i = 0; i < t->n_patients; i++)
		w->sex[i] = t->patient[i].sex < 0
		                ? RL_BLANK : (uint8_t)t->patient[i].sex;
	for (size_t i = 0; i < t->n_sites; i++)
		w->adverse[i] = t->site[i].adverse;
	number_visits(w);
	return true;
}

static pd_status draw_codes(pd_release_work *w, pd_error *err)
{
	const struct q_tree *t = w->t;
	const size_t n[RL_KINDS] = {
		[RL_PATIENT] = t->n_patients, [RL_CASE] = t->n_cases,
		[RL_SAMPLE] = w->n_samples,
		[RL_OPERATOR] = t->n_names[Q_OPERATORS],
		[RL_DEVICE] = t->n_names[Q_DEVICES],
		[RL_METHOD] = t->n_names[Q_METHODS],
		[RL_SOURCE] = w->n_sources,
	};
	pd_status st = PD_OK;

	for (int k = 0; st == PD_OK && k < RL_KINDS; k++) {
		w->code[k] = PD_NEW(w->arena, rl_code, n[k] + 1);
		w->n_codes[k] = n[k];
		st = w->code[k] ? rl_codes_draw(w->secret, (enum rl_kind)k,
		                                n[k], w->code[k], err)
		                : no_memory(err);
	}
	return st;
}

pd_status rl_read(pd_release_work *w, pd_error *err)
{
	pd_status st = q_tree_get(w->s, &w->t, err);

	if (st == PD_OK)
		st = read_assays(w, err);
	if (st == PD_OK)
		st = read_sources(w, err);
	if (st == PD_OK && !tell_cases(w))
		st = no_memory(err);
	return st == PD_OK ? draw_codes(w, err) : st;
}
