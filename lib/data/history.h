/*
 * history.h - the audit chain read out: every row's hash recomputed, and what
 * the rows speak of compared with the tables they speak of.
 */
#ifndef PERDRAW_DATA_HISTORY_H
#define PERDRAW_DATA_HISTORY_H

#include "base/arena.h"
#include "base/history.h"
#include "data/store.h"

typedef struct pd_history_request {
	const char *since;   /* ISO date: rows of that day and later; NULL    */
	const char *what;    /* only rows of that kind; NULL: all             */
	const char *printed; /* a hash in hex to look for; NULL               */
} pd_history_request;

/*
 * The whole chain of s (opened for inspection, so that a broken one can be
 * seen). A row is broken where its number leaves a gap, where it does not
 * follow the row before (its `previous` is not the hash recomputed there), or
 * where its hash is not that of its words; each is said by its number, and
 * the walk goes on from the hash the row carries. A gap is a file, plan or
 * question that the chain names and the tables do not hold as it says, or
 * rows moved to history whose SHA-256 is not the one written down.
 * A broken chain is a result, not a failure: out->n_broken, out->n_gaps.
 */
pd_status pd_history_read(pd_store *s, const pd_history_request *ask,
                          pd_arena *arena, pd_history *out, pd_error *err);

#endif
