/* progress.c - see progress.h. */
#include "progress.h"
#include "say.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { SILENT_SECONDS = 2 };

/* What the line's own thread shares with the work: all under `lock`. */
static struct {
	pthread_mutex_t lock;
	pthread_cond_t ending;
	pthread_t thread;
	bool terminal, running, ended, shown, quiet;
	const char *name;
	char step[120];
	struct timespec start;
} now = { .lock = PTHREAD_MUTEX_INITIALIZER };

static double seconds(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)(t.tv_sec - now.start.tv_sec) +
	       1e-9 * (double)(t.tv_nsec - now.start.tv_nsec);
}

/* A terminal that can wipe a line. */
static bool rewrites(void)
{
	const char *term = getenv("TERM");

	return isatty(STDERR_FILENO) && term && strcmp(term, "dumb") != 0;
}

static void show(void)
{
	fprintf(stderr, "\r\033[Kperdraw: %s, ", now.name);
	if (now.step[0]) {
		say_clean(now.step, stderr);
		fputs(", ", stderr);
	}
	fprintf(stderr, "%.0f s", seconds());
	fflush(stderr);
	now.shown = true;
}

/* Sleeps until the first line is due, then writes one a second. */
static void *write_lines(void *unused)
{
	struct timespec due;
	long wait = SILENT_SECONDS;

	(void)unused;
	pthread_mutex_lock(&now.lock);
	due = now.start;
	while (!now.ended) {
		due.tv_sec += wait;
		while (!now.ended &&
		       pthread_cond_timedwait(&now.ending, &now.lock, &due) == 0)
			;
		if (!now.ended)
			show();
		wait = 1;
	}
	pthread_mutex_unlock(&now.lock);
	return NULL;
}

void progress_begin(const char *name, bool quiet)
{
	pthread_condattr_t clock;

	progress_end();
	now.name = name;
	now.quiet = quiet;
	now.ended = now.shown = false;
	now.step[0] = '\0';
	now.terminal = rewrites();
	clock_gettime(CLOCK_MONOTONIC, &now.start);
	if (quiet || !now.terminal)
		return;
	pthread_condattr_init(&clock);
	pthread_condattr_setclock(&clock, CLOCK_MONOTONIC);
	pthread_cond_init(&now.ending, &clock);
	pthread_condattr_destroy(&clock);
	/* no thread, no line: the work goes on */
	now.running = pthread_create(&now.thread, NULL, write_lines, NULL) == 0;
}

static void note(const char *step)
{
	if (now.quiet || now.ended)
		return;
	pthread_mutex_lock(&now.lock);
	snprintf(now.step, sizeof now.step, "%s", step);
	pthread_mutex_unlock(&now.lock);
	if (now.terminal || now.shown || seconds() < SILENT_SECONDS)
		return;
	fprintf(stderr, "perdraw: %s, ", now.name);
	say_clean(step, stderr);
	fputs(" ...\n", stderr);
	now.shown = true;
}

void progress_step(void *user, size_t done, size_t of, const char *name)
{
	char step[sizeof now.step];

	(void)user;
	if (done >= of)
		return;
	snprintf(step, sizeof step, "question %zu of %zu%s%.40s", done + 1, of,
	         name && *name ? ": " : "", name ? name : "");
	note(step);
}

void progress_count(const char *what, size_t done, size_t of)
{
	char step[sizeof now.step];

	if (done >= of)
		return;
	snprintf(step, sizeof step, "%s %zu of %zu", what, done + 1, of);
	note(step);
}

void progress_end(void)
{
	if (now.running) {
		pthread_mutex_lock(&now.lock);
		now.ended = true;
		pthread_cond_signal(&now.ending);
		pthread_mutex_unlock(&now.lock);
		pthread_join(now.thread, NULL);
		pthread_cond_destroy(&now.ending);
		now.running = false;
		if (now.shown) {
			fputs("\r\033[K", stderr);
			fflush(stderr);
		}
	}
	now.ended = true;
}
