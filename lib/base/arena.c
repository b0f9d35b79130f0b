/* arena.c - a list of blocks, the newest first; a mark is a place in it. */
#include "base/arena.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 64 * 1024, ALIGN = 16 };

struct block {
	struct block *older;
	size_t size, used;
	_Alignas(16) unsigned char data[];
};

struct pd_arena {
	struct block *newest;
};

pd_arena *pd_arena_new(void)
{
	return calloc(1, sizeof(pd_arena));
}

static void release_until(pd_arena *a, const struct block *keep)
{
	while (a->newest && a->newest != keep) {
		struct block *b = a->newest;

		a->newest = b->older;
		free(b);
	}
}

void pd_arena_free(pd_arena *a)
{
	if (!a)
		return;
	release_until(a, NULL);
	free(a);
}

void *pd_arena_alloc(pd_arena *a, size_t count, size_t size)
{
	size_t want;
	struct block *b = a->newest;

	if (__builtin_mul_overflow(count, size, &want) ||
	    want > SIZE_MAX / 2)
		return NULL;
	want = (want + ALIGN - 1) / ALIGN * ALIGN;
	if (want == 0)
		want = ALIGN;
	if (!b || b->size - b->used < want) {
		size_t room = want > BLOCK ? want : BLOCK;

		b = malloc(sizeof *b + room);
		if (!b)
			return NULL;
		b->older = a->newest;
		b->size = room;
		b->used = 0;
		a->newest = b;
	}
	void *p = b->data + b->used;

	b->used += want;
	return memset(p, 0, want);
}

char *pd_arena_copy_n(pd_arena *a, const char *text, size_t length)
{
	char *p = pd_arena_alloc(a, length + 1, 1);

	return p ? memcpy(p, text, length) : NULL;
}

char *pd_arena_copy(pd_arena *a, const char *text)
{
	return pd_arena_copy_n(a, text, strlen(text));
}

char *pd_arena_vprint(pd_arena *a, const char *fmt, va_list ap)
{
	va_list again;

	va_copy(again, ap);
	int n = vsnprintf(NULL, 0, fmt, ap);
	char *p = n < 0 ? NULL : pd_arena_alloc(a, (size_t)n + 1, 1);

	if (p)
		vsnprintf(p, (size_t)n + 1, fmt, again);
	va_end(again);
	return p;
}

char *pd_arena_print(pd_arena *a, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	char *p = pd_arena_vprint(a, fmt, ap);

	va_end(ap);
	return p;
}

pd_arena_mark pd_arena_here(const pd_arena *a)
{
	pd_arena_mark m = { a->newest, a->newest ? a->newest->used : 0 };

	return m;
}

void pd_arena_rewind(pd_arena *a, pd_arena_mark mark)
{
	release_until(a, mark.block);
	if (a->newest)
		a->newest->used = mark.used;
}
