/*
 * expect.h - expected yield of a case, its prediction interval and the chance
 * of reaching a dose, for a new patient of an age and sex, by number of sites
 * and mL a site; never outside what was seen. See docs/methods/expect.md.
 */
#ifndef PERDRAW_PLAN_EXPECT_H
#define PERDRAW_PLAN_EXPECT_H

#include "base/expect.h"
#include "plan/run.h"

typedef struct pd_expect_request {
	const char *outcome;     /* tnc, cfu_f, cd34 ...: one that has a yield */
	const char *sex, *landmark; /* landmark NULL: the one most patients had */
	const char *adjust;      /* columns as in a plan, or NULL              */
	double age_y, total_ml, target, weight_kg; /* NaN: not given, but age  */
	double syringe_ml;       /* NaN: the size most patients had            */
	double level;            /* of the wide interval                       */
	unsigned long long seed;
	size_t pulls, sides;     /* 0: what most patients had                  */
	size_t n_sites, n_ml;    /* 0: from what was seen                      */
	size_t sites[PD_EXPECT_SITES];
	double ml[PD_EXPECT_DEEP];
	size_t draws;            /* 0: 20 000                                  */
} pd_expect_request;

/*
 * Numbers parted by blanks or commas, each above 0 and at most `largest`,
 * ascending and without repeats in out[most]; PD_USAGE names the option.
 */
pd_status pd_expect_numbers(const char *option, const char *text, bool whole,
                            double largest, size_t most, double *out,
                            size_t *n, pd_error *err);

/* Everything in `arena`; what cannot be foretold is an answer with refusal,
 * or a cell with `refused`. PD_USAGE: an unknown word. */
pd_status pd_expect_run(pd_store *s, const pd_expect_request *request,
                        const pd_run_options *options, pd_arena *arena,
                        pd_expect_answer *out, pd_error *err);

#endif
