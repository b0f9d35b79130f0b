/*
 * changes.h - what a review adds to its answers: how each verdict stands
 * against the last reading of the same question, when open questions may be
 * settled, and signals of drift. Plain structs the plan room fills and the
 * report room words.
 */
#ifndef PERDRAW_BASE_CHANGES_H
#define PERDRAW_BASE_CHANGES_H

#include "base/watch.h"

/*
 * An effect of a question at its last reading on other data, beside
 * today's. Both words are of the printed interval alone, without what other
 * tests of the review take away: only this can be told from the ledger.
 */
typedef struct pd_moved {
	size_t answer, effect;     /* place in the review; 0 where refused     */
	const char *date;          /* of the last reading                      */
	pd_verdict then, now;
	double value, low, high;   /* then; as printed: ratio, or difference   */
	size_t n_rows, n_patients; /* then                                     */
	size_t n_rows_now, n_patients_now;
	size_t n_loads, n_corrections; /* files loaded, superseding, since     */
	bool refused;              /* no answer today                          */
	bool by_looks;             /* today's interval as a single reading
	                              would give another word                  */
} pd_moved;

typedef enum pd_open_state {
	PD_OPEN_AT_RATE,    /* in `years`                                      */
	PD_OPEN_FAR,        /* not within ten years                            */
	PD_OPEN_BY_TESTS,   /* the interval alone would settle it              */
	PD_OPEN_NO_RATE     /* the rate of patients cannot be told             */
} pd_open_state;

/* An effect that is not settled. */
typedef struct pd_open {
	size_t answer, effect;
	pd_open_state state;
	bool inside;               /* it would be settled inside the margin    */
	size_t n_patients;
	double needed, a_year, years; /* patients in all; new ones a year      */
} pd_open;

/* One outcome watched since its baseline, all cases together. */
typedef struct pd_drift {
	const char *outcome_words, *judge_words;
	const char *refusal;
	pd_scale scale;
	double level;
	const char *base_until;
	double quarters;           /* between false signals of all charts      */
	size_t n_signals, n_passed; /* shifts of all cases; of them, passed    */
	pd_signal latest;          /* that did not pass; date NULL: none       */
} pd_drift;

/* A question read here that the plan does not ask: of a claim, of another
 * plan, or given by options. At its newest reading the interval: */
typedef enum pd_outside_state {
	PD_OUTSIDE_OPEN,    /* holds no effect                                 */
	PD_OUTSIDE_MORE,    /* lies above it                                   */
	PD_OUTSIDE_LESS,    /* lies below it                                   */
	PD_OUTSIDE_NONE     /* there was none                                  */
} pd_outside_state;

typedef struct pd_outside {
	const char *name, *date;
	size_t n_readings, n_patients;
	pd_outside_state state;
} pd_outside;

enum { PD_DRIFTS = 2, PD_OUTSIDES = 20 };

/* A claim held against this clinic before; its newest row (data/claims.h). */
typedef enum pd_kept_state {
	PD_KEPT_SETTLED,   /* its verdict here says something                 */
	PD_KEPT_OPEN,      /* not settled                                     */
	PD_KEPT_NO_ANSWER, /* the data here could not tell                    */
	PD_KEPT_NOT_ASKED  /* the file asks nothing of this clinic            */
} pd_kept_state;

typedef struct pd_claim_kept {
	const char *name, *title, *date;
	pd_kept_state state;
	pd_verdict verdict;        /* of the effect here, then                 */
	size_t n_meanings;
	double printed, printed_low, printed_high, least, most;
	double here, here_low, here_high;
	size_t n_patients, n_rows; /* of the effect here; rows of that name    */
	size_t n_loads, n_corrections; /* since                                */
	pd_open open;              /* PD_KEPT_OPEN: about when; ->answer unused */
} pd_claim_kept;

typedef struct pd_changes {
	size_t n_moved, n_new;     /* effects read before; questions not read
	                              before on other data: of these ...       */
	size_t n_reworded;         /* ... so many under another wording        */
	pd_moved *moved;
	size_t n_open;
	pd_open *open;
	size_t n_drifts;
	pd_drift drift[PD_DRIFTS];
	size_t n_claims;           /* names, in the order last read            */
	pd_claim_kept *claim;
	size_t n_outside, n_outside_all; /* the newest of them, and how many   */
	pd_outside outside[PD_OUTSIDES];
} pd_changes;

#endif
