/* number.c - numbers in words and digits; see number.h for the style. */
#include "report/number.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MINUS "\xe2\x88\x92" /* U+2212 */
#define THIN  "\xe2\x80\xaf" /* U+202F */
#define TIMES "\xc3\x97"     /* U+00D7 */

enum { MOST_DECIMALS = 6, DIGITS = 340 };
static const double VAST = 1e6; /* no upper limit is spelt out beyond */

/*
 * |x| in decimal, point and digits only, whatever the locale says: all that
 * printf puts between the digits is its decimal point.
 */
static void digits(char *to, size_t size, double x, int decimals)
{
	char raw[DIGITS];
	size_t n = 0;
	bool point = false;

	snprintf(raw, sizeof raw, "%.*f", decimals, fabs(x));
	for (const char *p = raw; *p && n + 1 < size; p++) {
		if (*p >= '0' && *p <= '9') {
			to[n++] = *p;
		} else if (!point) {
			to[n++] = '.';
			point = true;
		}
	}
	to[n] = '\0';
}

static bool all_zero(const char *text)
{
	return text[strspn(text, "0.")] == '\0';
}

/* The whole part of `text`, thousands parted from five digits up. */
static void add_grouped(pd_buf *out, const char *text)
{
	size_t whole = strcspn(text, ".");

	for (size_t i = 0; i < whole; i++) {
		if (i > 0 && whole > 4 && (whole - i) % 3 == 0)
			pd_buf_add(out, THIN);
		pd_buf_char(out, text[i]);
	}
	pd_buf_add(out, text + whole);
}

void pd_number_fixed(pd_buf *out, double x, int decimals)
{
	char text[DIGITS];

	if (isnan(x)) {
		pd_buf_add(out, "not known");
		return;
	}
	if (isinf(x)) {
		pd_buf_add(out, "no bound");
		return;
	}
	digits(text, sizeof text, x, decimals);
	if (x < 0 && !all_zero(text))
		pd_buf_add(out, MINUS);
	add_grouped(out, text);
}

void pd_number_place(pd_buf *out, double x)
{
	char text[DIGITS];
	size_t n;

	if (!isfinite(x))
		x = 0;
	digits(text, sizeof text, x, 2);
	n = strlen(text);
	while (n && text[n - 1] == '0')
		n--;
	if (n && text[n - 1] == '.')
		n--;
	text[n] = '\0';
	if (x < 0 && !all_zero(text))
		pd_buf_char(out, '-');
	pd_buf_add(out, text);
}

void pd_number_count(pd_buf *out, size_t n)
{
	char text[32];

	snprintf(text, sizeof text, "%zu", n);
	add_grouped(out, text);
}

/* Do x and y read alike at this many decimals? */
static bool alike(double x, double y, int decimals)
{
	char a[DIGITS], b[DIGITS];

	if (!isfinite(x) || !isfinite(y))
		return false;
	digits(a, sizeof a, x, decimals);
	digits(b, sizeof b, y, decimals);
	return strcmp(a, b) == 0 && ((x < 0) == (y < 0) || all_zero(a));
}

/* An interval this wide says that hardly anything is known: more digits of its
 * lower limit would only look like knowledge. */
static bool is_vast(const pd_span *s)
{
	return s->kind == PD_SPAN_RATIO && s->low > 0 && s->high / s->low > 1e4;
}

/* Would rounding to `decimals` say something the numbers do not? */
static bool misleads(const pd_span *s, int decimals)
{
	double null = s->kind == PD_SPAN_RATIO ? 1 : 0;

	if (s->kind != PD_SPAN_MEAN) {
		if (s->low != null && alike(s->low, null, decimals))
			return true;
		if (s->high != null && alike(s->high, null, decimals))
			return true;
	}
	if (s->kind != PD_SPAN_DIFFERENCE) {
		const double x[] = { s->value, s->low, s->high };

		for (size_t i = 0; i < 3; i++)
			if (x[i] > 0 && alike(x[i], 0, decimals) &&
			    !(i == 1 && is_vast(s)))
				return true;
	}
	return s->low != s->high && alike(s->low, s->high, decimals);
}

int pd_number_decimals(const pd_span *s)
{
	double width = s->high - s->low;
	int d;

	if (s->kind == PD_SPAN_RATIO) {
		d = fabs(s->value) >= 100 ? 0 : 2;
		while (d && d < MOST_DECIMALS && width > 0 &&
		       width < 2 * pow(10, -d))
			d++;
	} else {
		if (!isfinite(width) || width <= 0)
			width = fabs(s->value) / 2;
		d = isfinite(width) && width > 0 ? 1 - (int)floor(log10(width))
		                                 : 1;
		d = d < 0 ? 0 : d > MOST_DECIMALS ? MOST_DECIMALS : d;
	}
	while (d < MOST_DECIMALS && misleads(s, d))
		d++;
	return d;
}

static void add_limits(pd_buf *out, const pd_span *s, int d, bool with_level)
{
	pd_buf_add(out, " (");
	if (with_level) {
		pd_number_level(out, s->level);
		pd_buf_add(out, " CI, ");
	}
	if (is_vast(s) && alike(s->low, 0, d)) {
		pd_buf_add(out, "below ");
		pd_number_fixed(out, pow(10, -d), d);
	} else {
		pd_number_fixed(out, s->low, d);
	}
	pd_buf_add(out, " to ");
	if (is_vast(s) && s->high > VAST && isfinite(s->high)) {
		pd_buf_add(out, "above ");
		pd_number_fixed(out, VAST, 0);
	} else {
		pd_number_fixed(out, s->high, d);
	}
	pd_buf_char(out, ')');
}

void pd_number_span(pd_buf *out, const pd_span *s, bool with_level)
{
	int d = pd_number_decimals(s);

	if (!isfinite(s->value)) {
		pd_buf_add(out, "not estimable");
		if (isfinite(s->high)) {
			pd_buf_add(out, " (upper limit ");
			pd_number_fixed(out, s->high, d);
			pd_buf_char(out, ')');
		} else if (isfinite(s->low)) {
			pd_buf_add(out, " (lower limit ");
			pd_number_fixed(out, s->low, d);
			pd_buf_char(out, ')');
		}
		return;
	}
	pd_number_fixed(out, s->value, d);
	if (isnan(s->low) && isnan(s->high))
		return;
	add_limits(out, s, d, with_level);
}

/* Digits of P after the point, without the leading zero. */
static void add_p_digits(pd_buf *out, double p)
{
	char text[DIGITS];
	int d = p < 0.01 ? 3 : 2;

	while (d < MOST_DECIMALS && p != 0.05 && alike(p, 0.05, d))
		d++;
	digits(text, sizeof text, p, d);
	pd_buf_add(out, text[0] == '0' ? text + 1 : text);
}

static bool add_p(pd_buf *out, double p, const char *equal, const char *below,
                  const char *above)
{
	if (isnan(p) || p < 0)
		return false;
	if (p < 0.001) {
		pd_buf_add(out, below);
		pd_buf_add(out, ".001");
	} else if (p > 0.99) {
		pd_buf_add(out, above);
		pd_buf_add(out, ".99");
	} else {
		pd_buf_add(out, equal);
		add_p_digits(out, p);
	}
	return true;
}

bool pd_number_p(pd_buf *out, double p)
{
	return add_p(out, p, "", "<", ">");
}

bool pd_number_p_words(pd_buf *out, double p)
{
	return add_p(out, p, "P = ", "P < ", "P > ");
}

/* A percentage with as few decimals as say it, two at most. */
static void add_percent(pd_buf *out, double percent)
{
	int d = 0;

	while (d < 2 &&
	       fabs(percent * pow(10, d) - round(percent * pow(10, d))) > 1e-6)
		d++;
	pd_number_fixed(out, percent, d);
	pd_buf_char(out, '%');
}

void pd_number_level(pd_buf *out, double level)
{
	add_percent(out, 100 * level);
}

void pd_number_share(pd_buf *out, size_t k, size_t n, const char *of)
{
	pd_number_count(out, k);
	pd_buf_add(out, " of ");
	pd_number_count(out, n);
	pd_buf_print(out, " %s", of);
	if (n == 0)
		return;
	pd_buf_add(out, " (");
	pd_number_fixed(out, 100 * (double)k / (double)n, n < 100 ? 0 : 1);
	pd_buf_add(out, "%)");
}

void pd_number_share_limits(pd_buf *out, double low, double high)
{
	pd_span s = { PD_SPAN_MEAN, 100 * (low + high) / 2, 100 * low,
		      100 * high, NAN };
	int d = high - low < 0.1 ? 1 : 0;

	while (d < MOST_DECIMALS && misleads(&s, d))
		d++;
	pd_number_fixed(out, 100 * low, d);
	pd_buf_add(out, "% to ");
	pd_number_fixed(out, 100 * high, d);
	pd_buf_char(out, '%');
}

void pd_number_short(pd_buf *out, double x)
{
	char text[DIGITS];
	double size = fabs(x);
	size_t n;
	int d = 0;

	if (!isfinite(x)) {
		pd_number_fixed(out, x, 0);
		return;
	}
	if (size > 0)
		d = 2 - (int)floor(log10(size) + 1e-12);
	d = d < 0 ? 0 : d > 9 ? 9 : d;
	digits(text, sizeof text, x, d);
	n = strlen(text);
	while (d > 0 && n && text[n - 1] == '0')
		n--;
	if (n && text[n - 1] == '.')
		n--;
	text[n] = '\0';
	if (x < 0 && !all_zero(text))
		pd_buf_add(out, MINUS);
	add_grouped(out, text);
}

void pd_number_unit(pd_buf *out, const char *unit)
{
	static const char *const raised[] = { "\xe2\x81\xb0", "\xc2\xb9",
		                              "\xc2\xb2",     "\xc2\xb3",
		                              "\xe2\x81\xb4", "\xe2\x81\xb5",
		                              "\xe2\x81\xb6", "\xe2\x81\xb7",
		                              "\xe2\x81\xb8", "\xe2\x81\xb9" };

	if (strncmp(unit, "10^", 3) == 0)
		pd_buf_add(out, TIMES);
	for (const char *p = unit; *p; p++) {
		if (*p != '^' || p[1] < '0' || p[1] > '9') {
			pd_buf_char(out, *p);
			continue;
		}
		for (; p[1] >= '0' && p[1] <= '9'; p++)
			pd_buf_add(out, raised[p[1] - '0']);
	}
}
