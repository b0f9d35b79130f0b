/*
 * scan.c - numbers, dates and UTF-8 read without asking the locale.
 * Nearly every number in a file has few digits: then digits * 10^k or
 * digits / 10^k is one correctly rounded operation on exact operands
 * (Clinger 1990, "How to read floating point numbers accurately"). The rest
 * goes, respelled, to strtod_l in a C locale made once.
 */
#include "base/scan.h"

#include <errno.h>
#include <locale.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* 10^0 .. 10^22: all exact as doubles. */
static const double ten[] = {
	1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
};
enum { MAX_TEN = 22, MAX_TEXT = 512 };
static const uint64_t exact_limit = UINT64_C(999999999999999); /* 15 digits */

static locale_t c_locale;

static void make_locale(void)
{
	c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

/* What the text of a number consists of. */
struct parts {
	const char *digit;   /* first digit or point                          */
	const char *end;     /* past the last digit or point                  */
	bool negative;
	int exponent;        /* written one                                   */
	int after;           /* digits after the point                        */
};

/* The number respelled as digits and one exponent, for strtod_l. */
static bool slowly(const struct parts *p, char point, int shift, double *out)
{
	static pthread_once_t once = PTHREAD_ONCE_INIT;
	char text[MAX_TEXT + 32];
	size_t n = 0;
	char *end;

	pthread_once(&once, make_locale);
	if (!c_locale || p->end - p->digit > MAX_TEXT)
		return false;
	for (const char *s = p->digit; s < p->end; s++)
		if (*s != point)
			text[n++] = *s;
	snprintf(text + n, sizeof text - n, "e%d",
	         p->exponent - p->after + shift);
	errno = 0;
	double v = strtod_l(text, &end, c_locale);

	if (*end || !isfinite(v) || (errno == ERANGE && v > 1))
		return false;
	*out = p->negative ? -v : v;
	return true;
}

/* [e [+-] digits] up to `end`; exponents beyond 9999 are refused. */
static bool read_exponent(const char *s, const char *end, int *out)
{
	bool negative = false;
	int e = 0;

	if (s < end && (*s == '+' || *s == '-'))
		negative = *s++ == '-';
	if (s == end)
		return false;
	for (; s < end; s++) {
		if (!pd_is_digit(*s) || e > 999)
			return false;
		e = 10 * e + (*s - '0');
	}
	*out = negative ? -e : e;
	return true;
}

bool pd_scan_number(const char *s, size_t n, char point, int shift,
                    double *out)
{
	const char *end = s + n;
	struct parts p = { 0 };
	uint64_t m = 0;
	int digits = 0;
	unsigned c;

	if (s < end && (*s == '+' || *s == '-'))
		p.negative = *s++ == '-';
	p.digit = s;
	while (s < end && (c = (unsigned)*s - '0') <= 9) {
		if (m <= exact_limit)
			m = 10 * m + c;
		digits++;
		s++;
	}
	if (s < end && *s == point) {
		for (s++; s < end && (c = (unsigned)*s - '0') <= 9; s++) {
			if (m <= exact_limit)
				m = 10 * m + c;
			p.after++;
		}
	}
	p.end = s;
	if (digits + p.after == 0)
		return false;
	if (s < end) {
		if (*s != 'e' && *s != 'E')
			return false;
		if (!read_exponent(s + 1, end, &p.exponent))
			return false;
	}
	int e = p.exponent - p.after + shift;

	if (m > exact_limit || e > MAX_TEN || e < -MAX_TEN)
		return slowly(&p, point, shift, out);
	double v = e < 0 ? (double)m / ten[-e] : (double)m * ten[e];

	*out = p.negative ? -v : v;
	return true;
}

bool pd_scan_whole(const char *s, size_t n, int64_t *out)
{
	const char *end = s + n;
	bool negative = false;
	int64_t v = 0;

	if (s < end && (*s == '+' || *s == '-'))
		negative = *s++ == '-';
	if (s == end)
		return false;
	for (; s < end; s++) {
		if (!pd_is_digit(*s) ||
		    __builtin_mul_overflow(v, (int64_t)10, &v) ||
		    __builtin_sub_overflow(v, (int64_t)(*s - '0'), &v))
			return false;
	}
	if (!negative && v == INT64_MIN)
		return false;
	*out = negative ? v : -v;
	return true;
}

const pd_date_form pd_date_iso = { "ymd", '-' };

int32_t pd_days_of(int year, int month, int day)
{
	int y = month <= 2 ? year - 1 : year;
	int era = (y >= 0 ? y : y - 399) / 400;
	int of_era = y - era * 400;
	int of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 +
	              day - 1;
	int of_days = of_era * 365 + of_era / 4 - of_era / 100 + of_year;

	return era * 146097 + of_days - 719468;
}

void pd_date_of(int32_t days, int *year, int *month, int *day)
{
	int z = days + 719468;
	int era = (z >= 0 ? z : z - 146096) / 146097;
	int d = z - era * 146097;
	int y = (d - d / 1460 + d / 36524 - d / 146096) / 365;
	int of_year = d - (365 * y + y / 4 - y / 100);
	int m = (5 * of_year + 2) / 153;

	*day = of_year - (153 * m + 2) / 5 + 1;
	*month = m < 10 ? m + 3 : m - 9;
	*year = y + era * 400 + (*month <= 2);
}

char *pd_date_print(int32_t days, char out[11])
{
	int y, m, d;

	pd_date_of(days, &y, &m, &d);
	snprintf(out, 11, "%04u-%02u-%02u", (unsigned)y % 10000u,
	         (unsigned)m % 100u, (unsigned)d % 100u);
	return out;
}

static int days_in(int year, int month)
{
	static const int days[] = { 31, 28, 31, 30, 31, 30,
		                    31, 31, 30, 31, 30, 31 };

	if (month == 2 && year % 4 == 0 && (year % 100 || year % 400 == 0))
		return 29;
	return days[month - 1];
}

static int month_by_name(const char *s)
{
	static const char names[] = "janfebmaraprmayjunjulaugsepoctnovdec";

	for (int m = 0; m < 12; m++)
		if (pd_lower(s[0]) == names[3 * m] &&
		    pd_lower(s[1]) == names[3 * m + 1] &&
		    pd_lower(s[2]) == names[3 * m + 2])
			return m + 1;
	return 0;
}

/* One part of a date at s; returns its length, 0 when it is not there. */
static size_t date_part(const char *s, size_t n, char part, bool two,
                        int *out)
{
	size_t most = part == 'y' ? 4 : 2, k = 0;

	if (part == 'b') {
		*out = n >= 3 ? month_by_name(s) : 0;
		return *out ? 3 : 0;
	}
	for (*out = 0; k < n && k < most && pd_is_digit(s[k]); k++)
		*out = 10 * *out + (s[k] - '0');
	return k < (part == 'y' ? 4u : two ? 2u : 1u) ? 0 : k;
}

bool pd_scan_date(const char *s, size_t n, const pd_date_form *form,
                  int32_t *days)
{
	bool iso = form->separator == '-' && form->order[0] == 'y';
	int y = 0, m = 0, d = 0;
	size_t at = 0;

	for (int i = 0; i < 3; i++) {
		char part = form->order[i];
		int *to = part == 'y' ? &y : part == 'd' ? &d : &m;
		size_t k;

		if (i && (at >= n || s[at++] != form->separator))
			return false;
		k = date_part(s + at, n - at, part, iso, to);
		if (k == 0)
			return false;
		at += k;
	}
	if (at != n || y < 1 || m < 1 || m > 12 || d < 1 || d > days_in(y, m))
		return false;
	*days = pd_days_of(y, m, d);
	return true;
}

/* Length of the well-formed sequence at s, 0 when there is none. */
static size_t sequence(const unsigned char *s, size_t n)
{
	size_t want = s[0] < 0x80   ? 1
	              : s[0] < 0xc2 ? 0
	              : s[0] < 0xe0 ? 2
	              : s[0] < 0xf0 ? 3
	              : s[0] < 0xf5 ? 4
	                            : 0;

	if (want == 0 || want > n)
		return 0;
	for (size_t k = 1; k < want; k++)
		if ((s[k] & 0xc0) != 0x80)
			return 0;
	if ((s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xed && s[1] > 0x9f) ||
	    (s[0] == 0xf0 && s[1] < 0x90) || (s[0] == 0xf4 && s[1] > 0x8f))
		return 0;
	return want;
}

size_t pd_utf8_take(const char *s, size_t n, uint32_t *c)
{
	const unsigned char *p = (const unsigned char *)s;
	size_t k = n ? sequence(p, n) : 0;

	if (k == 0)
		return 0;
	*c = k == 1 ? p[0] : p[0] & (0x7FU >> k);
	for (size_t i = 1; i < k; i++)
		*c = *c << 6 | (p[i] & 0x3FU);
	return k;
}

size_t pd_utf8_bad(const char *s, size_t n)
{
	const unsigned char *p = (const unsigned char *)s;
	size_t i = 0;

	while (i < n) {
		uint64_t eight[4];

		if (n - i >= sizeof eight) { /* plain ASCII, 32 at a time */
			memcpy(eight, p + i, sizeof eight);
			if (((eight[0] | eight[1] | eight[2] | eight[3]) &
			     UINT64_C(0x8080808080808080)) == 0) {
				i += sizeof eight;
				continue;
			}
		}
		size_t k = sequence(p + i, n - i);

		if (k == 0)
			return i;
		i += k;
	}
	return n;
}

size_t pd_utf8_count(const char *s, size_t n)
{
	size_t count = 0;

	for (size_t i = 0; i < n; count++) {
		size_t k = sequence((const unsigned char *)s + i, n - i);

		i += k ? k : 1;
	}
	return count;
}

bool pd_same_word(const char *a, size_t n, const char *b)
{
	for (size_t i = 0; i < n; i++)
		if (!b[i] || pd_lower(a[i]) != pd_lower(b[i]))
			return false;
	return b[n] == '\0';
}

static unsigned least(unsigned a, unsigned b)
{
	return a < b ? a : b;
}

unsigned pd_word_distance(const char *a, size_t n, const char *b)
{
	unsigned row[3][64]; /* two rows ago, the last, this */
	size_t m = strlen(b);

	n = n > 63 ? 63 : n;
	m = m > 63 ? 63 : m;
	for (size_t j = 0; j <= m; j++)
		row[1][j] = (unsigned)j;
	for (size_t i = 1; i <= n; i++) {
		unsigned *old = row[(i + 2) % 3], *last = row[i % 3],
		         *this = row[(i + 1) % 3];

		this[0] = (unsigned)i;
		for (size_t j = 1; j <= m; j++) {
			char x = pd_lower(a[i - 1]), y = pd_lower(b[j - 1]);
			unsigned d = least(last[j - 1] + (x != y),
			                   least(last[j], this[j - 1]) + 1);

			if (i > 1 && j > 1 && x == pd_lower(b[j - 2]) &&
			    y == pd_lower(a[i - 2]))
				d = least(d, old[j - 2] + 1);
			this[j] = d;
		}
	}
	return row[(n + 1) % 3][m];
}
