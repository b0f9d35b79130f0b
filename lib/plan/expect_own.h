/*
 * expect_own.h - what the parts of a prediction share.
 *
 *   expect.c        the question, its rows, what is asked by default
 *   expect_seen.c   what the clinic has seen, and what it has not
 *   expect_columns.c  the columns of a pull's log yield
 *   expect_model.c  the model, as a law of totals
 *   expect_cells.c  layouts of sites and pulls, and what they yield
 *   expect_check.c  the clinic's own cases against the model without them
 */
#ifndef PERDRAW_PLAN_EXPECT_OWN_H
#define PERDRAW_PLAN_EXPECT_OWN_H

#include "plan/expect.h"
#include "plan/rows.h"
#include "stats/design.h"
#include "stats/impute.h"
#include "stats/spline.h"
#include "stats/total.h"

enum { PD_EXPECT_LEAST = 5, PD_EXPECT_FEWEST = 10, PD_EXPECT_TERMS = 32 };

/* One case as drawn, from the rows that have a result. */
struct pd_expect_case {
	int32_t patient;
	size_t first, n;         /* its pulls: order[first .. first + n - 1]   */
	size_t sites, sides, deepest; /* deepest: largest order in a side      */
	double ml, recorded_ml;  /* of these pulls; of the whole case          */
};

struct pd_expect_work {
	const pd_expect_request *ask;
	const pd_plan *plan;
	const pd_question *q;
	pd_arena *arena, *scratch;
	pd_expect_answer *a;
	bool holds_syringe;      /* its log is a column of ours                */
	pd_rows rows;
	/* columns of rows.model, n rows each */
	const double *age, *order, *pull, *ml, *recorded_ml;
	const pd_column *sex, *version;
	/* one row a pull: the first result of each */
	size_t n_lead, *lead;    /* row numbers, by case                       */
	size_t n_cases;
	struct pd_expect_case *by_case;
	/* orders seen often enough to have a column of their own */
	size_t top_order, top_pull;
	/* the model */
	pd_frame *frame;
	pd_term term[PD_EXPECT_TERMS];
	size_t n_terms;
	size_t t_age, t_sex, t_order, t_pull, t_version, t_volume, t_more;
	pd_design design;
	pd_spline spline;        /* of ln mL                                   */
	bool curved;
	pd_spline age_spline;
	bool age_curved;
	double *beta, *covariance;
	pd_total_law law;        /* x and n_rows are the caller's              */
};

static inline pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory foretelling yields");
}

/* --- expect.c ------------------------------------------------------------ */

/* A column that is always held, or only carried along. */
bool pd_expect_is_held(const char *name);

/* --- expect_seen.c: after the rows --------------------------------------- */

/* Cases, leading rows, orders. */
pd_status pd_expect_see(struct pd_expect_work *w, pd_error *err);
/* What most patients had, where the request leaves it open. */
pd_status pd_expect_usual(struct pd_expect_work *w, pd_error *err);
/* Why the patient is outside what was seen; NULL: is not. */
pd_status pd_expect_patient(struct pd_expect_work *w, const char **why,
                            pd_error *err);
/* The same of a cell: sets n_alike, refused and over. */
pd_status pd_expect_cell_seen(struct pd_expect_work *w, pd_expect_cell *c,
                              pd_error *err);

/* --- expect_columns.c ---------------------------------------------------- */

/* w->design, with a curve of ln mL where the data bear one and `curve`. */
pd_status pd_expect_columns(struct pd_expect_work *w, bool curve,
                            pd_error *err);
/* x[p] of a pull of the asked-for patient. */
void pd_expect_row(const struct pd_expect_work *w, size_t order, size_t pull,
                   double ml, double *x);

/* --- expect_model.c ------------------------------------------------------ */

/* Columns, fit, law; sets the answer's part or its refusal. */
pd_status pd_expect_model(struct pd_expect_work *w, pd_error *err);
/* The same columns fitted to rows with keep: beta[p], covariance[p*p] and the
 * SDs and df of *law. PD_REFUSED or PD_NUMERIC where they do not allow it. */
pd_status pd_expect_fit(struct pd_expect_work *w, const unsigned char *keep,
                        unsigned draws, double *beta, double *covariance,
                        pd_total_law *law, pd_error *err);

/* --- expect_cells.c, expect_check.c -------------------------------------- */

pd_status pd_expect_cells(struct pd_expect_work *w, pd_error *err);
pd_status pd_expect_check(struct pd_expect_work *w, pd_error *err);

#endif
