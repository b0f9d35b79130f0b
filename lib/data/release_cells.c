/*
 * release_cells.c - no group of patients smaller than the chosen number.
 *
 * Two patients are alike where the sets of their cases' (sex, age, BMI, year,
 * landmarks) are the same; blank counts as a value of its own. Of patients in
 * a group below the number, one field after the other is blanked in all their
 * cases, the least needed first: BMI, year, age, landmarks, sex; after each
 * the groups are counted anew. Those left at the end are blank in everything;
 * where they are too few, the smallest other group joins them.
 *
 * Adverse events: kinds of fewer patients than the number become one kind,
 * 'event', with the next rarest kinds until it has enough; where all events
 * together are of too few patients, the field is blanked throughout, "none"
 * included, for what is left out would tell them.
 */
#include "data/release_own.h"

#include <stdlib.h>
#include <string.h>

struct cells {
	pd_release_work *w;
	size_t n;              /* patients with a draw                       */
	uint32_t *patient;     /* they, sorted by what is told of them       */
	size_t *size;          /* of the group of each patient, by position  */
	size_t *first;         /* of each patient's keys                     */
	uint64_t *key;         /* of its cases, sorted, each once            */
	uint32_t *n_keys;
	bool *blank;           /* everything of the patient is blank         */
};

static uint64_t key_of(const pd_release_work *w, uint32_t patient,
                       const struct rl_case *c)
{
	return (uint64_t)w->sex[patient] << 48 | (uint64_t)c->age << 40 |
	       (uint64_t)c->bmi << 32 | (uint64_t)c->year << 16 | c->landmarks;
}

static int by_key(const void *a, const void *b)
{
	uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;

	return (x > y) - (x < y);
}

static int by_told(const void *a, const void *b, void *user)
{
	const struct cells *c = user;
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

	for (uint32_t k = 0; k < c->n_keys[x] && k < c->n_keys[y]; k++) {
		uint64_t p = c->key[c->first[x] + k];
		uint64_t q = c->key[c->first[y] + k];

		if (p != q)
			return p < q ? -1 : 1;
	}
	return (c->n_keys[x] > c->n_keys[y]) - (c->n_keys[x] < c->n_keys[y]);
}

/* What is told of each patient now, and how many share it. */
static void count(struct cells *c)
{
	const struct q_tree *t = c->w->t;

	memset(c->n_keys, 0, t->n_patients * sizeof *c->n_keys);
	for (size_t i = 0; i < t->n_cases; i++) {
		uint32_t p = t->case_[i].patient;

		if (t->case_[i].n_aliquots)
			c->key[c->first[p] + c->n_keys[p]++] =
			    key_of(c->w, p, &c->w->case_[i]);
	}
	for (size_t i = 0; i < c->n; i++) {
		uint32_t p = c->patient[i], kept = 0;
		uint64_t *key = &c->key[c->first[p]];

		qsort(key, c->n_keys[p], sizeof *key, by_key);
		for (uint32_t k = 0; k < c->n_keys[p]; k++)
			if (k == 0 || key[k] != key[kept - 1])
				key[kept++] = key[k];
		c->n_keys[p] = kept;
	}
	qsort_r(c->patient, c->n, sizeof *c->patient, by_told, c);
	for (size_t i = 0, k; i < c->n; i = k) {
		for (k = i + 1; k < c->n && by_told(&c->patient[i],
		                                    &c->patient[k], c) == 0;)
			k++;
		for (size_t j = i; j < k; j++)
			c->size[c->patient[j]] = k - i;
	}
}

/* ---- fields -------------------------------------------------------------- */

enum field { F_BMI, F_YEAR, F_AGE, F_LANDMARK, F_SEX, N_FIELDS_TOLD };

static bool is_blank(const pd_release_work *w, size_t i, int f)
{
	const struct rl_case *c = &w->case_[i];

	switch (f) {
	case F_BMI: return c->bmi == RL_BLANK;
	case F_YEAR: return c->year == RL_NO_YEAR;
	case F_AGE: return c->age == RL_BLANK;
	case F_LANDMARK: return c->landmarks == 0;
	default: return w->sex[w->t->case_[i].patient] == RL_BLANK;
	}
}

static void blank_case(pd_release_work *w, size_t i, int f)
{
	struct rl_case *c = &w->case_[i];

	switch (f) {
	case F_BMI: c->bmi = RL_BLANK; break;
	case F_YEAR: c->year = RL_NO_YEAR; break;
	case F_AGE: c->age = RL_BLANK; break;
	case F_LANDMARK: c->landmarks = 0; break;
	default: break;
	}
}

/* Field f of all cases of the patients that `chosen` marks. */
static void blank_field(struct cells *c, const bool *chosen, int f)
{
	const struct q_tree *t = c->w->t;
	pd_release_blank *b = &c->w->told.blank[f];
	const size_t n = t->n_cases;

	for (size_t i = 0; i < n; i++) {
		if (!chosen[t->case_[i].patient])
			continue;
		if (t->case_[i].n_aliquots)
			b->n += !is_blank(c->w, i, f);
		blank_case(c->w, i, f);
	}
	/* sex is the patient's: its cases are counted above first */
	for (size_t p = 0; f == F_SEX && p < t->n_patients; p++)
		if (chosen[p])
			c->w->sex[p] = RL_BLANK;
}

static void count_filled(struct cells *c)
{
	static const char *const name[] = { "bmi_band", "year", "age",
		                            "landmark", "sex" };
	const struct q_tree *t = c->w->t;

	for (int f = 0; f < N_FIELDS_TOLD; f++) {
		pd_release_blank *b = &c->w->told.blank[f];

		b->column = name[f];
		b->unit = "cases";
		for (size_t i = 0; i < t->n_cases; i++)
			b->of += t->case_[i].n_aliquots &&
			         !is_blank(c->w, i, f);
	}
	c->w->told.n_blanks = N_FIELDS_TOLD;
}

/* ---- patients ------------------------------------------------------------ */

static void blank_small(struct cells *c, bool *chosen)
{
	const struct q_tree *t = c->w->t;
	const size_t fewest = c->w->told.smallest;

	for (int f = 0; f < N_FIELDS_TOLD; f++) {
		count(c);
		for (size_t p = 0; p < t->n_patients; p++)
			chosen[p] = c->size[p] && c->size[p] < fewest;
		blank_field(c, chosen, f);
	}
	count(c);
}

/* Patients whose group is too small once all is blank, or 0. */
static size_t left_over(const struct cells *c)
{
	for (size_t i = 0; i < c->n; i++) {
		size_t n = c->size[c->patient[i]];

		if (n < c->w->told.smallest)
			return n;
	}
	return 0;
}

/* The smallest group that is not too small, blanked as well; false: none. */
static bool join_smallest(struct cells *c, bool *chosen)
{
	size_t best = 0;

	for (size_t i = 0; i < c->n; i++) {
		size_t n = c->size[c->patient[i]];

		if (n >= c->w->told.smallest &&
		    (!best || n < c->size[c->patient[best - 1]]))
			best = i + 1;
	}
	if (!best)
		return false;
	memset(chosen, 0, c->w->t->n_patients * sizeof *chosen);
	size_t n = c->size[c->patient[best - 1]];

	for (size_t i = best - 1; i < best - 1 + n; i++)
		chosen[c->patient[i]] = true;
	for (int f = 0; f < N_FIELDS_TOLD; f++)
		blank_field(c, chosen, f);
	count(c);
	return true;
}

static pd_status make_room(struct cells *c, pd_error *err)
{
	const struct q_tree *t = c->w->t;
	pd_arena *a = c->w->arena;
	size_t at = 0;

	c->patient = PD_NEW(a, uint32_t, t->n_patients + 1);
	c->size = PD_NEW(a, size_t, t->n_patients + 1);
	c->first = PD_NEW(a, size_t, t->n_patients + 1);
	c->n_keys = PD_NEW(a, uint32_t, t->n_patients + 1);
	c->key = PD_NEW(a, uint64_t, t->n_cases + 1);
	c->blank = PD_NEW(a, bool, t->n_patients + 1);
	if (!c->patient || !c->size || !c->first || !c->n_keys || !c->key ||
	    !c->blank)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < t->n_cases; i++)
		if (t->case_[i].n_aliquots)
			c->n_keys[t->case_[i].patient]++;
	for (size_t p = 0; p < t->n_patients; p++) {
		c->first[p] = at;
		at += c->n_keys[p];
		if (c->n_keys[p])
			c->patient[c->n++] = (uint32_t)p;
	}
	return PD_OK;
}

/* ---- adverse events ------------------------------------------------------ */

/* Patients with each kind of event, none left out. */
static void count_events(const pd_release_work *w, size_t n[RL_EVENT + 1],
                         uint32_t *last)
{
	const struct q_tree *t = w->t;

	for (int kind = 1; kind <= RL_EVENT; kind++) {
		n[kind] = 0;
		memset(last, 0, t->n_patients * sizeof *last);
		for (size_t i = 0; i < t->n_sites; i++) {
			uint32_t p = t->case_[t->site[i].case_].patient;

			if (w->adverse[i] != kind || last[p] ||
			    !t->site[i].n_aliquots)
				continue;
			last[p] = 1;
			n[kind]++;
		}
	}
}

static void change_events(pd_release_work *w, int from, int to)
{
	pd_release_blank *b = &w->told.blank[w->told.n_blanks - 1];

	for (size_t i = 0; i < w->t->n_sites; i++) {
		bool hit = from < 0 ? w->adverse[i] >= 0
		                    : w->adverse[i] == from;

		if (!hit)
			continue;
		b->n += w->t->site[i].adverse == w->adverse[i] &&
		        w->t->site[i].n_aliquots;
		w->adverse[i] = (int8_t)to;
	}
}

/* The rarest kind but 'event', 0 when there is none. */
static int rarest(const size_t n[RL_EVENT + 1])
{
	int kind = 0;

	for (int k = 1; k < RL_EVENT; k++)
		if (n[k] && (!kind || n[k] < n[kind]))
			kind = k;
	return kind;
}

static pd_status merge_events(pd_release_work *w, pd_error *err)
{
	const size_t fewest = w->told.smallest;
	uint32_t *last = PD_NEW(w->arena, uint32_t, w->t->n_patients + 1);
	pd_release_blank *b = &w->told.blank[w->told.n_blanks++];
	size_t n[RL_EVENT + 1];

	*b = (pd_release_blank){ .column = "adverse_event", .unit = "sites" };
	for (size_t i = 0; i < w->t->n_sites; i++)
		b->of += w->adverse[i] >= 0 && w->t->site[i].n_aliquots;
	if (!last)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (;;) {
		count_events(w, n, last);
		int kind = rarest(n);
		bool few = n[RL_EVENT] && n[RL_EVENT] < fewest;

		if (kind && (n[kind] < fewest || few)) {
			change_events(w, kind, RL_EVENT);
		} else if (few) {
			change_events(w, -1, -1);
			return PD_OK;
		} else {
			return PD_OK;
		}
	}
}

pd_status rl_cells_blank(pd_release_work *w, pd_error *err)
{
	struct cells c = { .w = w };
	pd_status st = make_room(&c, err);

	w->told.blank = PD_NEW(w->arena, pd_release_blank, N_FIELDS_TOLD + 1);
	if (st == PD_OK && !w->told.blank)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st != PD_OK)
		return st;
	if (c.n < w->told.smallest)
		return pd_fail(err, PD_REFUSED, "the store holds draws of %zu "
		               "patients, and a group must have %u: nothing "
		               "can be released", c.n, w->told.smallest);
	count_filled(&c);
	if (w->ask.only_warn)
		return PD_OK;
	blank_small(&c, c.blank);
	while (left_over(&c) && join_smallest(&c, c.blank))
		;
	return left_over(&c)
	           ? pd_fail(err, PD_INTERNAL, "a group of fewer than %u "
	                     "patients is left", w->told.smallest)
	           : merge_events(w, err);
}
