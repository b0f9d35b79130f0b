/*
 * size.h - how many a fair comparison needs, from what the clinic's own draws
 * scatter: plain structs the plan room fills and the report room words.
 */
#ifndef PERDRAW_BASE_SIZE_H
#define PERDRAW_BASE_SIZE_H

#include "base/answer.h"

typedef enum pd_aim {
	PD_AIM_DIFFERENCE,   /* show that the two differ                       */
	PD_AIM_NOT_WORSE,    /* exclude a loss beyond the margin               */
	PD_AIM_SAME          /* show that no difference matters                */
} pd_aim;

enum { PD_SIZE_TRUTHS = 5, PD_SIZE_PULLS = 4, PD_SIZE_LOOKS = 4 };

/* If this is the truth. */
typedef struct pd_size_line {
	double truth;            /* ratio, or points                           */
	double n, power;         /* fewest and their power; NaN: none is enough */
	double power_before;     /* with one fewer; NaN at the fewest possible */
	double assurance;        /* of n: power averaged over what the spread
	                            may be                                     */
	double n_assured;        /* fewest with that average; NaN: none        */
	const char *why_none;    /* or NULL                                    */
} pd_size_line;

/* With m pulls an arm instead of one. */
typedef struct pd_size_pulls {
	size_t pulls;
	double sd, n;
} pd_size_pulls;

/* With k looks planned: the largest number that may be needed. */
typedef struct pd_size_looks {
	size_t looks;
	double factor, n;
} pd_size_looks;

typedef struct pd_size_answer {
	pd_review context;       /* no answers in it                           */
	const char *name, *title;
	const char *outcome_words, *judge_words, *unit;
	const char *first, *second; /* arms                                    */
	pd_scale scale;
	pd_aim aim;
	double margin, level, power;
	bool paired;             /* pairs of one patient, else patients an arm */
	const char *unit_words;  /* "patients with both inside one side"       */
	const char *refusal;
	/* what the sizes rest on: SD of a patient's difference (paired) or of a
	 * patient's result, working scale, with limits; where it comes from */
	double sd, sd_low, sd_high, sd_df;
	const char *sd_words;
	size_t n_components;
	const char **component_name;
	const double *component_sd;
	size_t n_have;           /* patients the clinic has already            */
	double per_year;         /* at the rate of the last two years; NaN     */
	size_t n_lines;
	pd_size_line line[PD_SIZE_TRUTHS];
	size_t main_line;        /* what the tables below are worked for       */
	size_t n_pulls;
	pd_size_pulls pulls[PD_SIZE_PULLS];
	size_t n_looks;
	pd_size_looks looks[PD_SIZE_LOOKS];
} pd_size_answer;

#endif
