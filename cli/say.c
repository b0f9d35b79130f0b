/*
 * say.c - messages on stderr. Everything that may hold bytes of a file or of
 * the command line goes through say_clean.
 */
#include "say.h"

#include <stdarg.h>
#include <stdint.h>
#include <string.h>

/* Length of the UTF-8 sequence at s and its code point; 0 when broken. */
static size_t decode(const unsigned char *s, uint32_t *point)
{
	static const uint32_t least[] = { 0, 0, 0x80, 0x800, 0x10000 };
	size_t n = s[0] < 0x80 ? 1 : s[0] < 0xc2 ? 0 : s[0] < 0xe0 ? 2
	           : s[0] < 0xf0 ? 3 : s[0] < 0xf5 ? 4 : 0;
	uint32_t p = n == 1 ? s[0] : n ? s[0] & (0x7fu >> n) : 0;

	for (size_t i = 1; i < n; i++) {
		if ((s[i] & 0xc0) != 0x80)
			return 0;
		p = p << 6 | (s[i] & 0x3fu);
	}
	*point = p;
	if (n && (p < least[n] || p > 0x10ffff || (p >= 0xd800 && p < 0xe000)))
		return 0;
	return n;
}

/* Code points that move the cursor, hide or reorder what follows. */
static bool unsafe(uint32_t p)
{
	return p < 0x20 || (p >= 0x7f && p < 0xa0) || p == 0x061c ||
	       (p >= 0x200b && p <= 0x200f) || (p >= 0x2028 && p <= 0x202e) ||
	       (p >= 0x2060 && p <= 0x206f) || p == 0xfeff;
}

void say_clean(const char *text, FILE *to)
{
	const unsigned char *s = (const unsigned char *)text;

	while (*s) {
		uint32_t point;
		size_t n = decode(s, &point);

		if (n == 0) {
			fprintf(to, "\\x%02x", *s++);
			continue;
		}
		if (!unsafe(point))
			fwrite(s, 1, n, to);
		else if (point < 0x100)
			fprintf(to, "\\x%02x", point);
		else
			fprintf(to, "\\u%04x", point);
		s += n;
	}
}

void say_error(const char *fmt, ...)
{
	char text[1200];
	va_list ap;

	va_start(ap, fmt);
	vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	fputs("perdraw: ", stderr);
	say_clean(text, stderr);
	fputc('\n', stderr);
}

int say_failure(pd_status st, const pd_error *err)
{
	char text[sizeof err->file + sizeof err->text + 64];

	if (err->text[0] == '\0') {
		say_error("%s", pd_status_text(st));
		return pd_status_exit(st);
	}
	if (err->file[0] == '\0' || err->line == 0) {
		say_error("%s", pd_error_text(err, text, sizeof text));
		return pd_status_exit(st);
	}
	say_clean(err->file, stderr);
	fprintf(stderr, ":%zu:", err->line);
	if (err->column)
		fprintf(stderr, "%zu:", err->column);
	fputs(" error: ", stderr);
	say_clean(err->text, stderr);
	fputc('\n', stderr);
	return pd_status_exit(st);
}
