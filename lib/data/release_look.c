/*
 * release_look.c - what stands alone and goes out all the same: somebody has
 * to look at it, no rule can. Nothing here names a patient or a value.
 */
#include "data/release_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A highest value this many times that of any other patient stands alone. */
static const double ALONE = 2;

static bool add(pd_release_work *w, const char *what, const char *words)
{
	if (!words)
		return false;
	w->told.notice[w->told.n_notices++] =
	    (pd_release_notice){ what, words };
	return true;
}

/* Patients of each of n names, by bits of one name after the other. */
static size_t few_patients(const pd_release_work *w, const int32_t *of_case,
                           size_t n_names, size_t *seen)
{
	const struct q_tree *t = w->t;
	size_t few = 0;
	char *met = malloc(t->n_patients + 1);

	*seen = 0;
	for (size_t k = 0; met && k < n_names; k++) {
		size_t n = 0;

		memset(met, 0, t->n_patients + 1);
		for (size_t i = 0; i < t->n_cases; i++) {
			uint32_t p = t->case_[i].patient;

			if (of_case[i] != (int32_t)k || met[p] ||
			    !t->case_[i].n_aliquots)
				continue;
			met[p] = 1;
			n++;
		}
		*seen += n > 0;
		few += n > 0 && n < w->told.smallest;
	}
	free(met);
	return few;
}

static bool notice_operators(pd_release_work *w)
{
	const struct q_tree *t = w->t;
	int32_t *of = malloc((t->n_cases + 1) * sizeof *of);
	size_t seen = 0, few = 0;

	if (!of)
		return false;
	for (size_t i = 0; i < t->n_cases; i++)
		of[i] = t->case_[i].operator_;
	few = few_patients(w, of, t->n_names[Q_OPERATORS], &seen);
	free(of);
	return !few ||
	       add(w, "operators", pd_arena_print(
	           w->arena, "of %zu operators %zu drew fewer than %u "
	                     "patients; "
	           "colleagues may know who they were", seen, few,
	           w->told.smallest));
}

static int by_size(const void *a, const void *b)
{
	size_t x = *(const size_t *)a, y = *(const size_t *)b;

	return (x > y) - (x < y);
}

/* Patients with the same number of visits: how few share theirs? */
static bool notice_visits(pd_release_work *w)
{
	const struct q_tree *t = w->t;
	size_t *visits = calloc(t->n_patients + 1, sizeof *visits);
	size_t few = 0;

	if (!visits)
		return false;
	for (size_t i = 0; i < t->n_cases; i++)
		visits[t->case_[i].patient] += t->case_[i].n_aliquots > 0;
	qsort(visits, t->n_patients, sizeof *visits, by_size);
	for (size_t i = 0, k; i < t->n_patients; i = k) {
		for (k = i + 1; k < t->n_patients && visits[k] == visits[i];)
			k++;
		if (visits[i] && k - i < w->told.smallest)
			few += k - i;
	}
	free(visits);
	return !few ||
	       add(w, "visits", pd_arena_print(
	           w->arena, "patients who share their number of visits with "
	           "too few others: %zu, the fewest were to be %u; the number "
	           "is not blanked, for a patient's visits have to stay "
	           "together", few, w->told.smallest));
}

/* ---- values far above all others -------------------------------------- */

/* Is the highest value of one patient that far above all others'? The first
 * walk finds the patient, the second the highest of everybody else. */
static bool stands_alone(const pd_release_work *w, int outcome)
{
	double most = 0, next = 0;
	uint32_t whose = NOWHERE;

	for (int walk = 0; walk < 2; walk++) {
		size_t c = 0; /* results lie in the order of their cases */

		for (size_t i = 0; i < w->n_assays; i++) {
			const struct rl_assay *a = &w->assay[i];
			double x = a->value[outcome];

			while (c < w->t->n_cases &&
			       w->t->case_[c].id < a->id >> 32)
				c++;
			if (c == w->t->n_cases ||
			    (a->states >> 4 * outcome & 15) != PD_MEASURED)
				continue;
			uint32_t p = w->t->case_[c].patient;

			if (walk == 0 && x > most) {
				most = x;
				whose = p;
			} else if (walk == 1 && p != whose && x > next) {
				next = x;
			}
		}
	}
	return next > 0 && most >= ALONE * next;
}

static bool notice_extremes(pd_release_work *w)
{
	pd_buf b;
	bool good = true;

	pd_buf_init(&b);
	for (int k = 0; k < RL_OUTCOMES; k++)
		if (stands_alone(w, k))
			pd_buf_print(&b, "%s%s", b.length ? ", " : "",
			             pd_field_about(pd_outcome_field(k))
			                 ->header);
	if (b.length)
		good = add(w, "highest values", pd_arena_print(
		    w->arena, "in %s one patient's highest value is at least "
		    "twice that of any other; somebody who knows of a record "
		    "yield would know the patient", pd_buf_text(&b)));
	good = good && pd_buf_ok(&b);
	pd_buf_clear(&b);
	return good;
}

static bool notice_choices(pd_release_work *w)
{
	const pd_release_request *a = &w->ask;

	return (!a->days ||
	        add(w, "days between visits", "kept by choice: two dates known "
	            "of a patient, and the days between them, can tell the "
	            "row")) &&
	       (!a->batches ||
	        add(w, "source files", "coded by choice: rows loaded together "
	            "fall into the same month or quarter, which is finer than "
	            "the year")) &&
	       (!a->method_names ||
	        add(w, "names of method versions", "kept by choice: a "
	            "laboratory's name is a place, a lot is a device's "
	            "number")) &&
	       (!a->seeded ||
	        add(w, "seed", "the codes come from a number that was given, "
	            "and such a number can be found by trying them all: it "
	            "tells the order in which patients and cases were loaded, "
	            "and with the database who they are; for data that leave "
	            "the clinic let the codes be drawn anew")) &&
	       (!a->whole_years ||
	        add(w, "ages in whole years", "kept by choice: the groups are "
	            "counted by whole years, so that more is blanked"));
}

bool rl_notices_make(pd_release_work *w)
{
	w->told.notice = PD_NEW(w->arena, pd_release_notice, 12);
	return w->told.notice && notice_choices(w) && notice_extremes(w) &&
	       notice_visits(w) && notice_operators(w);
}
