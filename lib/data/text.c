/* text.c - decoding, and telling where bytes are not text. */
#include "data/text.h"
#include "base/scan.h"
#include "data/rules.h"

#include <errno.h>
#include <iconv.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_PLACES = 50 };

static pd_status tell(pd_findings *findings, pd_rule rule, uint32_t line,
                      uint32_t column, const char *found)
{
	const pd_rule_info *r = pd_rule_about(rule);

	return pd_findings_add(findings, r->code, r->level, line, column,
	                       found ? found : r->what, r->why);
}

/* UTF-16 by its mark, or by a zero in every second of the first bytes. */
static bool is_utf16(const char *b, size_t n)
{
	size_t zeros[2] = { 0, 0 }, most = n < 64 ? n : 64;

	if (n >= 2 && (memcmp(b, "\xff\xfe", 2) == 0 ||
	               memcmp(b, "\xfe\xff", 2) == 0))
		return true;
	for (size_t i = 0; i < most; i++)
		zeros[i % 2] += b[i] == '\0';
	return most >= 8 && (zeros[0] > most / 3 || zeros[1] > most / 3);
}

/* Walks through places in rising order, counting lines on the way. */
struct counter {
	const char *text;
	size_t at, line_start;
	uint32_t line;
};

static void advance(struct counter *c, size_t to)
{
	for (; c->at < to; c->at++) {
		char x = c->text[c->at];

		if (x == '\n' || (x == '\r' && c->text[c->at + 1] != '\n')) {
			c->line++;
			c->line_start = c->at + 1;
		}
	}
}

static size_t line_end(const char *text, size_t size, size_t at)
{
	while (at < size && text[at] != '\n' && text[at] != '\r')
		at++;
	return at;
}

typedef size_t (*find_bad)(const char *s, size_t n);

static size_t find_nul(const char *s, size_t n)
{
	const char *z = memchr(s, '\0', n);

	return z ? (size_t)(z - s) : n;
}

/* Tell the first bad byte of each line. */
static pd_status tell_bad(const pd_text *t, find_bad find, pd_rule rule,
                          pd_findings *findings)
{
	struct counter c = { t->data, 0, 0, 1 };
	size_t from = 0, places = 0;
	pd_status st = PD_OK;
	char found[64];

	while (from < t->size && st == PD_OK && places++ < MOST_PLACES) {
		size_t at = from + find(t->data + from, t->size - from);

		if (at >= t->size)
			break;
		advance(&c, at);
		snprintf(found, sizeof found, "byte 0x%02X",
		         (unsigned)(unsigned char)t->data[at]);
		st = tell(findings, rule, c.line,
		          (uint32_t)pd_utf8_count(t->data + c.line_start,
		                                  at - c.line_start) + 1,
		          found);
		from = line_end(t->data, t->size, at);
	}
	return st;
}

/* Every byte of a single-byte encoding becomes at most three of UTF-8. */
static pd_status decode(pd_text *t, const char *from, pd_findings *findings,
                        pd_error *err)
{
	iconv_t cd = iconv_open("UTF-8", from);
	char *in = (char *)(uintptr_t)t->data;
	size_t left = t->size, room = 3 * t->size + 1, bad = 0;
	char *out, *start;
	pd_status st = PD_OK;

	if (cd == (iconv_t)-1)
		return pd_fail(err, PD_INTERNAL, "no conversion from %s", from);
	start = out = malloc(room);
	if (!start) {
		iconv_close(cd);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	while (left && iconv(cd, &in, &left, &out, &room) == (size_t)-1) {
		*out++ = '?'; /* a byte the encoding does not have */
		room--;
		in++;
		left--;
		bad++;
	}
	iconv_close(cd);
	if (bad)
		st = tell(findings, PD_RULE_NOT_UTF8, 0, 0,
		          "bytes that the declared encoding does not have");
	t->data = t->owned = start;
	t->size = (size_t)(out - start);
	return st;
}

pd_status pd_text_init(pd_text *t, const char *bytes, size_t size,
                       pd_encoding encoding, pd_findings *findings,
                       pd_error *err)
{
	pd_status st = PD_OK;

	*t = (pd_text){ bytes, size, NULL, true };
	if (is_utf16(bytes, size)) {
		t->usable = false;
		return tell(findings, PD_RULE_UTF16, 1, 1, NULL);
	}
	if (size >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0) {
		t->data += 3;
		t->size -= 3;
		encoding = PD_UTF_8;
		st = tell(findings, PD_RULE_BOM, 1, 1, NULL);
	}
	if (st == PD_OK && encoding != PD_UTF_8 && t->size)
		st = decode(t, encoding == PD_LATIN_1 ? "ISO-8859-1"
		                                      : "WINDOWS-1252",
		            findings, err);
	if (st == PD_OK)
		st = tell_bad(t, find_nul, PD_RULE_NUL_BYTE, findings);
	if (st == PD_OK)
		st = tell_bad(t, pd_utf8_bad, PD_RULE_NOT_UTF8, findings);
	return st;
}

void pd_text_clear(pd_text *t)
{
	free(t->owned);
	*t = (pd_text){ 0 };
}
