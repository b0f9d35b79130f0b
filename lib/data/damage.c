/* damage.c - recognising what a spreadsheet did; common experience. */
#include "data/damage.h"
#include "base/glyph.h"
#include "base/scan.h"

#include <string.h>

static bool starts(const char *s, size_t n, const char *with)
{
	size_t k = strlen(with);

	return n >= k && memcmp(s, with, k) == 0;
}

static bool is_sheet_error(const char *s, size_t n)
{
	static const char *const texts[] = { "#REF!", "#N/A", "#VALUE!",
		                             "#DIV/0!", "#NAME?", "#NUM!",
		                             "#NULL!", "#SPILL!", "#WERT!",
		                             "#BEZUG!", "#NV", "#VALEUR!" };
	size_t hashes = 0;

	if (n == 0 || s[0] != '#')
		return false;
	for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
		if (pd_same_word(s, n, texts[i]))
			return true;
	while (hashes < n && s[hashes] == '#')
		hashes++;
	return hashes == n && n >= 3;
}

bool pd_damage_quotes(const char *s, size_t n)
{
	for (size_t i = 0; i + 2 < n; i++)
		if (s[i] == '\xe2' && s[i + 1] == '\x80' &&
		    (s[i + 2] == '\x9c' || s[i + 2] == '\x9d' ||
		     s[i + 2] == '\x9e'))
			return true;
	return false;
}

/* A character that prints as nothing, or as a blank that is none. */
static bool is_unseen(const char *s, size_t n)
{
	uint32_t c;

	if (!pd_utf8_take(s, n, &c))
		return false;
	return pd_glyph_unseen(c) || c == 0xA0 || c == 0x1680 ||
	       (c >= 0x2000 && c <= 0x200A) || c == 0x202F || c == 0x205F ||
	       c == 0x2800 || c == 0x3000;
}

pd_rule pd_damage(const char *s, size_t n)
{
	bool high = false;

	if (is_sheet_error(s, n))
		return PD_RULE_SHEET_ERROR;
	for (size_t i = 0; i < n; i++) {
		unsigned char x = (unsigned char)s[i];

		if (x < 0x20 || x == 0x7f)
			return PD_RULE_CONTROL;
		high |= x >= 0x80;
	}
	if (!high)
		return PD_RULE_NONE;
	if (pd_damage_quotes(s, n) || starts(s, n, "\xe2\x80\x98") ||
	    starts(s, n, "\xe2\x80\x99") || starts(s, n, "\xc2\xab") ||
	    starts(s, n, "\xc2\xbb"))
		return PD_RULE_SMART_QUOTE;
	for (size_t i = 0; i < n; i++)
		if ((unsigned char)s[i] >= 0x80 && is_unseen(s + i, n - i))
			return PD_RULE_INVISIBLE;
	return PD_RULE_NONE;
}

/* Digits at s, from 0 to `most`. */
static size_t digits(const char *s, size_t n, size_t most)
{
	size_t k = 0;

	while (k < n && k < most && pd_is_digit(s[k]))
		k++;
	return k;
}

/* 1,234 or 1.234.567 or 12 345: groups of three between marks. */
static bool is_grouped(const char *s, size_t n, char mark, char point)
{
	size_t i = n && (*s == '-' || *s == '+') ? 1 : 0;
	size_t first = digits(s + i, n - i, 4), groups = 0;

	if (first < 1 || first > 3)
		return false;
	for (i += first; i < n && s[i] == mark; groups++) {
		if (digits(s + i + 1, n - i - 1, 4) != 3)
			return false;
		i += 4;
	}
	if (groups && i < n && s[i] == point)
		i += 1 + digits(s + i + 1, n - i - 1, 30);
	return groups && i == n;
}

static bool month_at(const char *s, size_t n)
{
	static const char *const months[] = {
		"jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep",
		"oct", "nov", "dec", "mrz", "mai", "okt", "dez", "ene", "abr",
		"ago", "dic",
	};

	for (size_t i = 0; i < sizeof months / sizeof *months; i++)
		if (n >= 3 && pd_same_word(s, 3, months[i]))
			return true;
	return false;
}

/* 3-May, 03.May, May-04, 3-May-21 */
static bool is_short_date(const char *s, size_t n)
{
	size_t k = digits(s, n, 3);

	if (k == 0)
		return n >= 6 && n <= 8 && month_at(s, n) &&
		       (s[3] == '-' || s[3] == ' ') &&
		       digits(s + 4, n - 4, 5) == n - 4;
	if (k > 2 || n < k + 4 || !strchr("-. /", s[k]) ||
	    !month_at(s + k + 1, n - k - 1))
		return false;
	size_t at = k + 4;

	if (at < n && s[at] == '.')
		at++;
	if (at == n)
		return true;
	return strchr("-. /", s[at]) &&
	       digits(s + at + 1, n - at - 1, 5) == n - at - 1;
}

/* 2021-05-03, 3.5.2021 and the like in a number's place. */
static bool is_full_date(const char *s, size_t n)
{
	size_t a = digits(s, n, 4), b, c;

	if (!a || a + 1 >= n || !strchr("-./", s[a]))
		return false;
	b = digits(s + a + 1, n - a - 1, 2);
	if (!b || a + b + 2 >= n || s[a + 1 + b] != s[a])
		return false;
	c = digits(s + a + b + 2, n - a - b - 2, 4);
	return c && a + b + c + 2 == n;
}

/* A number and then a sign of what it counts: "12 mL", "85%". */
static bool has_unit(const char *s, size_t n, char point)
{
	size_t k = n && (*s == '-' || *s == '+') ? 1 : 0, d;

	d = digits(s + k, n - k, 30);
	k += d;
	if (k < n && s[k] == point) {
		k++;
		k += digits(s + k, n - k, 30);
	}
	if (!d || k >= n)
		return false;
	if (s[k] == ' ')
		k++;
	return k < n && (pd_is_letter(s[k]) || strchr("%/x*^", s[k]) ||
	                 starts(s + k, n - k, "\xc2\xb5") ||
	                 starts(s + k, n - k, "\xce\xbc") ||
	                 starts(s + k, n - k, "\xc3\x97"));
}

/* Only digits, marks and a sign. */
static bool is_marked(const char *s, size_t n, char mark)
{
	size_t marks = 0, d = 0;

	for (size_t i = 0; i < n; i++) {
		if (pd_is_digit(s[i]))
			d++;
		else if (s[i] == mark)
			marks++;
		else if (!(i == 0 && (s[i] == '-' || s[i] == '+')))
			return false;
	}
	return d && marks == 1;
}

pd_rule pd_damage_number(const char *s, size_t n, char point)
{
	pd_rule damage = pd_damage(s, n);
	char other = point == '.' ? ',' : '.';
	pd_rule mark = point == '.' ? PD_RULE_DECIMAL_COMMA
	                            : PD_RULE_DECIMAL_POINT;

	if (damage != PD_RULE_NONE)
		return damage;
	if (is_full_date(s, n) || is_short_date(s, n))
		return PD_RULE_NUMBER_DATE;
	if (is_grouped(s, n, other, point) || is_grouped(s, n, ' ', point) ||
	    is_grouped(s, n, '\'', point) || is_grouped(s, n, point, other))
		return PD_RULE_THOUSANDS;
	if (is_marked(s, n, other))
		return mark;
	return has_unit(s, n, point) ? PD_RULE_UNIT_IN_CELL
	                             : PD_RULE_NOT_NUMBER;
}

pd_rule pd_damage_label(const char *s, size_t n)
{
	size_t k = digits(s, n, 30), at = k;

	if (k && at < n && (s[at] == '.' || s[at] == ','))
		at += 1 + digits(s + at + 1, n - at - 1, 30);
	if (k && n - at >= 3 && (s[at] == 'E' || s[at] == 'e') &&
	    s[at + 1] == '+' &&
	    digits(s + at + 2, n - at - 2, 4) == n - at - 2)
		return PD_RULE_ID_SCIENTIFIC;
	return is_short_date(s, n) ? PD_RULE_LABEL_DATE : PD_RULE_NONE;
}

bool pd_damage_serial(const char *s, size_t n, char point)
{
	double x;

	return pd_scan_number(s, n, point, 0, &x) && x >= 30000 && x < 60001;
}

bool pd_damage_total(const char *s, size_t n)
{
	static const char *const words[] = {
		"total", "totals", "grand total", "subtotal", "sum", "sums",
		"mean", "means", "average", "averages", "avg", "median", "sd",
		"stdev", "std dev", "std. dev.", "min", "max", "minimum",
		"maximum", "count", "n", "summe", "gesamt", "mittelwert",
		"mittel", "anzahl", "somme", "moyenne", "suma", "promedio",
		"media", "totale", "somma", "totaal", "gemiddelde",
	};

	if (n && s[n - 1] == ':')
		n--;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (pd_same_word(s, n, words[i]))
			return true;
	return false;
}
