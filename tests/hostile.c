/*
 * hostile.c - constant, empty, infinite, huge, tiny and mixed arrays.
 */
#include "hostile.h"

#include "stats/stream.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

pd_error hostile_err;
const char *hostile_now = "";

static unsigned wrong, seen;

static const char *const names[HOSTILE_KINDS] = {
	"ordinary", "all 0", "all 3.7", "one NaN", "one infinity",
	"one minus infinity", "all NaN", "1e308 and its negative", "all 1e308",
	"ordinary times 1e-308", "the smallest number there is",
	"1e15 and a little", "1e308 and 1e-308", "two values",
	"a lone far value", "rising in equal steps", "counts with many zeros",
	"ordinary times 1e150"
};

const char *hostile_name(unsigned kind)
{
	return names[kind];
}

static double one(size_t i, size_t n, unsigned kind, pd_stream *s)
{
	double z = 2.5 + pd_stream_normal(s);
	size_t odd = n / 2;

	switch (kind) {
	case 1: return 0;
	case 2: return 3.7;
	case 3: return i == odd ? NAN : z;
	case 4: return i == odd ? INFINITY : z;
	case 5: return i == odd ? -INFINITY : z;
	case 6: return NAN;
	case 7: return i % 2 ? 1e308 : -1e308;
	case 8: return 1e308;
	case 9: return 1e-308 * z;
	case 10: return 4.9406564584124654e-324;
	case 11: return 1e15 + rint(4 * z);
	case 12: return i % 2 ? 1e308 : 1e-308;
	case 13: return i % 2 ? 2 : 1;
	case 14: return i == odd ? 1e12 : 1;
	case 15: return (double)i + 1;
	case 16: return floor(fmax(z - 2, 0));
	case 17: return 1e150 * z;
	default: return z;
	}
}

int hostile_fill(double *v, size_t n, unsigned kind, uint64_t stream)
{
	int bad = 0;
	pd_stream s;

	pd_stream_init(&s, 404, stream * HOSTILE_KINDS + kind);
	for (size_t i = 0; i < n; i++) {
		v[i] = one(i, n, kind, &s);
		bad |= !isfinite(v[i]);
	}
	memset(&hostile_err, 0, sizeof hostile_err);
	return bad;
}

int hostile_status(const char *room, pd_status st)
{
	seen++;
	if (st == PD_OK)
		return 1;
	if (!hostile_err.text[0] || hostile_err.status != st) {
		printf("%s, %s: status '%s' without words\n", room,
		       hostile_now, pd_status_text(st));
		fflush(stdout);
		wrong++;
	}
	memset(&hostile_err, 0, sizeof hostile_err);
	return 0;
}

void hostile_number(const char *room, const char *field, double v, int may)
{
	seen++;
	if (isfinite(v) || (isnan(v) && (may & MAY_NAN)) ||
	    (isinf(v) && (may & MAY_INF)))
		return;
	printf("%s, %s: %s is %g\n", room, hostile_now, field, v);
	fflush(stdout);
	wrong++;
}

void hostile_estimate(const char *room, const pd_estimate *e, int may)
{
	hostile_number(room, "value", e->value, may);
	hostile_number(room, "se", e->se, may);
	hostile_number(room, "low", e->low, may);
	hostile_number(room, "high", e->high, may);
	hostile_number(room, "df", e->df, may | MAY_INF);
	hostile_number(room, "p", e->p, may);
}

unsigned hostile_wrong(void)
{
	return wrong;
}

unsigned hostile_seen(void)
{
	return seen;
}
