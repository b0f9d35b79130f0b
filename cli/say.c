/*
 * say.c - messages on stderr. Everything that may hold bytes of a file or of
 * the command line goes through say_clean.
 */
#include "say.h"
#include "progress.h"

#include <stdarg.h>
#include <stdint.h>
#include <string.h>

void say_clean(const char *text, FILE *to)
{
	while (*text) {
		uint32_t point;
		size_t n = pd_utf8_take(text, strnlen(text, 4), &point);

		if (n == 0) {
			fprintf(to, "\\x%02x", (unsigned char)*text++);
			continue;
		}
		if (!pd_glyph_unseen(point))
			fwrite(text, 1, n, to);
		else
			fprintf(to, point < 0x100 ? "\\x%02x" : "\\u%04x",
			        (unsigned)point);
		text += n;
	}
}

void say_error(const char *fmt, ...)
{
	char text[1200];
	va_list ap;

	va_start(ap, fmt);
	vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	progress_end();
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
		if (st == PD_BROKEN)
			say_error("'perdraw history --db FILE' shows what "
			          "differs and what to do");
		return pd_status_exit(st);
	}
	progress_end();
	say_clean(err->file, stderr);
	fprintf(stderr, ":%zu:", err->line);
	if (err->column)
		fprintf(stderr, "%zu:", err->column);
	fputs(" error: ", stderr);
	say_clean(err->text, stderr);
	fputc('\n', stderr);
	return pd_status_exit(st);
}
