/*
 * release_rows.c - rows of the tables, one by one, in an order that tells
 * nothing: patients and cases by their codes, within a case by side, site and
 * pull, pooled samples after them by code, results of a sample by material
 * and code of the method version.
 */
#include "data/release_own.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = RL_C_END, ROOM = 32 };

struct walk {
	pd_release_work *w;
	int which;
	pd_release_table *t;
	const int *id;
	pd_release_visit *visit;
	void *user;
	pd_error *err;
	const char *cell[MOST];
	char text[MOST][ROOM];
	pd_buf pool;
	/* where the walk is; site and aliquot NOWHERE for a pool */
	uint32_t case_, site, aliquot;
	const struct rl_assay *assay; /* NULL: a pull without one            */
	int outcome;                  /* of the long table, -1: none         */
};

/* As few digits as give the same double back. */
static const char *number(double x, char to[ROOM])
{
	if (isnan(x))
		return NULL;
	for (int digits = 15; digits <= 17; digits++) {
		snprintf(to, ROOM, "%.*g", digits, x);
		if (strtod(to, NULL) == x)
			break;
	}
	return to;
}

static const char *word(pd_field f, int code)
{
	return code < 0 ? NULL : pd_vocab_words(f)[code];
}

static const char *code(const pd_release_work *w, enum rl_kind kind, int64_t k)
{
	return k < 0 || (size_t)k >= w->n_codes[kind] ? NULL
	                                              : w->code[kind][k];
}

/* ---- cells by the record they are of ---------------------------------- */

static const char *case_cell(struct walk *k, int id, char to[ROOM])
{
	const pd_release_work *w = k->w;
	const struct q_case *c = &w->t->case_[k->case_];
	const struct rl_case *told = &w->case_[k->case_];
	uint8_t sex = w->sex[c->patient];

	switch (id) {
	case RL_C_PATIENT: return code(w, RL_PATIENT, c->patient);
	case RL_C_CASE: return code(w, RL_CASE, k->case_);
	case RL_C_VISIT: return told->visit ? number(told->visit, to) : NULL;
	case RL_C_DAYS:
		return told->days < 0 ? NULL : number(told->days, to);
	case RL_C_YEAR:
		return told->year == RL_NO_YEAR ? NULL : number(told->year, to);
	case RL_C_SEX: return sex == RL_BLANK ? NULL : word(PD_F_SEX, sex);
	case RL_C_AGE: return rl_age_word(w, told->age);
	case RL_C_BMI: return rl_bmi_word(told->bmi);
	case RL_C_OPERATOR: return code(w, RL_OPERATOR, c->operator_);
	case RL_C_BLOOD_WBC: return number(c->blood_wbc, to);
	case RL_C_BLOOD_RBC: return number(c->blood_rbc, to);
	case RL_C_BLOOD_HCT: return number(c->blood_hct, to);
	default: return NULL;
	}
}

static const char *site_cell(struct walk *k, int id, char to[ROOM])
{
	const struct q_site *s = &k->w->t->site[k->site];
	bool told = k->w->case_[k->case_].landmarks != 0;

	switch (id) {
	case RL_C_SIDE: return word(PD_F_SIDE, (int)s->side - 1);
	case RL_C_SITE_NO: return number(s->no, to);
	case RL_C_LANDMARK:
		return told ? word(PD_F_LANDMARK, s->landmark) : NULL;
	case RL_C_DISTANCE: return number(s->distance, to);
	case RL_C_GAUGE: return number(s->gauge, to);
	case RL_C_GEOMETRY: return word(PD_F_GEOMETRY, s->geometry);
	case RL_C_NEEDLE: return code(k->w, RL_DEVICE, s->needle);
	case RL_C_ADVERSE:
		return k->w->adverse[k->site] == RL_EVENT
		           ? "event" : word(PD_F_ADVERSE,
		                            k->w->adverse[k->site]);
	case RL_C_PAIN: return number(s->pain, to);
	default: return NULL;
	}
}

static const char *aliquot_cell(struct walk *k, int id, char to[ROOM])
{
	const struct q_aliquot *a = &k->w->t->aliquot[k->aliquot];

	switch (id) {
	case RL_C_ALIQUOT_NO: return number((double)(a->id & 255), to);
	case RL_C_VOLUME: return number(a->ml, to);
	case RL_C_SYRINGE: return number(a->syringe, to);
	case RL_C_MOVE: return word(PD_F_MOVE, a->move);
	case RL_C_ANTICOAGULANT:
		return word(PD_F_ANTICOAGULANT, a->anticoagulant);
	case RL_C_ANTICOAG_ML: return number(a->anticoagulant_ml, to);
	case RL_C_STYLE: return word(PD_F_PULL_STYLE, a->style);
	case RL_C_TIME_TO_LAB: return number(a->time_to_lab, to);
	default: return NULL;
	}
}

/* The draws of a pool: "L1.1+L1.2". */
static const char *pool_cell(struct walk *k)
{
	const struct q_tree *t = k->w->t;
	int64_t sample = k->assay->id >> 14;
	size_t low = 0, high = t->n_members;

	pd_buf_reset(&k->pool);
	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (t->member[mid].sample < sample)
			low = mid + 1;
		else
			high = mid;
	}
	for (; low < t->n_members && t->member[low].sample == sample; low++) {
		if (t->member[low].aliquot == NOWHERE)
			continue;
		const struct q_aliquot *a = &t->aliquot[t->member[low].aliquot];
		const struct q_site *s = &t->site[a->site];

		pd_buf_print(&k->pool, "%s%c%d.%d", k->pool.length ? "+" : "",
		             "NLR?"[s->side], s->no, (int)(a->id & 255));
	}
	return k->pool.length ? pd_buf_text(&k->pool) : NULL;
}

static const char *result_cell(struct walk *k, int outcome, bool mark,
                               char to[ROOM])
{
	const struct rl_assay *a = k->assay;
	double x = outcome < 0 ? (double)NAN : a->value[outcome];

	if (outcome < 0)
		return NULL;
	if (mark)
		return rl_mark(a->states, outcome, x);
	return rl_mark(a->states, outcome, x) ? number(x, to) : NULL;
}

static const char *assay_cell(struct walk *k, int id, char to[ROOM])
{
	const pd_release_work *w = k->w;
	const struct rl_assay *a = k->assay;
	int method = (int)(a->id & 8191);

	if (id >= RL_C_RESULT_MARK)
		return result_cell(k, id - RL_C_RESULT_MARK, true, to);
	if (id >= RL_C_RESULT)
		return result_cell(k, id - RL_C_RESULT, false, to);
	switch (id) {
	case RL_C_SAMPLE: return code(w, RL_SAMPLE, a->sample);
	case RL_C_POOL: return k->aliquot == NOWHERE ? pool_cell(k) : NULL;
	case RL_C_MATERIAL: return word(PD_F_MATERIAL, a->id >> 13 & 1);
	case RL_C_METHOD:
		return method == 0 ? NULL
		       : w->ask.method_names ? w->t->name[Q_METHODS][method]
		                             : code(w, RL_METHOD, method);
	case RL_C_SOURCE: return code(w, RL_SOURCE, (int64_t)a->source - 1);
	case RL_C_OUTCOME:
		return k->outcome < 0 ? NULL : word(PD_F_OUTCOME, k->outcome);
	case RL_C_VALUE: return result_cell(k, k->outcome, false, to);
	case RL_C_MARK: return result_cell(k, k->outcome, true, to);
	case RL_C_UNIT:
		return k->outcome < 0 ? NULL :
		       pd_field_about(pd_outcome_field(k->outcome))->unit;
	case RL_C_PLATED: return number(a->plated, to);
	case RL_C_CULTURE_DAYS: return number(a->days, to);
	case RL_C_THRESHOLD: return number(a->threshold, to);
	default: return NULL;
	}
}

/* The record a column belongs to decides where its cell is looked up. */
static const char *cell_of(struct walk *k, int id, char to[ROOM])
{
	if (id < RL_C_SIDE)
		return case_cell(k, id, to);
	if (id < RL_C_ALIQUOT_NO)
		return k->site == NOWHERE ? NULL : site_cell(k, id, to);
	if (id < RL_C_SAMPLE)
		return k->aliquot == NOWHERE ? NULL : aliquot_cell(k, id, to);
	return k->assay ? assay_cell(k, id, to) : NULL;
}

static pd_status emit(struct walk *k)
{
	for (size_t i = 0; i < k->t->n_columns; i++) {
		k->cell[i] = cell_of(k, k->id[i], k->text[i]);
		k->t->column[i].filled += k->cell[i] != NULL;
	}
	k->t->n_rows++;
	return k->visit(k->user, k->t, k->cell, k->err);
}

/* ---- the order -------------------------------------------------------- */

/* By sample, its material, the code of its method version. */
static int by_result(const void *a, const void *b, void *user)
{
	const pd_release_work *w = user;
	const struct rl_assay *x = &w->assay[*(const uint32_t *)a];
	const struct rl_assay *y = &w->assay[*(const uint32_t *)b];
	int d = strcmp(w->code[RL_SAMPLE][x->sample],
	               w->code[RL_SAMPLE][y->sample]);

	if (d == 0)
		d = (int)(x->id >> 13 & 1) - (int)(y->id >> 13 & 1);
	return d ? d : strcmp(w->code[RL_METHOD][x->id & 8191],
	                      w->code[RL_METHOD][y->id & 8191]);
}

/* First result of that key or a later one. */
static size_t lower(const pd_release_work *w, int64_t id)
{
	size_t low = 0, high = w->n_assays;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (w->assay[mid].id < id)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

/* Rows of the results from..to-1, by sample and method. *n: rows made. */
static pd_status results(struct walk *k, size_t from, size_t to, size_t *n)
{
	uint32_t *at = malloc((to - from + 1) * sizeof *at);
	pd_status st = PD_OK;

	if (!at)
		return pd_fail(k->err, PD_NO_MEMORY, "out of memory");
	for (size_t i = from; i < to; i++)
		at[i - from] = (uint32_t)i;
	qsort_r(at, to - from, sizeof *at, by_result, k->w);
	for (size_t i = 0; st == PD_OK && i < to - from; i++) {
		k->assay = &k->w->assay[at[i]];
		if (k->which == PD_RELEASE_WIDE) {
			st = emit(k);
			++*n;
		}
		for (int o = 0; st == PD_OK && k->which == PD_RELEASE_LONG &&
		     o < RL_OUTCOMES; o++) {
			k->outcome = o;
			if (!rl_mark(k->assay->states, o, k->assay->value[o]))
				continue;
			st = emit(k);
			++*n;
		}
		k->outcome = -1;
	}
	k->assay = NULL;
	free(at);
	return st;
}

static pd_status one_case(struct walk *k, uint32_t at)
{
	const struct q_tree *t = k->w->t;
	const struct q_case *c = &t->case_[at];
	pd_status st = PD_OK;
	size_t n;

	k->case_ = at;
	for (uint32_t i = 0; st == PD_OK && i < c->n_aliquots; i++) {
		int64_t id = t->aliquot[c->first_aliquot + i].id;

		n = 0;
		k->aliquot = c->first_aliquot + i;
		k->site = t->aliquot[k->aliquot].site;
		st = results(k, lower(k->w, id << 14),
		             lower(k->w, (id + 1) << 14), &n);
		/* so that both tables speak of the same draws */
		if (st == PD_OK && n == 0)
			st = emit(k);
	}
	/* pools: case * 2^18 + 3 * 2^16 + number */
	k->aliquot = k->site = NOWHERE;
	if (st == PD_OK && c->n_aliquots)
		st = results(k, lower(k->w, (c->id << 18 | 3 << 16) << 14),
		             lower(k->w, (c->id + 1) << 32), &n);
	return st;
}

static int by_patient_then_case(const void *a, const void *b, void *user)
{
	const pd_release_work *w = user;
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
	int d = strcmp(w->code[RL_PATIENT][w->t->case_[x].patient],
	               w->code[RL_PATIENT][w->t->case_[y].patient]);

	return d ? d : strcmp(w->code[RL_CASE][x], w->code[RL_CASE][y]);
}

pd_status pd_release_rows(pd_release_work *w, int table,
                          pd_release_visit *visit, void *user, pd_error *err)
{
	struct walk k = { .w = w, .which = table, .t = &w->told.table[table],
		          .id = w->column_id[table], .visit = visit,
		          .user = user, .err = err, .outcome = -1 };
	size_t n = w->t->n_cases;
	uint32_t *order = malloc((n + 1) * sizeof *order);
	pd_status st = PD_OK;

	if (!order)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_buf_init(&k.pool);
	for (size_t i = 0; i < n; i++)
		order[i] = (uint32_t)i;
	qsort_r(order, n, sizeof *order, by_patient_then_case, w);
	k.t->n_rows = 0;
	for (size_t i = 0; i < k.t->n_columns; i++)
		k.t->column[i].filled = 0;
	for (size_t i = 0; st == PD_OK && i < n; i++)
		st = one_case(&k, order[i]);
	if (st == PD_OK && !pd_buf_ok(&k.pool))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_buf_clear(&k.pool);
	free(order);
	return st;
}
