/* progress.c - see progress.h. */
#include "progress.h"
#include "say.h"

#include <stdio.h>
#include <unistd.h>

static double seconds_between(const struct timespec *a,
                              const struct timespec *b)
{
	return (double)(b->tv_sec - a->tv_sec) +
	       1e-9 * (double)(b->tv_nsec - a->tv_nsec);
}

void progress_init(struct progress *p, bool quiet)
{
	*p = (struct progress){ .quiet = quiet };
	p->terminal = isatty(STDERR_FILENO);
	clock_gettime(CLOCK_MONOTONIC, &p->start);
	p->last = p->start;
}

void progress_step(void *user, size_t done, size_t of, const char *name)
{
	struct progress *p = user;
	struct timespec now;

	if (p->quiet || done >= of)
		return;
	clock_gettime(CLOCK_MONOTONIC, &now);
	if (seconds_between(&p->start, &now) < 2)
		return;
	if (p->shown &&
	    (!p->terminal || seconds_between(&p->last, &now) < 0.2))
		return;
	if (p->terminal)
		fputs("\r\033[K", stderr);
	fprintf(stderr, "perdraw: question %zu of %zu, ", done + 1, of);
	say_clean(name ? name : "", stderr);
	if (!p->terminal)
		fputs(" ...\n", stderr);
	fflush(stderr);
	p->shown = true;
	p->last = now;
}

void progress_clear(struct progress *p)
{
	if (p->shown && p->terminal) {
		fputs("\r\033[K", stderr);
		fflush(stderr);
	}
	p->shown = false;
}
