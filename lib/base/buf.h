/*
 * buf.h - a growing piece of text. Writers append; the owner takes or frees.
 * A failed allocation marks the buffer and later appends do nothing, so a
 * writer checks once at the end (pd_buf_ok).
 */
#ifndef PERDRAW_BASE_BUF_H
#define PERDRAW_BASE_BUF_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct pd_buf {
	char *data; /* always NUL-terminated once something was added */
	size_t length, room;
	bool failed, lent; /* lent: data is the caller's room so far */
} pd_buf;

void pd_buf_init(pd_buf *b);
/* Starts in room[size], the caller's, size above 0: what fits into it cannot
 * fail. It must live until the buffer is cleared. */
void pd_buf_init_in(pd_buf *b, char *room, size_t size);
void pd_buf_clear(pd_buf *b); /* frees and re-initialises */
void pd_buf_reset(pd_buf *b); /* empties, keeps the room  */
void pd_buf_add(pd_buf *b, const char *text);
void pd_buf_add_n(pd_buf *b, const char *text, size_t length);
void pd_buf_char(pd_buf *b, char c);
void pd_buf_print(pd_buf *b, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
void pd_buf_repeat(pd_buf *b, const char *text, size_t times);
bool pd_buf_ok(const pd_buf *b);
/* Borrowed until the next append; "" when empty. */
const char *pd_buf_text(const pd_buf *b);

#endif
