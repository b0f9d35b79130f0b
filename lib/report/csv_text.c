/* csv_text.c - see csv_text.h. */
#include "report/csv_text.h"
#include "report/clean.h"
#include "report/json_text.h"

#include <string.h>

/* Would a spreadsheet compute this? The sign may follow blanks, and its
 * full-width form counts; so does a text that is guarded already, so that
 * taking one apostrophe away gives every text back. */
static bool looks_like_formula(const char *text)
{
	uint32_t c;

	do
		c = pd_clean_next(&text);
	while (c == ' ' || c == '\'' || c == 0xA0 || c == 0x3000 ||
	       (c >= 0x2000 && c <= 0x200A) || c == 0x202F || c == 0xFFFD);
	return c == '=' || c == '+' || c == '-' || c == '@' || c == 0xFF1D ||
	       c == 0xFF0B || c == 0xFF0D || c == 0xFF20;
}

/* A text as it stands in the file, before quoting. */
static void add_guarded(pd_buf *out, const char *text)
{
	if (looks_like_formula(text))
		pd_buf_char(out, '\'');
	pd_clean_add(out, text);
}

/* Nothing in it that is quoted, guarded or cleaned: nearly every cell. */
static bool is_simple(const char *text)
{
	size_t n = strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	                        "abcdefghijklmnopqrstuvwxyz0123456789"
	                        " .-+*/()[]{}%_:");

	return n && !text[n] && text[n - 1] != ' ' && !strchr(" +-", *text);
}

void pd_csv_field(pd_buf *out, const char *text, bool number)
{
	pd_buf field;

	if (!text)
		return;
	if (number || is_simple(text)) {
		pd_buf_add(out, text);
		return;
	}
	pd_buf_init(&field);
	add_guarded(&field, text);
	const char *s = pd_buf_text(&field);
	bool quote = s[strcspn(s, ",\"\r\n")] || *s == ' ' ||
	             (*s && s[strlen(s) - 1] == ' ') || !*s;

	if (quote)
		pd_buf_char(out, '"');
	for (const char *p = s; *p; p++) {
		if (*p == '"')
			pd_buf_char(out, '"');
		pd_buf_char(out, *p);
	}
	if (quote)
		pd_buf_char(out, '"');
	if (!pd_buf_ok(&field))
		out->failed = true;
	pd_buf_clear(&field);
}

void pd_csv_url(pd_buf *out, const char *name)
{
	static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	                            "abcdefghijklmnopqrstuvwxyz0123456789-._~";

	pd_buf_char(out, '"');
	for (const char *p = name; *p; p++)
		if (strchr(plain, *p))
			pd_buf_char(out, *p);
		else
			pd_buf_print(out, "%%%02X", (unsigned char)*p);
	pd_buf_char(out, '"');
}

void pd_csv_json(pd_buf *out, const char *text)
{
	pd_buf b;

	pd_buf_init(&b);
	add_guarded(&b, text);
	pd_json_string(out, pd_buf_text(&b));
	if (!pd_buf_ok(&b))
		out->failed = true;
	pd_buf_clear(&b);
}
