/*
 * number.h - how numbers are written, once, for every output.
 * The style is that of medical journals (AMA style and the SAMPL guideline,
 * Lang & Altman 2013; both as we know them, the manuals were not at hand):
 * effect first, then its interval with "to", then P without a leading zero.
 * Nothing here depends on the locale; a minus is U+2212, thousands from
 * 10 000 up are parted by a narrow no-break space (U+202F).
 *
 * Everything is appended to a pd_buf, whose failure mark tells of lost memory.
 */
#ifndef PERDRAW_REPORT_NUMBER_H
#define PERDRAW_REPORT_NUMBER_H

#include "base/buf.h"
#include <stdbool.h>
#include <stddef.h>

typedef enum pd_span_kind {
	PD_SPAN_RATIO, /* 2 decimals, no effect is 1                      */
	PD_SPAN_DIFFERENCE, /* decimals from the width, no effect is 0 */
	PD_SPAN_MEAN /* decimals from the width, no null                */
} pd_span_kind;

/* A value and its limits, as printed (not logs). NaN: not known. */
typedef struct pd_span {
	pd_span_kind kind;
	double value, low, high;
	double level; /* 0 < level < 1; only printed when asked for */
} pd_span;

/* x with `decimals` (0..9) places; never "-0". "not known" for NaN, "no
 * bound" for an infinity. */
void pd_number_fixed(pd_buf *out, double x, int decimals);
/* A coordinate for a drawing: two places at most, ASCII minus, no padding. */
void pd_number_place(pd_buf *out, double x);
void pd_number_count(pd_buf *out, size_t n);

/*
 * Decimals one span is written with, the same for value and limits:
 * ratio: 2 (0 from 100 up), more while the limits are less than two steps of
 * the last place apart; else two significant digits of high - low; then more,
 * up to 6, while a limit that is not the null would be rounded to it,
 * the limits would look equal, or a positive number would look like 0. Of a
 * ratio whose limits are more than 10 000 times apart the lower one is written
 * "below 0.01" instead, and an upper one from a million up as "above" that.
 */
int pd_number_decimals(const pd_span *s);
/* "1.24 (95% CI, 1.05 to 1.46)"; without_level: "1.24 (1.05 to 1.46)". A
 * value without limits stands alone; a missing value reads "not estimable",
 * with the limit that is known. */
void pd_number_span(pd_buf *out, const pd_span *s, bool with_level);

/*
 * P for a table column: ".03", ".007", "<.001", ">.99". Two decimals from .01
 * up, three where two would read .05 (and more until it does not), three
 * between .001 and .01. Nothing is appended for NaN; the return says so.
 */
bool pd_number_p(pd_buf *out, double p);
/* The same in a sentence: "P = .03", "P < .001". */
bool pd_number_p_words(pd_buf *out, double p);

/* "95%", "97.5%". */
void pd_number_level(pd_buf *out, double level);
/* "3 of 412 cases (0.7%)": no decimals below n = 100, one from there. */
void pd_number_share(pd_buf *out, size_t k, size_t n, const char *of);
/* The limits of a share, 0..1, as "0.2% to 2.1%". */
void pd_number_share_limits(pd_buf *out, double low, double high);
/* Three significant digits at most, for axis ticks and fitted values. */
void pd_number_short(pd_buf *out, double x);
/* A unit as read: "10^6/mL" becomes "×10⁶/mL". */
void pd_number_unit(pd_buf *out, const char *unit);

#endif
