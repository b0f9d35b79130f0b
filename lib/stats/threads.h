/*
 * threads.h - work whose parts do not depend on each other, shared out. What
 * each part makes must depend on its index alone (numbers from stream.h), so
 * that the result is the same however many threads there are.
 */
#ifndef PERDRAW_STATS_THREADS_H
#define PERDRAW_STATS_THREADS_H

#include "base/status.h"
#include <stddef.h>

enum { PD_MOST_THREADS = 64 };

/* Items from .. to - 1, by one thread: `room` is its own, zeroed. */
typedef void pd_share(void *with, void *room, size_t from, size_t to);

/*
 * Calls `share` for n items in `threads` contiguous parts (0: 1; at most
 * PD_MOST_THREADS), each with room_size bytes of its own. A part whose thread
 * does not start is done by the caller. PD_NO_MEMORY: nothing was done.
 */
pd_status pd_share_out(size_t n, unsigned threads, size_t room_size,
                       pd_share *share, void *with, pd_error *err);

#endif
