/* buf.c - growing text with a failure mark. */
#include "base/buf.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void pd_buf_init(pd_buf *b)
{
	memset(b, 0, sizeof *b);
}

void pd_buf_init_in(pd_buf *b, char *room, size_t size)
{
	*b = (pd_buf){ .data = room, .room = size, .lent = true };
	room[0] = '\0';
}

void pd_buf_clear(pd_buf *b)
{
	if (!b->lent)
		free(b->data);
	pd_buf_init(b);
}

void pd_buf_reset(pd_buf *b)
{
	b->length = 0;
	if (b->data)
		b->data[0] = '\0';
}

static bool reserve(pd_buf *b, size_t more)
{
	size_t need;

	if (b->failed)
		return false;
	if (__builtin_add_overflow(b->length, more, &need) ||
	    need > SIZE_MAX / 2 - 1) {
		b->failed = true;
		return false;
	}
	if (need + 1 <= b->room)
		return true;
	size_t room = b->room ? b->room : 256;

	while (room < need + 1)
		room *= 2;
	char *p = realloc(b->lent ? NULL : b->data, room);

	if (!p) {
		b->failed = true;
		return false;
	}
	if (b->lent)
		memcpy(p, b->data, b->length + 1);
	b->lent = false;
	b->data = p;
	b->room = room;
	return true;
}

void pd_buf_add_n(pd_buf *b, const char *text, size_t length)
{
	if (!reserve(b, length))
		return;
	memcpy(b->data + b->length, text, length);
	b->length += length;
	b->data[b->length] = '\0';
}

void pd_buf_add(pd_buf *b, const char *text)
{
	pd_buf_add_n(b, text, strlen(text));
}

void pd_buf_char(pd_buf *b, char c)
{
	pd_buf_add_n(b, &c, 1);
}

void pd_buf_print(pd_buf *b, const char *fmt, ...)
{
	va_list ap, again;

	va_start(ap, fmt);
	va_copy(again, ap);
	int n = vsnprintf(NULL, 0, fmt, ap);

	if (n < 0)
		b->failed = true;
	else if (reserve(b, (size_t)n)) {
		vsnprintf(b->data + b->length, (size_t)n + 1, fmt, again);
		b->length += (size_t)n;
	}
	va_end(again);
	va_end(ap);
}

void pd_buf_repeat(pd_buf *b, const char *text, size_t times)
{
	while (times--)
		pd_buf_add(b, text);
}

bool pd_buf_ok(const pd_buf *b)
{
	return !b->failed;
}

const char *pd_buf_text(const pd_buf *b)
{
	return b->data ? b->data : "";
}
