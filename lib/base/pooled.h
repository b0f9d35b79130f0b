/*
 * pooled.h - printed ratios from several sources and the clinic's own beside
 * them: plain structs the plan room fills and the report room words.
 */
#ifndef PERDRAW_BASE_POOLED_H
#define PERDRAW_BASE_POOLED_H

#include "base/answer.h"

typedef struct pd_pooled_row {
	const char *source, *design, *note;
	size_t line;             /* in the file                                */
	double n;                /* patients, NaN not given                    */
	double value, low, high, level; /* as printed, turned to first / second */
	bool turned;             /* printed as second over first               */
	double se;               /* of the log; NaN: no interval printed       */
	double weight;           /* share of the pool; NaN: not in it          */
	const char *left_out;    /* why not in the pool, or NULL               */
} pd_pooled_row;

typedef struct pd_pooled_answer {
	pd_review context;       /* of the clinic; version alone without one   */
	const char *file, *file_sha256;
	const char *outcome_words, *judge_words, *first, *second;
	double level;
	const char *refusal;
	size_t n_rows, n_pooled;
	pd_pooled_row *row;
	/* the pool; NaN where refused */
	pd_estimate pooled;      /* log                                        */
	double predict_low, predict_high; /* logs, of a further study          */
	double tau, tau_low, tau_high, i2, q_p;
	double common_low, common_high, common; /* one true value for all, log */
	/* the clinic's own */
	bool has_house, house_pooled;
	pd_estimate house;       /* log                                        */
	const char *house_name, *house_refusal, *house_words;
} pd_pooled_answer;

#endif
