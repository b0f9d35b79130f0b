/*
 * pairs.h - differences inside units, averaged to the patient.
 * Within each unit (patient, case, side or site) that has both arms, the mean
 * of the first less the mean of the second; then the mean over a patient's
 * units, so that patients stand for themselves once.
 */
#ifndef PERDRAW_PLAN_PAIRS_H
#define PERDRAW_PLAN_PAIRS_H

#include "plan/rows.h"

typedef struct pd_pairs {
	size_t n;                /* patients with a pair                       */
	size_t n_units, n_rows;  /* units with both arms, rows in them ...     */
	size_t n_cases, n_sites; /* ... cases and sites; no sites at case grain */
	double *diff;            /* n, working scale, first less second        */
	double *first, *second;  /* n, means of the arms                       */
} pd_pairs;

/* y[rows->n]: the outcome on the working scale, finite; level: index of the
 * unit in rows' tree. Everything in the arena. */
pd_status pd_pairs_make(const pd_rows *rows, size_t level, const double *y,
                        pd_arena *arena, pd_pairs *out, pd_error *err);
/* Patients that have both arms within one unit, censored rows too. */
size_t pd_pairs_patients(const pd_rows *rows, size_t level, pd_arena *arena);

#endif
