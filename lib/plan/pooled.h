/*
 * pooled.h - ratios others printed, pooled, and the clinic's own beside them
 * (docs/methods/pool.md).
 *
 * The file: CSV with the headers source, outcome, judge, first, second, ratio,
 * low, high and, if wanted, level (0.95 unless given), n, design, note. Only
 * rows of the same outcome, judge and pair of arms are pooled; one printed the
 * other way round is turned over. A row without an interval is shown only.
 *   se = ln(high / low) / (2 z((1 + level) / 2))
 */
#ifndef PERDRAW_PLAN_POOLED_H
#define PERDRAW_PLAN_POOLED_H

#include "base/pooled.h"
#include "plan/run.h"

typedef struct pd_pooled_request {
	const char *path;        /* the file                                   */
	const char *outcome, *judge, *first, *second; /* NULL: what the file's
	                            only comparison is                         */
	double level;
	bool with_house;         /* the clinic's own ratio into the pool too   */
	/* the clinic's own: NULL store without it */
	pd_store *store;
	const pd_plan *plan;
	const pd_question *question;
	const pd_run_options *options;
} pd_pooled_request;

/* Everything in `arena`. PD_DATA with line and column for a bad cell,
 * PD_NO_INPUT; what cannot be pooled is an answer with refusal. */
pd_status pd_pooled_run(const pd_pooled_request *request, pd_arena *arena,
                        pd_pooled_answer *out, pd_error *err);

/* The file's rows as they stand; outcome and judge of row i beside them. */
typedef struct pd_pooled_file {
	size_t n;
	pd_pooled_row *row;
	const char **outcome, **judge, **first, **second;
	const char *name, *sha256;
} pd_pooled_file;
pd_status pd_pooled_read(pd_arena *arena, const char *path,
                         pd_pooled_file *out, pd_error *err);

#endif
