/*
 * arena.h - memory by lifetime: many small allocations, one release.
 * A pd_arena grows in blocks; everything in it lives until the arena is
 * rewound to an earlier mark or freed. Memory comes zeroed and aligned for
 * any type. Allocation failure returns NULL; the caller reports it.
 */
#ifndef PERDRAW_BASE_ARENA_H
#define PERDRAW_BASE_ARENA_H

#include <stdarg.h>
#include <stddef.h>

typedef struct pd_arena pd_arena;

pd_arena *pd_arena_new(void);
void pd_arena_free(pd_arena *a); /* NULL is welcome */

/* count * size zeroed bytes, or NULL when memory or size_t runs out. */
void *pd_arena_alloc(pd_arena *a, size_t count, size_t size);
char *pd_arena_copy(pd_arena *a, const char *text);
char *pd_arena_copy_n(pd_arena *a, const char *text, size_t length);
char *pd_arena_print(pd_arena *a, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
char *pd_arena_vprint(pd_arena *a, const char *fmt, va_list ap)
    __attribute__((format(printf, 2, 0)));

/* Give back all that was allocated after the mark was taken. */
typedef struct pd_arena_mark {
	void *block;
	size_t used;
} pd_arena_mark;
pd_arena_mark pd_arena_here(const pd_arena *a);
void pd_arena_rewind(pd_arena *a, pd_arena_mark mark);

#define PD_NEW(arena, type, n) ((type *)pd_arena_alloc(arena, n, sizeof(type)))

#endif
