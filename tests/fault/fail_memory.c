/*
 * fail_memory.c - memory that runs out on demand, for the tests of what a
 * command does then. Preloaded before the C library; counts every call that
 * asks for memory and fails the one that PERDRAW_FAIL_AT names.
 *
 *   PERDRAW_FAIL_AT=K     the K-th request after start fails, once
 *   PERDRAW_FAIL_AT=K+    it and all later ones fail
 *   PERDRAW_FAIL_COUNT=F  the number of requests is written to file F at exit
 *   PERDRAW_FAIL_TRACE=1  the first failure prints its callers
 *   PERDRAW_FAIL_PATHS=1  only the first request of every call path counts
 *
 * A loop asks for memory ten thousand times from one place; what a program
 * does without it differs by place. With PERDRAW_FAIL_PATHS each place, by the
 * innermost PATH_DEPTH callers, is one request, and all can be tried.
 * The requests of every library in the process are counted: those of SQLite,
 * of the numerical library and of the CSV library among them.
 */
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t n, size_t size);
extern void *__libc_realloc(void *old, size_t size);
extern void *__libc_memalign(size_t alignment, size_t size);

enum { PATH_DEPTH = 8, N_SLOTS = 1 << 16 };

static atomic_ulong n_requests;
static unsigned long fail_at;
static bool fail_on, by_path, trace, started;
static _Thread_local bool inside;
static _Atomic uint64_t seen[N_SLOTS];

/* The innermost callers in one number; never 0. */
static uint64_t path_now(void)
{
	void *caller[PATH_DEPTH + 3];
	int n = backtrace(caller, PATH_DEPTH + 3);
	uint64_t h = 1469598103934665603u;

	for (int i = 3; i < n; i++) {
		h ^= (uint64_t)(uintptr_t)caller[i];
		h *= 1099511628211u;
	}
	return h ? h : 1;
}

static bool path_is_new(void)
{
	uint64_t path = path_now();

	for (size_t i = 0; i < N_SLOTS; i++) {
		size_t slot = (path + i) % N_SLOTS;
		uint64_t none = 0;

		if (atomic_compare_exchange_strong(&seen[slot], &none, path))
			return true;
		if (none == path)
			return false;
	}
	return false;
}

__attribute__((constructor)) static void begin(void)
{
	const char *at = getenv("PERDRAW_FAIL_AT");
	char *end = NULL;

	if (at) {
		fail_at = strtoul(at, &end, 10);
		fail_on = end && *end == '+';
	}
	by_path = getenv("PERDRAW_FAIL_PATHS") != NULL;
	trace = getenv("PERDRAW_FAIL_TRACE") != NULL;
	if (by_path || trace)
		(void)path_now(); /* the first call loads the unwinder */
	started = true;
}

__attribute__((destructor)) static void finish(void)
{
	const char *path = getenv("PERDRAW_FAIL_COUNT");
	char line[32];

	started = false;
	if (!path)
		return;
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
	int n = snprintf(line, sizeof line, "%lu\n",
	                 (unsigned long)atomic_load(&n_requests));

	if (fd < 0 || write(fd, line, (size_t)n) != n)
		_exit(99);
	close(fd);
}

static bool fails(void)
{
	if (!started || inside)
		return false;
	if (by_path) {
		inside = true;
		bool new_path = path_is_new();

		inside = false;
		if (!new_path && !(fail_on && fail_at && n_requests >= fail_at))
			return false;
	}
	unsigned long k = atomic_fetch_add(&n_requests, 1) + 1;

	if (!fail_at || (fail_on ? k < fail_at : k != fail_at))
		return false;
	if (k == fail_at && trace) {
		void *caller[24];

		inside = true;
		backtrace_symbols_fd(caller, backtrace(caller, 24), 2);
		inside = false;
	}
	errno = ENOMEM;
	return true;
}

void *malloc(size_t size)
{
	return fails() ? NULL : __libc_malloc(size);
}

void *calloc(size_t n, size_t size)
{
	return fails() ? NULL : __libc_calloc(n, size);
}

void *realloc(void *old, size_t size)
{
	return fails() ? NULL : __libc_realloc(old, size);
}

void *reallocarray(void *old, size_t n, size_t size)
{
	size_t all;

	if (__builtin_mul_overflow(n, size, &all)) {
		errno = ENOMEM;
		return NULL;
	}
	return realloc(old, all);
}

void *aligned_alloc(size_t alignment, size_t size)
{
	return fails() ? NULL : __libc_memalign(alignment, size);
}

int posix_memalign(void **out, size_t alignment, size_t size)
{
	if (fails())
		return ENOMEM;
	*out = __libc_memalign(alignment, size);
	return *out ? 0 : ENOMEM;
}
