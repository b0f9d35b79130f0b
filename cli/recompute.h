/*
 * recompute.h - the run a manifest speaks of, once more in memory, and what
 * differs.
 */
#ifndef PERDRAW_CLI_RECOMPUTE_H
#define PERDRAW_CLI_RECOMPUTE_H

#include "manifest.h"

struct recompute {
	const char *manifest;      /* its path                                */
	const char *db, *plan;     /* where they lie, NULL: in the folder     */
	const char *folder;        /* of inputs and outputs, NULL: that of
	                              the manifest                            */
};

/*
 * Read the manifest, run its command without writing anything, compare line
 * by line and byte by byte. *end: exit status of a command that could not be
 * run again (its message is on stderr already), else 0; then *out is whole.
 */
pd_status recompute(const struct recompute *r, pd_arena *arena,
                    pd_verified *out, int *end, pd_error *err);

#endif
