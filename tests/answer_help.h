/*
 * answer_help.h - a small store made of pulls written down in a test: CSV
 * through the real loader, then questions asked of it.
 */
#ifndef ANSWER_HELP_H
#define ANSWER_HELP_H

#include "base/answer.h"
#include "base/arena.h"
#include "data/store.h"

/* One pull; fields that a test does not vary are fixed. */
struct pull {
	int patient, site, aliquot, syringe, dish_1, dish_2;
	double age, volume, tnc;
	const char *version, *operator, *viability;
	const char *last; /* anticoagulant, its mL, haematocrit */
	const char *date; /* of the case; a day of March 2024 unless given */
	const char *side; /* left unless given */
	const char *move; /* none unless given */
};

/* Dates of the load and of the reading; set again by answer_setup. */
extern const char *answer_load_date, *answer_ask_date;

void answer_setup(void);
void answer_teardown(void);
void answer_add(struct pull p);
/* Forget the pulls added; put them in another order; remove the store's file. */
void answer_no_pulls(void);
size_t answer_n_pulls(void);
void answer_shuffle(void);
void answer_no_store(void);
/* A number in (-1, 1) that depends on its arguments only. */
double answer_noise(int a, int b);
/* The pulls added so far, in a new store; the caller closes it. */
pd_store *answer_load(void);
/* The first question of a plan's text. */
pd_answer *answer_ask(pd_store *s, pd_arena *a, const char *text);
/* The line of the sensitivity set whose name begins so, or NULL. */
const pd_sensitivity *answer_line(const pd_answer *a, const char *name);

#endif
