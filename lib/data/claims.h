/*
 * claims.h - printed claims in the store: what a claim file said and what was
 * made of it, row after row. A row is never removed; the newest of a name is
 * the one that stands. The file's text stands among the plans.
 */
#ifndef PERDRAW_DATA_CLAIMS_H
#define PERDRAW_DATA_CLAIMS_H

#include "data/store.h"

/* Ratios as printed; NaN where there is none. Verdict: 'better', 'worse', 'no
 * difference', 'not settled', 'no answer', 'not asked'. */
typedef struct pd_claim_row {
	const char *name, *title, *date, *verdict;
	size_t n_meanings;       /* things the print can mean                  */
	double printed, printed_low, printed_high; /* the first of them        */
	double least, most;      /* of all of them                             */
	double margin;
	double here, here_low, here_high;
	size_t n_patients;       /* of the effect here                         */
	/* only when read: since then, and rows of that name in all            */
	size_t n_loads, n_corrections, n_rows;
} pd_claim_row;

/*
 * Add a row, with its row in the chain. plan_sha256: of the claim's text, which
 * pd_store_plan has kept. The same file on the same state of the data is not
 * added twice. The store is open for writing.
 */
pd_status pd_store_claim(pd_store *s, const pd_claim_row *row,
                         const char *plan_sha256, const char *question_sha256,
                         pd_error *err);

/* The newest row of every name, in the order they were read; texts are
 * borrowed until the visit returns. */
typedef pd_status (*pd_claim_visit)(void *user, const pd_claim_row *row,
                                    pd_error *err);
pd_status pd_store_claims(pd_store *s, pd_claim_visit visit, void *user,
                          pd_error *err);

#endif
