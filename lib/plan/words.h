/*
 * words.h - parameters and outcomes in the words of a report.
 */
#ifndef PERDRAW_PLAN_WORDS_H
#define PERDRAW_PLAN_WORDS_H

#include "base/arena.h"
#include "plan/plan.h"

/* A level as the trade says it: "10" of syringe_ml is "10 mL syringe". */
const char *pd_words_arm(pd_arena *arena, const char *parameter,
                         const char *level);
/* What is compared in a question whose effect may differ: "ratio of pull 2 to
 * pull 1", "effect of age per 10 years of age". */
const char *pd_words_effect(pd_arena *arena, const pd_question *q);
/* "per 10 years of age" or "female against male" of the modifier. */
const char *pd_words_modifier(pd_arena *arena, const pd_question *q);
/* "per doubling", "per 10 years". */
const char *pd_words_step(pd_arena *arena, const pd_question *q);
/* "mL per site"; the column's own name where nothing better is known. */
const char *pd_words_parameter(const char *parameter);
/* "concentration, per mL of undiluted marrow". */
const char *pd_words_judge(const pd_question *q);
/* The same as a share: "share of pulls that reach 500 CFU-F/mL". */
const char *pd_words_share(pd_arena *arena, const pd_question *q);
/* A trait or a date, not something chosen: higher/lower, not better/worse. */
bool pd_words_not_a_choice(const char *parameter);
/* A result of which more is not better: red cells tell of blood in the draw. */
bool pd_words_not_a_gain(const char *outcome);
/* More of it costs the patient punctures or blood. */
bool pd_words_adds_burden(const char *parameter);

#endif
