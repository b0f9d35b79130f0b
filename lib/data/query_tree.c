/*
 * query_tree.c - patients, cases, sites and aliquots read in the order of
 * their keys and tied together by one walk: keys carry their parents, so
 * nothing is searched. What was read stays with the store until its data
 * change: a review asks many questions of the same draws.
 */
#include "data/audit.h"
#include "data/query_own.h"
#include "data/sql_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double real(sqlite3_stmt *q, int column)
{
	return sqlite3_column_type(q, column) == SQLITE_NULL ?
	       NAN : sqlite3_column_double(q, column);
}

static int code(sqlite3_stmt *q, int column)
{
	return sqlite3_column_type(q, column) == SQLITE_NULL ?
	       -1 : sqlite3_column_int(q, column);
}

void q_tree_free(struct q_tree *t)
{
	if (!t)
		return;
	pd_arena_free(t->arena);
	free(t->patient);
	free(t->case_);
	free(t->site);
	free(t->aliquot);
	free(t->member);
	free(t->order);
	free(t);
}

/* Next place of a growing array, NULL when memory runs out. */
static void *next(void *array, size_t *n, size_t size)
{
	void **p = array;

	/* room is the next power of two, from 1024 on */
	if (*n == 0 || (*n >= 1024 && (*n & (*n - 1)) == 0)) {
		size_t room = *n ? 2 * *n : 1024;
		void *grown = realloc(*p, room * size);

		if (!grown)
			return NULL;
		*p = grown;
	}
	return memset((char *)*p + (*n)++ * size, 0, size);
}

typedef bool take_row(struct q_tree *t, sqlite3_stmt *q);

static pd_status read_all(pd_store *s, struct q_tree *t, const char *sql,
                          take_row *take, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(s, sql, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row && !take(t, q))
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	sqlite3_finalize(q);
	return st;
}

static bool take_patient(struct q_tree *t, sqlite3_stmt *q)
{
	struct q_patient *p = next(&t->patient, &t->n_patients, sizeof *p);

	if (!p)
		return false;
	p->id = sqlite3_column_int64(q, 0);
	p->label = pd_arena_copy(t->arena, pd_db_text(q, 1));
	p->sex = (int8_t)code(q, 2);
	p->birth_year = real(q, 3);
	return p->label != NULL;
}

static uint32_t find_patient(const struct q_tree *t, int64_t id)
{
	size_t low = 0, high = t->n_patients;

	/* keys are given without gaps: nearly always the right guess */
	if (id >= 1 && (size_t)id <= high && t->patient[id - 1].id == id)
		return (uint32_t)id - 1;
	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (t->patient[mid].id < id)
			low = mid + 1;
		else
			high = mid;
	}
	return low < t->n_patients && t->patient[low].id == id ?
	       (uint32_t)low : NOWHERE;
}

static bool take_case(struct q_tree *t, sqlite3_stmt *q)
{
	struct q_case *c = next(&t->case_, &t->n_cases, sizeof *c);

	if (!c)
		return false;
	c->id = sqlite3_column_int64(q, 0);
	c->label = pd_arena_copy(t->arena, pd_db_text(q, 1));
	c->patient = find_patient(t, sqlite3_column_int64(q, 2));
	c->date = real(q, 3);
	c->age = real(q, 4);
	c->bmi = real(q, 5);
	c->operator_ = code(q, 6);
	c->blood_wbc = real(q, 7);
	c->blood_rbc = real(q, 8);
	c->blood_hct = real(q, 9);
	return c->label && c->patient != NOWHERE;
}

static bool take_site(struct q_tree *t, sqlite3_stmt *q)
{
	struct q_site *s = next(&t->site, &t->n_sites, sizeof *s);

	if (!s)
		return false;
	s->id = sqlite3_column_int64(q, 0);
	s->side = s->id >> 8 & 3;
	s->no = (uint8_t)(s->id & 255);
	s->landmark = (int8_t)code(q, 1);
	s->distance = real(q, 2);
	s->gauge = real(q, 3);
	s->geometry = (int8_t)code(q, 4);
	s->needle = code(q, 5);
	s->adverse = (int8_t)code(q, 6);
	s->pain = real(q, 7);
	return true;
}

static bool take_aliquot(struct q_tree *t, sqlite3_stmt *q)
{
	struct q_aliquot *a = next(&t->aliquot, &t->n_aliquots, sizeof *a);

	if (!a)
		return false;
	a->id = sqlite3_column_int64(q, 0);
	a->ml = real(q, 1);
	a->syringe = real(q, 2);
	a->move = (int8_t)code(q, 3);
	a->anticoagulant = (int8_t)code(q, 4);
	a->anticoagulant_ml = real(q, 5);
	a->style = (int8_t)code(q, 6);
	a->time_to_lab = real(q, 7);
	return true;
}

uint32_t q_tree_aliquot(const struct q_tree *t, int64_t id)
{
	size_t low = 0, high = t->n_aliquots;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (t->aliquot[mid].id < id)
			low = mid + 1;
		else
			high = mid;
	}
	return low < t->n_aliquots && t->aliquot[low].id == id ?
	       (uint32_t)low : NOWHERE;
}

static bool take_member(struct q_tree *t, sqlite3_stmt *q)
{
	struct q_member *m = next(&t->member, &t->n_members, sizeof *m);

	if (!m)
		return false;
	m->sample = sqlite3_column_int64(q, 0);
	m->aliquot = q_tree_aliquot(t, sqlite3_column_int64(q, 1));
	return true;
}

static bool take_name(struct q_tree *t, sqlite3_stmt *q)
{
	int which = sqlite3_column_int(q, 0);
	size_t id = (size_t)sqlite3_column_int64(q, 1);
	size_t n = t->n_names[which];

	if (id >= n) {
		size_t room = id + id / 2 + 16;
		const char **name = PD_NEW(t->arena, const char *, room);

		if (!name)
			return false;
		if (n)
			memcpy(name, t->name[which], n * sizeof *name);
		t->name[which] = name;
		t->n_names[which] = room;
	}
	t->name[which][id] = pd_arena_copy(t->arena, pd_db_text(q, 2));
	return t->name[which][id] != NULL;
}

/* ---- ties ---- */

/* Aliquots to sites, sites to cases: both lists lie in order of key. */
static bool tie(struct q_tree *t)
{
	size_t i = 0, k = 0;

	for (size_t c = 0; c < t->n_cases; c++) {
		struct q_case *it = &t->case_[c];

		it->first_site = (uint32_t)k;
		it->first_aliquot = (uint32_t)i;
		for (; k < t->n_sites && t->site[k].id >> 10 == it->id; k++) {
			struct q_site *s = &t->site[k];

			s->case_ = (uint32_t)c;
			s->first_aliquot = (uint32_t)i;
			for (; i < t->n_aliquots &&
			     t->aliquot[i].id >> 8 == s->id; i++) {
				t->aliquot[i].site = (uint32_t)k;
				s->ml += t->aliquot[i].ml;
			}
			s->n_aliquots = (uint32_t)i - s->first_aliquot;
			it->total_ml += s->ml;
		}
		it->n_sites = (uint32_t)k - it->first_site;
		it->n_aliquots = (uint32_t)i - it->first_aliquot;
		if (it->n_aliquots == 0)
			it->total_ml = NAN;
		t->patient[it->patient].n_cases++;
	}
	return k == t->n_sites && i == t->n_aliquots;
}

/* Rank of each site within its side, and what was drawn there before. */
static void rank_sites(struct q_tree *t)
{
	for (size_t k = 0; k < t->n_sites; k++) {
		struct q_site *s = &t->site[k];
		const struct q_site *before = k ? s - 1 : NULL;
		bool same = before && before->id >> 8 == s->id >> 8;

		s->in_side = same ? (uint8_t)(before->in_side + 1) : 1;
		s->ml_before = same ? before->ml_before + before->ml : 0;
	}
}

static int by_patient_and_date(const void *a, const void *b, void *user)
{
	const struct q_tree *t = user;
	const struct q_case *x = &t->case_[*(const uint32_t *)a];
	const struct q_case *y = &t->case_[*(const uint32_t *)b];
	int d = x->patient == y->patient ? 0 :
	        strcmp(t->patient[x->patient].label,
	               t->patient[y->patient].label);

	if (d)
		return d;
	if (isnan(x->date) != isnan(y->date))
		return isnan(x->date) ? 1 : -1;
	if (!isnan(x->date) && x->date != y->date)
		return x->date < y->date ? -1 : 1;
	return strcmp(x->label, y->label);
}

static bool sort_cases(struct q_tree *t)
{
	t->order = malloc((t->n_cases ? t->n_cases : 1) * sizeof *t->order);
	if (!t->order)
		return false;
	for (size_t k = 0; k < t->n_cases; k++)
		t->order[k] = (uint32_t)k;
	qsort_r(t->order, t->n_cases, sizeof *t->order, by_patient_and_date,
	        t);
	for (size_t k = 1; k < t->n_cases; k++)
		t->case_[t->order[k]].repeat =
		    t->case_[t->order[k]].patient ==
		    t->case_[t->order[k - 1]].patient;
	return true;
}

static pd_status read_tree(pd_store *s, struct q_tree *t, pd_error *err)
{
	static const struct {
		const char *sql;
		take_row *take;
	} part[] = {
		{ pd_sql_read_names, take_name },
		{ pd_sql_read_patients, take_patient },
		{ pd_sql_read_cases, take_case },
		{ pd_sql_read_sites, take_site },
		{ pd_sql_read_aliquots, take_aliquot },
		{ pd_sql_read_members, take_member },
	};
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < sizeof part / sizeof *part; k++)
		st = read_all(s, t, part[k].sql, part[k].take, err);
	if (st == PD_OK && !tie(t))
		st = pd_fail_at(err, PD_DATA, s->path, 0, 0,
		                "a site or a pull without the record it is of");
	if (st != PD_OK)
		return st;
	rank_sites(t);
	return sort_cases(t) ? PD_OK :
	       pd_fail(err, PD_NO_MEMORY, "out of memory");
}

pd_status q_tree_get(pd_store *s, const struct q_tree **out, pd_error *err)
{
	char state[65];
	pd_status st = pd_audit_data_state(s, state, err);

	*out = NULL;
	if (st == PD_OK && s->tree && strcmp(s->tree_state, state) == 0) {
		*out = s->tree;
		return PD_OK;
	}
	q_tree_free(s->tree);
	s->tree = calloc(1, sizeof *s->tree);
	if (s->tree)
		s->tree->arena = pd_arena_new();
	if (st == PD_OK && (!s->tree || !s->tree->arena))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = read_tree(s, s->tree, err);
	if (st != PD_OK) {
		q_tree_free(s->tree);
		s->tree = NULL;
		return st;
	}
	memcpy(s->tree_state, state, sizeof state);
	*out = s->tree;
	return PD_OK;
}
