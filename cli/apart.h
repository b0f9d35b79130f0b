/*
 * apart.h - work in a process of its own. For a library that does not survive
 * a lack of memory: what ends badly there is a failure here, with words, and
 * the command goes on to its proper end.
 */
#ifndef PERDRAW_CLI_APART_H
#define PERDRAW_CLI_APART_H

#include "perdraw.h"

typedef pd_status apart_work(const void *subject, pd_buf *out, pd_error *err);

/*
 * What work(subject, out, err) gives, made by a child process. `out` is only
 * added to after a good end. PD_NO_MEMORY where the child died, PD_INTERNAL
 * where none could be started. What it prints is not shown.
 */
pd_status apart(apart_work *work, const void *subject, pd_buf *out,
                pd_error *err);

#endif
