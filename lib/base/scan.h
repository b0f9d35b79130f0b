/*
 * scan.h - text to numbers and dates, the same under every locale.
 * All functions take a piece of text by start and length (it need not end
 * with NUL) and read the whole piece or nothing: "12 mL" is not a number.
 */
#ifndef PERDRAW_BASE_SCAN_H
#define PERDRAW_BASE_SCAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * [+-] digits [point digits] [e [+-] digits], at least one digit; `point` is
 * '.' or ','. *out is the decimal number times 10^shift, correctly rounded to
 * the nearest double (ties to even) as one step: scaling "35.2" by 10^3 gives
 * the same double as reading "35200". No infinities, NaN or hexadecimal.
 * false, *out unchanged: other text, or a value beyond the range of double.
 */
bool pd_scan_number(const char *s, size_t n, char point, int shift,
                    double *out);
/* [+-] digits; false also beyond int64_t. */
bool pd_scan_whole(const char *s, size_t n, int64_t *out);

/* The order of a date's parts and what stands between them. */
typedef struct pd_date_form {
	char order[4];  /* of 'y', 'm', 'd'; 'b' for a month's name: "ymd"     */
	char separator; /* between the parts: '-', '.', '/', ' '               */
} pd_date_form;

extern const pd_date_form pd_date_iso; /* year-month-day */

/*
 * A date of the proleptic Gregorian calendar, years 1 to 9999 in four digits,
 * day and month in one or two (two each in the form pd_date_iso); month names
 * are the English first three letters, case folded. *days counts from
 * 1970-01-01. false for another form or a day that does not exist.
 */
bool pd_scan_date(const char *s, size_t n, const pd_date_form *form,
                  int32_t *days);
/* Days from 1970-01-01 to a civil date and back (Hinnant, "chrono-Compatible
 * Low-Level Date Algorithms"; valid for all years used here). */
int32_t pd_days_of(int year, int month, int day);
void pd_date_of(int32_t days, int *year, int *month, int *day);
/* "2025-07-03" into out[11]; returns out. Years 0 to 9999. */
char *pd_date_print(int32_t days, char out[11]);

/*
 * Offset of the first byte that is not part of well-formed UTF-8 (RFC 3629:
 * no overlong forms, no surrogates, nothing above U+10FFFF); n when all is.
 */
size_t pd_utf8_bad(const char *s, size_t n);
/* The character at s[0 .. n-1] into *c and the bytes it takes; 0, *c unchanged,
 * where no well-formed one stands. */
size_t pd_utf8_take(const char *s, size_t n, uint32_t *c);
/* Characters (code points) in well-formed text; bad bytes count one each. */
size_t pd_utf8_count(const char *s, size_t n);

/* ASCII only, whatever the locale. */
static inline char pd_lower(char c)
{
	return c >= 'A' && c <= 'Z' ? (char)(c + ('a' - 'A')) : c;
}
static inline bool pd_is_digit(char c)
{
	return c >= '0' && c <= '9';
}
static inline bool pd_is_letter(char c)
{
	return pd_lower(c) >= 'a' && pd_lower(c) <= 'z';
}
/* Equal with ASCII letters folded; b ends with NUL. */
bool pd_same_word(const char *a, size_t n, const char *b);
/* Edit distance with neighbours swapped counted once (optimal string
 * alignment), letters folded; both at most 63 bytes, longer texts are cut. */
unsigned pd_word_distance(const char *a, size_t n, const char *b);

#endif
