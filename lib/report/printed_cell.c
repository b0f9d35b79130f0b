/* printed_cell.c - what a printed cell says as numbers; see grid.h. */
#include "report/grid.h"

#include <string.h>

#define MINUS "\xe2\x88\x92" /* U+2212 */
#define THIN  "\xe2\x80\xaf" /* U+202F */

enum { MOST = 400 };

static bool take(const char **p, const char *word)
{
	size_t n = strlen(word);

	if (strncmp(*p, word, n) != 0)
		return false;
	*p += n;
	return true;
}

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Digits, three by three once a narrow blank parts them. */
static size_t whole_part(const char **p, char *to)
{
	size_t n = 0, since = 0;
	bool parted = false;

	for (;;) {
		if (digit(**p) && n < MOST / 2) {
			to[n++] = *(*p)++;
			since++;
		} else if (strncmp(*p, THIN, 3) == 0 && digit((*p)[3]) && n &&
		           (parted ? since == 3 : since <= 3)) {
			*p += 3;
			parted = true;
			since = 0;
		} else {
			break;
		}
	}
	return parted && since != 3 ? 0 : n;
}

/* A number at *p into ASCII digits in `to`; *p behind it. */
static bool number(const char **p, char to[MOST])
{
	const char *s = *p;
	char *end = to;
	bool negative = take(&s, MINUS) || take(&s, "-");

	if (negative)
		*end++ = '-';
	char *whole = end;
	size_t n = whole_part(&s, end);

	if (n > 1 && whole[0] == '0')
		return false;
	if (!n && *s != '.')
		return false;
	if (!n)
		*end++ = '0';
	end += n;
	if (*s == '.') {
		if (!digit(s[1]))
			return false;
		*end++ = *s++;
		while (digit(*s) && end < to + MOST - 1)
			*end++ = *s++;
	}
	*end = '\0';
	*p = s;
	return true;
}

/* A number, or the words for none: then to[0] is NUL. */
static bool limit(const char **p, char to[MOST])
{
	to[0] = '\0';
	return take(p, "no bound") || take(p, "not known") || number(p, to);
}

/* "95% CI, " where it stands. */
static void pass_level(const char **p)
{
	char level[MOST];
	const char *s = *p;

	if (number(&s, level) && take(&s, "% CI, "))
		*p = s;
}

static bool keep(pd_arena *arena, const char *digits, const char **to)
{
	*to = NULL;
	if (!*digits)
		return true;
	*to = pd_arena_copy(arena, digits);
	return *to != NULL;
}

static bool read_bound(pd_arena *arena, const char *text, pd_printed *v)
{
	char x[MOST];
	const char *p = text + 1;

	if (!number(&p, x) || *p)
		return true;
	v->kind = *text == '<' ? PD_PRINTED_BELOW : PD_PRINTED_ABOVE;
	return keep(arena, x, &v->value);
}

static bool read_limits(pd_arena *arena, const char *p, const char *end,
                        const char *value, pd_printed *v)
{
	char low[MOST], high[MOST];

	if (!limit(&p, low) || !take(&p, " to ") || !limit(&p, high) ||
	    strcmp(p, end) != 0 || (!low[0] && !high[0]))
		return true;
	v->kind = *end ? PD_PRINTED_SPAN : PD_PRINTED_RANGE;
	return keep(arena, value, &v->value) && keep(arena, low, &v->low) &&
	       keep(arena, high, &v->high);
}

bool pd_printed_read(pd_arena *arena, const char *text, pd_printed *v)
{
	char x[MOST];
	const char *p = text;

	*v = (pd_printed){ .kind = PD_PRINTED_MISSING };
	if (!text)
		return true;
	v->kind = PD_PRINTED_TEXT;
	if (*text == '<' || *text == '>')
		return read_bound(arena, text, v);
	if (!number(&p, x))
		return strncmp(text, "no bound to ", 12) == 0
		           ? read_limits(arena, text, "", "", v)
		           : true;
	if (!*p) {
		v->kind = PD_PRINTED_NUMBER;
		return keep(arena, x, &v->value);
	}
	if (take(&p, " (")) {
		pass_level(&p);
		return read_limits(arena, p, ")", x, v);
	}
	return read_limits(arena, text, "", "", v);
}
