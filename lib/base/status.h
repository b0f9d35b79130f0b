/*
 * status.h - how a call went: a status to branch on, a sentence to read.
 * Every fallible function returns pd_status and takes a pd_error last.
 * The list below is written once and makes the enum, its texts and the
 * exit status of the command.
 */
#ifndef PERDRAW_BASE_STATUS_H
#define PERDRAW_BASE_STATUS_H

#include <stddef.h>

/*        name           exit  words                                        */
#define PD_STATUS_LIST(X)                                                     \
	X(PD_OK, 0, "done")                                                   \
	X(PD_REFUSED, 1, "refused: the data cannot answer this")              \
	X(PD_DIFFERENT, 2, "different: recomputed, the result is another")     \
	X(PD_BROKEN, 3, "the audit chain is broken")                          \
	X(PD_USAGE, 64, "wrong use of the command")                           \
	X(PD_DATA, 65, "error in the data")                                   \
	X(PD_NO_INPUT, 66, "input cannot be read")                            \
	X(PD_INTERNAL, 70, "internal error")                                  \
	X(PD_NO_MEMORY, 71, "out of memory")                                  \
	X(PD_CANNOT_CREATE, 73, "output cannot be created")                   \
	X(PD_IO, 74, "read or write error")                                   \
	X(PD_BUSY, 75, "database is in use, try later")                       \
	X(PD_NUMERIC, 76, "numerical failure")                                \
	X(PD_NO_PERMISSION, 77, "permission denied")                          \
	X(PD_PLAN, 78, "error in the plan")

typedef enum pd_status {
#define X(name, code, words) name,
	PD_STATUS_LIST(X)
#undef X
} pd_status;

/* Where and what went wrong; file "" and line 0 where no place applies. */
typedef struct pd_error {
	pd_status status;
	char file[256];
	size_t line, column; /* counted from 1; 0: not known */
	char text[768];
} pd_error;

const char *pd_status_text(pd_status st);
/* Exit status of a command that ended with st (docs: perdraw(1)). */
int pd_status_exit(pd_status st);

/*
 * Fill *err (NULL is welcome) and return st, so that a caller writes
 * `return pd_fail(err, PD_DATA, "...")`. An error already set is kept when
 * pd_fail is asked for PD_OK.
 */
pd_status pd_fail(pd_error *err, pd_status st, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* The same with a place. */
pd_status pd_fail_at(pd_error *err, pd_status st, const char *file, size_t line,
                     size_t column, const char *fmt, ...)
    __attribute__((format(printf, 6, 7)));
/* "file:line:column: text" into buf; returns buf. */
const char *pd_error_text(const pd_error *err, char *buf, size_t size);

/*
 * Once at start, before any thread: switches the numerical library's aborting
 * handler off. Called by every room that opens a handle; cheap to repeat.
 */
void pd_base_init(void);

#endif
