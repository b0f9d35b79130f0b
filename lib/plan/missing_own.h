/*
 * missing_own.h - between the files of the room of missing results.
 */
#ifndef PERDRAW_PLAN_MISSING_OWN_H
#define PERDRAW_PLAN_MISSING_OWN_H

#include "base/arena.h"
#include "base/frame.h"
#include "base/missing.h"

/* The first pull of each patient, in order of the frame's patients. */
struct pd_first_pulls {
	size_t n;
	const char **patient;    /* labels                                     */
	double *log2_tnc;        /* NaN where not measured                     */
};

/* missing_test.c. Frames of aliquot grain with columns patient, case, site,
 * site_no, aliquot_no, operator and case_date. */
pd_status pd_missing_first(const pd_frame *tnc, pd_arena *arena,
                           struct pd_first_pulls *out, pd_error *err);
/* without[rows]: 1 or 0 at the first row of each pull, -1 elsewhere. own: the
 * outcome is TNC itself. Fills the thirds and the test of `o`, and a->cut. */
pd_status pd_missing_depends(const pd_frame *f, const int *without,
                             const struct pd_first_pulls *tnc, bool own,
                             pd_arena *arena, pd_missing_answer *a,
                             pd_missing_outcome *o, pd_error *err);

#endif
