/* clean.c - one gate for all text; see clean.h. */
#include "report/clean.h"
#include "base/glyph.h"
#include "base/scan.h"

#include <string.h>

enum { SHOWN_INSTEAD = 0xFFFD };

struct range {
	uint32_t from, to;
};

/* Written over the character before (Unicode 15, the common blocks). */
static const struct range combining[] = {
	{ 0x0300, 0x036F }, { 0x0483, 0x0489 }, { 0x0591, 0x05BD },
	{ 0x0610, 0x061A }, { 0x064B, 0x065F }, { 0x0900, 0x0902 },
	{ 0x1AB0, 0x1AFF }, { 0x1DC0, 0x1DFF }, { 0x20D0, 0x20FF },
	{ 0xFE00, 0xFE0F }, { 0xFE20, 0xFE2F },
};

/* Two columns wide (East Asian wide and full-width blocks, emoji). */
static const struct range wide[] = {
	{ 0x1100, 0x115F },   { 0x2E80, 0x303E },   { 0x3041, 0xA4CF },
	{ 0xAC00, 0xD7A3 },   { 0xF900, 0xFAFF },   { 0xFE30, 0xFE6F },
	{ 0xFF00, 0xFF60 },   { 0xFFE0, 0xFFE6 },   { 0x1F300, 0x1F64F },
	{ 0x1F900, 0x1F9FF }, { 0x20000, 0x3FFFD },
};

#define IN(table, c) in(table, sizeof(table) / sizeof((table)[0]), c)

static bool in(const struct range *r, size_t n, uint32_t c)
{
	for (size_t i = 0; i < n; i++)
		if (c >= r[i].from && c <= r[i].to)
			return true;
	return false;
}

uint32_t pd_clean_next(const char **p)
{
	uint32_t c = SHOWN_INSTEAD;

	if (**p == '\0')
		return 0;
	size_t n = pd_utf8_take(*p, strnlen(*p, 4), &c);

	*p += n ? n : 1; /* each bad byte by itself */
	if (c == '\t' || c == '\n' || c == '\r')
		return ' ';
	return pd_glyph_unseen(c) ? SHOWN_INSTEAD : c;
}

void pd_clean_put(pd_buf *out, uint32_t c)
{
	char b[4];
	size_t n = c < 0x80 ? 1 : c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;

	if (n == 1) {
		pd_buf_char(out, (char)c);
		return;
	}
	for (size_t i = n - 1; i > 0; i--, c >>= 6)
		b[i] = (char)(0x80 | (c & 0x3F));
	b[0] = (char)((0xF00u >> n & 0xF0u) | c);
	pd_buf_add_n(out, b, n);
}

void pd_clean_add(pd_buf *out, const char *text)
{
	for (uint32_t c; (c = pd_clean_next(&text));)
		pd_clean_put(out, c);
}

void pd_clean_add_html(pd_buf *out, const char *text)
{
	for (uint32_t c; (c = pd_clean_next(&text));) {
		switch (c) {
		case '&':
			pd_buf_add(out, "&amp;");
			break;
		case '<':
			pd_buf_add(out, "&lt;");
			break;
		case '>':
			pd_buf_add(out, "&gt;");
			break;
		case '"':
			pd_buf_add(out, "&quot;");
			break;
		case '\'':
			pd_buf_add(out, "&#39;");
			break;
		default:
			pd_clean_put(out, c);
		}
	}
}

unsigned pd_clean_columns(uint32_t c)
{
	if (c < 0x300)
		return 1;
	return IN(combining, c) ? 0 : IN(wide, c) ? 2 : 1;
}

size_t pd_clean_width(const char *text)
{
	size_t n = 0;

	for (uint32_t c; (c = pd_clean_next(&text));)
		n += pd_clean_columns(c);
	return n;
}
