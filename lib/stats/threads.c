/* threads.c - see threads.h. */
#include "stats/threads.h"

#include <pthread.h>
#include <stdlib.h>

struct part {
	pd_share *share;
	void *with, *room;
	size_t from, to;
	pthread_t thread;
	int started;
};

static void *run(void *arg)
{
	struct part *p = arg;

	p->share(p->with, p->room, p->from, p->to);
	return NULL;
}

pd_status pd_share_out(size_t n, unsigned threads, size_t room_size,
                       pd_share *share, void *with, pd_error *err)
{
	struct part part[PD_MOST_THREADS] = { 0 };
	pd_status st = PD_OK;

	threads = threads < 1 ? 1
	          : threads > PD_MOST_THREADS ? PD_MOST_THREADS : threads;
	if (n < threads)
		threads = n > 0 ? (unsigned)n : 1;
	for (unsigned t = 0; t < threads; t++) {
		part[t] = (struct part){ .share = share, .with = with };
		part[t].from = n / threads * t + n % threads * t / threads;
		part[t].to = n / threads * (t + 1) +
		             n % threads * (t + 1) / threads;
		part[t].room = calloc(room_size ? room_size : 1, 1);
		if (!part[t].room)
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	for (unsigned t = 1; t < threads && st == PD_OK; t++)
		part[t].started = !pthread_create(&part[t].thread, NULL, run,
		                                  &part[t]);
	for (unsigned t = 0; t < threads; t++) {
		if (part[t].started)
			pthread_join(part[t].thread, NULL);
		else if (st == PD_OK)
			run(&part[t]);
		free(part[t].room);
	}
	return st;
}
