/* check_base.c - statuses, memory, text, frames and scanning. */
#include "base/arena.h"
#include "base/buf.h"
#include "base/frame.h"
#include "base/glyph.h"
#include "base/scan.h"
#include "base/status.h"

#include <check.h>
#include <locale.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* A small generator of our own: the same bytes on every machine. */
static uint64_t state = 20240517;
static uint64_t bits(void)
{
	state ^= state << 13;
	state ^= state >> 7;
	state ^= state << 17;
	return state;
}

START_TEST(status_lists_agree)
{
	static const struct { pd_status st; int exit; } row[] = {
		{ PD_OK, 0 },         { PD_REFUSED, 1 },
		{ PD_USAGE, 64 },     { PD_DATA, 65 },
		{ PD_NO_INPUT, 66 },  { PD_INTERNAL, 70 },
		{ PD_NO_MEMORY, 71 }, { PD_CANNOT_CREATE, 73 },
		{ PD_IO, 74 },        { PD_BUSY, 75 },
		{ PD_NUMERIC, 76 },   { PD_NO_PERMISSION, 77 },
		{ PD_PLAN, 78 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		ck_assert_int_eq(pd_status_exit(row[i].st), row[i].exit);
		ck_assert(strlen(pd_status_text(row[i].st)) > 0);
		for (size_t j = 0; j < i; j++)
			ck_assert_str_ne(pd_status_text(row[i].st),
			                 pd_status_text(row[j].st));
	}
	ck_assert_int_eq(pd_status_exit((pd_status)99), 70);
}
END_TEST

START_TEST(errors_carry_a_place)
{
	pd_error err = { 0 };
	char text[1200];

	ck_assert_int_eq(pd_fail(NULL, PD_IO, "x"), PD_IO);
	ck_assert_int_eq(pd_fail_at(&err, PD_DATA, "a.csv", 118, 7,
	                            "volume must be above 0, got '%s'", "-2"),
	                 PD_DATA);
	ck_assert_str_eq(pd_error_text(&err, text, sizeof text),
	                 "a.csv:118:7: volume must be above 0, got '-2'");
	ck_assert_int_eq(pd_fail(&err, PD_OK, "not kept"), PD_OK);
	ck_assert_int_eq(err.status, PD_DATA);
	pd_fail_at(&err, PD_PLAN, "p", 3, 0, "bad");
	ck_assert_str_eq(pd_error_text(&err, text, sizeof text), "p:3: bad");
	pd_fail_at(&err, PD_PLAN, "p", 0, 0, "bad");
	ck_assert_str_eq(pd_error_text(&err, text, sizeof text), "p: bad");
	pd_fail(&err, PD_PLAN, "bad");
	ck_assert_str_eq(pd_error_text(&err, text, sizeof text), "bad");
	ck_assert_uint_eq(err.line, 0);
}
END_TEST

START_TEST(arena_gives_zeroed_aligned_memory)
{
	pd_arena *a = pd_arena_new();
	pd_arena_mark mark;

	for (size_t i = 1; i < 3000; i += 7) {
		unsigned char *p = pd_arena_alloc(a, i, 1);

		ck_assert_ptr_nonnull(p);
		ck_assert_uint_eq((uintptr_t)p % 16, 0);
		for (size_t k = 0; k < i; k++)
			ck_assert_uint_eq(p[k], 0);
		memset(p, 0xa5, i);
	}
	mark = pd_arena_here(a);
	char *before = pd_arena_copy(a, "after the mark");
	double *big = PD_NEW(a, double, 100000); /* a block of its own */

	ck_assert_ptr_nonnull(big);
	big[99999] = 1;
	pd_arena_rewind(a, mark);
	char *again = pd_arena_copy_n(a, "same place!", 4);

	ck_assert_ptr_eq(before, again);
	ck_assert_str_eq(again, "same");
	ck_assert_str_eq(pd_arena_print(a, "%d of %s", 3, "four"), "3 of four");
	ck_assert_ptr_null(pd_arena_alloc(a, SIZE_MAX / 2, 8));
	ck_assert_ptr_null(pd_arena_alloc(a, SIZE_MAX, 1));
	pd_arena_free(a);
	pd_arena_free(NULL);
}
END_TEST

START_TEST(buf_grows)
{
	pd_buf b;

	pd_buf_init(&b);
	ck_assert_str_eq(pd_buf_text(&b), "");
	for (int i = 0; i < 1000; i++)
		pd_buf_print(&b, "%d,", i);
	ck_assert_uint_eq(b.length, 10 * 2 + 90 * 3 + 900 * 4);
	ck_assert_str_eq(pd_buf_text(&b) + b.length - 8, "998,999,");
	pd_buf_reset(&b);
	pd_buf_repeat(&b, "ab", 3);
	pd_buf_char(&b, '!');
	pd_buf_add_n(&b, "xyz", 2);
	ck_assert_str_eq(pd_buf_text(&b), "ababab!xy");
	ck_assert(pd_buf_ok(&b));
	pd_buf_add_n(&b, "", SIZE_MAX - 4); /* cannot be: marked, not tried */
	ck_assert(!pd_buf_ok(&b));
	pd_buf_add(&b, "more");
	ck_assert_str_eq(pd_buf_text(&b), "ababab!xy");
	pd_buf_clear(&b);
	/* on room of the caller's, then on its own */
	char room[8];

	pd_buf_init_in(&b, room, sizeof room);
	pd_buf_add(&b, "1234567");
	ck_assert_ptr_eq(b.data, room);
	pd_buf_add(&b, "8");
	ck_assert_ptr_ne(b.data, room);
	ck_assert_str_eq(pd_buf_text(&b), "12345678");
	ck_assert_str_eq(room, "1234567");
	pd_buf_clear(&b);
	ck_assert(pd_buf_ok(&b));
}
END_TEST

START_TEST(frame_holds_columns)
{
	pd_frame *f = pd_frame_new(5), *g = NULL;
	pd_column *x = pd_frame_add_real(f, "volume_ml");
	pd_column *o = pd_frame_add_factor(f, "operator");
	static const char *const words[] = { "zoe", "abe", "zoe", "kim" };
	const unsigned char keep[] = { 1, 0, 1, 1, 0 };

	ck_assert_ptr_null(pd_frame_add_real(f, "operator"));
	ck_assert(isnan(x->real[4]) && o->code[4] == -1);
	for (int i = 0; i < 4; i++) {
		x->real[i] = 1.5 * i;
		o->code[i] = pd_frame_level(f, o, words[i]);
	}
	ck_assert_uint_eq(o->n_levels, 3);
	ck_assert_int_eq(o->code[2], 0);
	ck_assert_int_eq(pd_column_sort_levels(o, 5), PD_OK);
	ck_assert_str_eq(o->level[0], "abe");
	ck_assert_int_eq(o->code[0], 2);
	ck_assert_int_eq(o->code[4], -1);
	ck_assert_int_eq(pd_frame_level(f, o, "kim"), 1);
	ck_assert_uint_eq(pd_frame_column(f, "operator"), 1);
	ck_assert_uint_eq(pd_frame_column(f, "no"), PD_NO_COLUMN);
	ck_assert_ptr_eq(pd_frame_at(f, 0), x);
	ck_assert_ptr_null(pd_frame_at(f, 2));
	ck_assert_int_eq(pd_frame_select(f, keep, &g, NULL), PD_OK);
	ck_assert_uint_eq(pd_frame_rows(g), 3);
	ck_assert_uint_eq(pd_frame_columns(g), 2);
	ck_assert_double_eq(pd_frame_find(g, "volume_ml")->real[2], 4.5);
	ck_assert_int_eq(pd_frame_find(g, "operator")->code[2], 1);
	pd_frame_free(f);
	pd_frame_free(g);
	pd_frame_free(NULL);
}
END_TEST

START_TEST(frame_finds_many_levels)
{
	pd_frame *f = pd_frame_new(1);
	pd_column *c = pd_frame_add_factor(f, "patient");
	char word[32];

	for (int round = 0; round < 2; round++)
		for (int i = 0; i < 20000; i++) {
			snprintf(word, sizeof word, "P%05d", i * 7919 % 20000);
			ck_assert_int_eq(pd_frame_level(f, c, word), i);
		}
	ck_assert_uint_eq(c->n_levels, 20000);
	pd_frame_free(f);
}
END_TEST

START_TEST(numbers_known)
{
	static const struct {
		const char *text;
		char point;
		int shift;
		double value;
	} row[] = {
		{ "0", '.', 0, 0 },
		{ "-0", '.', 0, -0.0 },
		{ "35.2", '.', 0, 35.2 },
		{ "35,2", ',', 0, 35.2 },
		{ "35200", '.', -3, 35.2 },
		{ "0.0352", '.', 3, 35.2 },
		{ "+.5", '.', 0, 0.5 },
		{ "7.", '.', 0, 7 },
		{ "1e3", '.', 0, 1000 },
		{ "1.25E-2", '.', 0, 0.0125 },
		{ "12345678901234567890", '.', 0, 12345678901234567890.0 },
		{ "0.1000000000000000055511151231257827", '.', 0, 0.1 },
		{ "9007199254740993", '.', 0, 9007199254740992.0 }, /* tie */
		{ "9007199254740995", '.', 0, 9007199254740996.0 },
		{ "179769313486231570", '.', 291, 1.7976931348623157e308 },
		{ "4.9e-324", '.', 0, 4.9e-324 },
		{ "000000000000000000000000000000012", '.', 0, 12 },
		{ "123e-30", '.', 0, 123e-30 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		double x = 99;

		ck_assert_msg(pd_scan_number(row[i].text, strlen(row[i].text),
		                             row[i].point, row[i].shift, &x),
		              "%s", row[i].text);
		ck_assert_msg(memcmp(&x, &row[i].value, sizeof x) == 0,
		              "%s gave %.17g", row[i].text, x);
	}
}
END_TEST

START_TEST(numbers_refused)
{
	static const char *const row[] = {
		"", "-", "+", ".", "e5", "1e", "1e+", "1,5", "12 ", " 12",
		"1.2.3", "0x10", "inf", "nan", "NaN", "1e400", "-1e999",
		"1e12345678901", "12mL", "--1", "1e5.5", "\xc2\xbd",
	};
	double x = 77;

	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		ck_assert_msg(!pd_scan_number(row[i], strlen(row[i]), '.', 0,
		                              &x), "%s", row[i]);
	ck_assert(!pd_scan_number("1.5", 3, ',', 0, &x));
	ck_assert(pd_scan_number("1.5xyz", 3, '.', 0, &x)); /* by length */
	ck_assert_double_eq(x, 1.5);
}
END_TEST

/* Against the C library's strtod, correctly rounded in glibc. */
START_TEST(numbers_agree_with_strtod)
{
	char text[64], scaled[80];

	for (int i = 0; i < 300000; i++) {
		int digits = 1 + (int)(bits() % 20), after;
		int n = 0, shift = (int)(bits() % 13) - 6;
		double x = 0;

		after = (int)(bits() % (unsigned)(digits + 1));
		if (bits() % 4 == 0)
			text[n++] = '-';
		for (int k = 0; k < digits; k++) {
			if (k == digits - after)
				text[n++] = '.';
			text[n++] = (char)('0' + bits() % 10);
		}
		text[n] = '\0';
		if (bits() % 5 == 0)
			n += snprintf(text + n, 8, "e%d",
			              (int)(bits() % 61) - 30);
		ck_assert(pd_scan_number(text, (size_t)n, '.', 0, &x));
		ck_assert_msg(x == strtod(text, NULL), "%s", text);
		if (strchr(text, 'e'))
			continue;
		snprintf(scaled, sizeof scaled, "%se%d", text, shift);
		ck_assert(pd_scan_number(text, (size_t)n, '.', shift, &x));
		ck_assert_msg(x == strtod(scaled, NULL), "%s", scaled);
	}
}
END_TEST

START_TEST(whole_numbers)
{
	int64_t x = 5;

	ck_assert(pd_scan_whole("-42", 3, &x) && x == -42);
	ck_assert(pd_scan_whole("9223372036854775807", 19, &x) &&
	          x == INT64_MAX);
	ck_assert(pd_scan_whole("-9223372036854775808", 20, &x) &&
	          x == INT64_MIN);
	ck_assert(!pd_scan_whole("9223372036854775808", 19, &x));
	ck_assert(!pd_scan_whole("", 0, &x));
	ck_assert(!pd_scan_whole("1.0", 3, &x));
	ck_assert(!pd_scan_whole("-", 1, &x));
}
END_TEST

/* Every day of 201 years against the C library's calendar. */
START_TEST(dates_against_the_calendar)
{
	int32_t first = pd_days_of(1900, 1, 1), last = pd_days_of(2100, 12, 31);
	char text[11];

	for (int32_t d = first; d <= last; d++) {
		time_t t = (time_t)d * 86400;
		struct tm tm;
		int y, m, day;
		int32_t back = 0;

		gmtime_r(&t, &tm);
		pd_date_of(d, &y, &m, &day);
		ck_assert_int_eq(y, tm.tm_year + 1900);
		ck_assert_int_eq(m, tm.tm_mon + 1);
		ck_assert_int_eq(day, tm.tm_mday);
		ck_assert_int_eq(pd_days_of(y, m, day), d);
		pd_date_print(d, text);
		ck_assert(pd_scan_date(text, 10, &pd_date_iso, &back));
		ck_assert_int_eq(back, d);
	}
}
END_TEST

START_TEST(dates_in_forms)
{
	static const struct {
		const char *text;
		pd_date_form form;
		int y, m, d; /* y 0: refused */
	} row[] = {
		{ "2024-02-29", { "ymd", '-' }, 2024, 2, 29 },
		{ "2023-02-29", { "ymd", '-' }, 0, 0, 0 },
		{ "1900-02-29", { "ymd", '-' }, 0, 0, 0 },
		{ "2000-02-29", { "ymd", '-' }, 2000, 2, 29 },
		{ "2024-2-9", { "ymd", '-' }, 0, 0, 0 },
		{ "3.4.2021", { "dmy", '.' }, 2021, 4, 3 },
		{ "03.04.2021", { "dmy", '.' }, 2021, 4, 3 },
		{ "04/13/2021", { "mdy", '/' }, 2021, 4, 13 },
		{ "13/04/2021", { "mdy", '/' }, 0, 0, 0 },
		{ "04/13/21", { "mdy", '/' }, 0, 0, 0 },
		{ "07-mAr-2019", { "dby", '-' }, 2019, 3, 7 },
		{ "07-Mrz-2019", { "dby", '-' }, 0, 0, 0 },
		{ "2021-04-03 ", { "ymd", '-' }, 0, 0, 0 },
		{ "2021-04-31", { "ymd", '-' }, 0, 0, 0 },
		{ "2021/04/03", { "ymd", '-' }, 0, 0, 0 },
		{ "", { "ymd", '-' }, 0, 0, 0 },
		{ "0000-01-01", { "ymd", '-' }, 0, 0, 0 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		int32_t days = 0;
		bool ok = pd_scan_date(row[i].text, strlen(row[i].text),
		                       &row[i].form, &days);

		ck_assert_msg(ok == (row[i].y != 0), "%s", row[i].text);
		if (ok)
			ck_assert_int_eq(days, pd_days_of(row[i].y, row[i].m,
			                                  row[i].d));
	}
}
END_TEST

/* Well-formed and not: RFC 3629, table of section 4. */
START_TEST(utf8_borders)
{
	static const struct { const char *text; size_t n, bad; } row[] = {
		{ "plain", 5, 5 },
		{ "\xc2\xb5L", 3, 3 },
		{ "\xf4\x8f\xbf\xbf", 4, 4 },
		{ "a\xf4\x90\x80\x80", 5, 1 },
		{ "\xed\x9f\xbf\xed\xa0\x80", 6, 3 },
		{ "\xc0\xaf", 2, 0 },
		{ "\xe0\x9f\x80", 3, 0 },
		{ "\xf0\x8f\x80\x80", 4, 0 },
		{ "ab\xe2\x82", 4, 2 },
		{ "\x80", 1, 0 },
		{ "0123456789012345678901234567890123456789\xff", 41, 40 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		ck_assert_uint_eq(pd_utf8_bad(row[i].text, row[i].n),
		                  row[i].bad);
	ck_assert_uint_eq(pd_utf8_count("\xc2\xb5L \xe2\x89\xa4\xff", 8), 5);
}
END_TEST

START_TEST(word_distance)
{
	static const struct { const char *a, *b; unsigned d; } row[] = {
		{ "volume", "volume", 0 }, { "Volume", "vOLUME", 0 },
		{ "volmue", "volume", 1 }, { "", "abc", 3 },
		{ "abc", "", 3 },          { "kitten", "sitting", 3 },
		{ "ca", "abc", 3 },        { "tnc", "mnc", 1 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		ck_assert_uint_eq(pd_word_distance(row[i].a, strlen(row[i].a),
		                                   row[i].b), row[i].d);
}
END_TEST

/* A comma locale, where one is installed, must change nothing. */
START_TEST(locale_changes_nothing)
{
	static const char *const names[] = { "de_DE.UTF-8", "fr_FR.UTF-8",
		                             "tr_TR.UTF-8", "C" };

	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		double x = 0;

		setlocale(LC_ALL, names[i]);
		ck_assert(pd_scan_number("1.5", 3, '.', 0, &x));
		ck_assert_double_eq(x, 1.5);
		ck_assert(pd_scan_number("1.23456789012345678", 19, '.', 0,
		                         &x));
		ck_assert_double_eq(x, 1.23456789012345678);
		ck_assert(pd_same_word("TITLE", 5, "title"));
	}
	setlocale(LC_ALL, "C");
}
END_TEST

/* Borders of the ranges, as Perl 5.36 (Unicode 14) gives them for
 * \p{Default_Ignorable_Code_Point}, \p{Cc}, \p{Zl}, \p{Zp} and
 * \p{Noncharacter_Code_Point}; the interlinear marks are ours. */
START_TEST(glyph_borders)
{
	static const uint32_t unseen[] = {
		0,      0x1F,   0x7F,   0x9F,    0xAD,    0x34F,   0x61C,
		0x115F, 0x1160, 0x17B4, 0x17B5,  0x180B,  0x180F,  0x200B,
		0x200F, 0x2028, 0x202E, 0x2060,  0x206F,  0x3164,  0xD800,
		0xDFFF, 0xFDD0, 0xFDEF, 0xFE00,  0xFE0F,  0xFEFF,  0xFFA0,
		0xFFF0, 0xFFFB, 0xFFFE, 0xFFFF,  0x1BCA0, 0x1BCA3, 0x1D173,
		0x1D17A, 0x1FFFE, 0x2FFFF, 0xDFFFE, 0xE0000, 0xE0FFF, 0xEFFFE,
		0x10FFFF, 0x110000,
	};
	static const uint32_t seen[] = {
		0x20,   0x7E,   0xA0,   0xAC,   0xAE,    0x34E,   0x350,
		0x61B,  0x61D,  0x115E, 0x1161, 0x17B3,  0x17B6,  0x180A,
		0x1810, 0x200A, 0x2010, 0x2027, 0x202F,  0x205F,  0x2070,
		0x3163, 0x3165, 0xD7FF, 0xE000, 0xFDCF,  0xFDF0,  0xFDFF,
		0xFE10, 0xFEFE, 0xFF00, 0xFF9F, 0xFFA1,  0xFFEF,  0xFFFC,
		0xFFFD, 0x1BC9F, 0x1BCA4, 0x1D172, 0x1D17B, 0x1FFFD, 0x20000,
		0xE1000, 0xF0000, 0x1F600, 0x4E2D,
	};

	for (size_t i = 0; i < sizeof unseen / sizeof *unseen; i++)
		ck_assert_msg(pd_glyph_unseen(unseen[i]), "%x",
		              (unsigned)unseen[i]);
	for (size_t i = 0; i < sizeof seen / sizeof *seen; i++)
		ck_assert_msg(!pd_glyph_unseen(seen[i]), "%x",
		              (unsigned)seen[i]);
}
END_TEST

START_TEST(utf8_one_character)
{
	static const struct {
		const char *text;
		size_t n, taken;
		uint32_t c;
	} row[] = {
		{ "a", 1, 1, 'a' },           { "", 0, 0, 7 },
		{ "\xc2\xad", 2, 2, 0xAD },   { "\xc2\xad", 1, 0, 7 },
		{ "\xe2\x80\xae", 3, 3, 0x202E },
		{ "\xf3\xa0\x81\x81", 4, 4, 0xE0041 },
		{ "\xf4\x8f\xbf\xbf", 4, 4, 0x10FFFF },
		{ "\xc0\x80", 2, 0, 7 },      { "\xed\xa0\x80", 3, 0, 7 },
		{ "\x80", 1, 0, 7 },          { "\0", 1, 1, 0 },
	};

	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		uint32_t c = 7;

		ck_assert_uint_eq(pd_utf8_take(row[i].text, row[i].n, &c),
		                  row[i].taken);
		ck_assert_uint_eq(c, row[i].c);
	}
}
END_TEST

int main(void)
{
	Suite *s = suite_create("base");
	TCase *t = tcase_create("base");
	SRunner *r = srunner_create(s);

	pd_base_init();
	suite_add_tcase(s, t);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, status_lists_agree);
	tcase_add_test(t, errors_carry_a_place);
	tcase_add_test(t, arena_gives_zeroed_aligned_memory);
	tcase_add_test(t, buf_grows);
	tcase_add_test(t, frame_holds_columns);
	tcase_add_test(t, frame_finds_many_levels);
	tcase_add_test(t, numbers_known);
	tcase_add_test(t, numbers_refused);
	tcase_add_test(t, numbers_agree_with_strtod);
	tcase_add_test(t, whole_numbers);
	tcase_add_test(t, dates_against_the_calendar);
	tcase_add_test(t, dates_in_forms);
	tcase_add_test(t, utf8_borders);
	tcase_add_test(t, utf8_one_character);
	tcase_add_test(t, glyph_borders);
	tcase_add_test(t, word_distance);
	tcase_add_test(t, locale_changes_nothing);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? 1 : 0;
}
