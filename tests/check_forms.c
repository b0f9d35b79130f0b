/*
 * check_forms.c - the forms of a document that programs read: how printed
 * cells become numbers, and what each form does with text that would mean
 * something in it. Whole documents through independent readers: forms.sh.
 */
#include "report/grid.h"
#include "report/json_text.h"
#include "report/latex_text.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MINUS "\u2212"
#define THIN  "\u202f"

static const struct {
	const char *text;
	pd_printed_kind kind;
	const char *value, *low, *high;
} reading[] = {
	{ NULL, PD_PRINTED_MISSING, NULL, NULL, NULL },
	{ "", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "7", PD_PRINTED_NUMBER, "7", NULL, NULL },
	{ "0", PD_PRINTED_NUMBER, "0", NULL, NULL },
	{ "0.50", PD_PRINTED_NUMBER, "0.50", NULL, NULL },
	{ ".03", PD_PRINTED_NUMBER, "0.03", NULL, NULL },
	{ MINUS "1.5", PD_PRINTED_NUMBER, "-1.5", NULL, NULL },
	{ "-1.5", PD_PRINTED_NUMBER, "-1.5", NULL, NULL },
	{ "12" THIN "105", PD_PRINTED_NUMBER, "12105", NULL, NULL },
	{ MINUS "1" THIN "234" THIN "567.25", PD_PRINTED_NUMBER,
	  "-1234567.25", NULL, NULL },
	{ "1" THIN "23", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "1234" THIN "567", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "007", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "7.", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "1e5", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "+7", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "2025-10-01", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "12 mL", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "nan", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "not known", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "1.24 (1.05 to 1.46)", PD_PRINTED_SPAN, "1.24", "1.05", "1.46" },
	{ "1.24 (95% CI, 1.05 to 1.46)", PD_PRINTED_SPAN, "1.24", "1.05",
	  "1.46" },
	{ "1.24 (97.5% CI, 1.05 to no bound)", PD_PRINTED_SPAN, "1.24", "1.05",
	  NULL },
	{ "3 (no bound to 5)", PD_PRINTED_SPAN, "3", NULL, "5" },
	{ "3 (no bound to no bound)", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ MINUS "0.12 (" MINUS "0.30 to 0.06)", PD_PRINTED_SPAN, "-0.12",
	  "-0.30", "0.06" },
	{ "1.24 (1.05 to 1.46) or so", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "1.24 (1.05)", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "1.04 (or 0.96)", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "0.80 to 1.25", PD_PRINTED_RANGE, NULL, "0.80", "1.25" },
	{ "no bound to 1.25", PD_PRINTED_RANGE, NULL, NULL, "1.25" },
	{ "0.80 to 1.25)", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "<.001", PD_PRINTED_BELOW, "0.001", NULL, NULL },
	{ ">.99", PD_PRINTED_ABOVE, "0.99", NULL, NULL },
	{ "<2 mL", PD_PRINTED_TEXT, NULL, NULL, NULL },
	{ "<", PD_PRINTED_TEXT, NULL, NULL, NULL },
};

static void ck_same(const char *got, const char *wanted, const char *text)
{
	ck_assert_msg((!got && !wanted) ||
	                  (got && wanted && strcmp(got, wanted) == 0),
	              "'%s' gives '%s', not '%s'", text, got ? got : "(none)",
	              wanted ? wanted : "(none)");
}

START_TEST(cells_are_read)
{
	pd_arena *arena = pd_arena_new();
	pd_printed v;

	ck_assert(pd_printed_read(arena, reading[_i].text, &v));
	const char *text = reading[_i].text ? reading[_i].text : "(missing)";

	ck_assert_msg(v.kind == reading[_i].kind, "'%s' reads as kind %d", text,
	              (int)v.kind);
	ck_same(v.value, reading[_i].value, text);
	ck_same(v.low, reading[_i].low, text);
	ck_same(v.high, reading[_i].high, text);
	pd_arena_free(arena);
}
END_TEST

/* More digits than a number has room for are text, not a truncated number. */
START_TEST(endless_digits)
{
	static const char *const start[] = { "", "0.", "<", "1 (1 to " };
	char text[2000];
	pd_arena *arena = pd_arena_new();
	pd_printed v;

	memset(text, '7', sizeof text);
	text[sizeof text - 1] = '\0';
	for (size_t i = 0; i < strlen(start[_i]); i++)
		text[i] = start[_i][i];
	ck_assert(pd_printed_read(arena, text, &v));
	ck_assert_int_eq(v.kind, PD_PRINTED_TEXT);
	pd_arena_free(arena);
}
END_TEST

/* A document with one table of every kind of column. */
static pd_doc *sample(void)
{
	static const pd_cell_column column[] = {
		{ "Way", NULL, false },
		{ "Ratio (95% CI)", NULL, true },
		{ "P", NULL, true },
		{ "n", "cases", true },
		{ "Note", NULL, false },
	};
	static const char *const cell[][5] = {
		{ "as judged", "0.62 (0.55 to 0.70)", "<.001", "12" THIN "105",
		  "a \"quoted\", word" },
		{ "=cmd()", "not estimable", ".03", "7", NULL },
		{ "3", MINUS "0.10 (" MINUS "0.20 to no bound)", NULL, "0",
		  " @x\u2028" },
	};
	pd_doc *d = pd_doc_new("A title", "en");
	pd_table *t = pd_doc_table(d, "Ways & means", 5, column, "none needed");

	for (size_t i = 0; i < 3; i++) {
		const char **to =
		    pd_doc_row(d, t, i == 0   ? "First"
		                     : i == 2 ? "Last"
		                              : NULL);

		for (size_t j = 0; j < 5; j++)
			to[j] = cell[i][j];
	}
	pd_doc_table_note(d, t, "A note.");
	return d;
}

START_TEST(csv_as_written)
{
	pd_doc *d = sample();
	pd_buf out;

	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_csv(d, 1, &out, NULL), PD_OK);
	ck_assert_str_eq(
	    pd_buf_text(&out),
	    "Group of rows,Way,Ratio (95% CI),Ratio (95% CI): number,"
	    "Ratio (95% CI): lower limit,Ratio (95% CI): upper limit,"
	    "P,P: number,P: bound,\"n, cases\",Note\r\n"
	    "First,as judged,0.62 (0.55 to 0.70),0.62,0.55,0.70,"
	    "<.001,0.001,below,12105,\"a \"\"quoted\"\", word\"\r\n"
	    "First,'=cmd(),not estimable,,,,.03,0.03,,7,\r\n"
	    "Last,3," MINUS "0.10 (" MINUS "0.20 to no bound),-0.10,-0.20,,"
	    ",,,0,' @x\ufffd\r\n");
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

START_TEST(csv_is_described)
{
	static const char *const file[] = { "a b%.csv" };
	pd_doc *d = sample();
	pd_buf out;

	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_csv_about(d, 1, file, &out, NULL), PD_OK);
	const char *s = pd_buf_text(&out);

	ck_assert_ptr_nonnull(strstr(s, "\"url\": \"a%20b%25.csv\""));
	ck_assert_ptr_nonnull(
	    strstr(s, "\"dc:title\": \"Table 1. Ways \\u0026 means\""));
	ck_assert_ptr_nonnull(
	    strstr(s, "\"An empty field: none needed. A note.\""));
	ck_assert_ptr_nonnull(
	    strstr(s, "{\"name\": \"p_number\", \"titles\": \"P: number\", "
	              "\"datatype\": \"decimal\", \"null\": \"\"}"));
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

START_TEST(no_such_table)
{
	static const char *const file[] = { "x.csv" };
	pd_doc *d = sample(), *empty = pd_doc_new("Nothing", "en");
	pd_error err = { 0 };
	pd_buf out;

	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_csv(d, 2, &out, &err), PD_USAGE);
	ck_assert_str_eq(err.text, "the result has no table 2; its last is 1");
	ck_assert_int_eq(pd_doc_write_csv(empty, 1, &out, &err), PD_USAGE);
	ck_assert_str_eq(err.text, "the result has no table");
	ck_assert_int_eq(pd_doc_write_csv_about(empty, 0, file, &out, NULL),
	                 PD_USAGE);
	ck_assert_uint_eq(out.length, 0);
	pd_doc_free(d);
	pd_doc_free(empty);
}
END_TEST

/* What a spreadsheet would compute is text; what is a number stays one. */
START_TEST(formulas_are_text)
{
	static const struct {
		const char *cell, *written;
	} tried[] = {
		{ "=1+1", "'=1+1" },
		{ "+x", "'+x" },
		{ "-x", "'-x" },
		{ "@SUM(A1)", "'@SUM(A1)" },
		{ "\t=1", "' =1" },
		{ "\rx", " x" },
		{ "'=1", "''=1" },
		{ "'tis", "'tis" },
		{ "  =1", "'  =1" },
		{ "\u00a0=1", "'\u00a0=1" },
		{ "\uff1d1", "'\uff1d1" },
		{ "\u200b=1", "'\ufffd=1" },
		{ "x=1", "x=1" },
		{ MINUS "0.02 or so", MINUS "0.02 or so" },
	};
	static const pd_cell_column column[] = { { "=A1", NULL, false } };
	pd_doc *d = pd_doc_new("T", "en");
	pd_table *t = pd_doc_table(d, "=B1", 1, column, NULL);
	char wanted[80];
	pd_buf out;

	pd_doc_row(d, t, NULL)[0] = tried[_i].cell;
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_csv(d, 1, &out, NULL), PD_OK);
	bool quote = tried[_i].written[0] == ' ';

	snprintf(wanted, sizeof wanted, "'=A1\r\n%s%s%s\r\n", quote ? "\"" : "",
	         tried[_i].written, quote ? "\"" : "");
	ck_assert_str_eq(pd_buf_text(&out), wanted);
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

START_TEST(json_strings)
{
	static const struct {
		const char *text, *json;
	} tried[] = {
		{ NULL, "null" },
		{ "", "\"\"" },
		{ "a\"b\\c/", "\"a\\\"b\\\\c/\"" },
		{ "</script>&", "\"\\u003c/script\\u003e\\u0026\"" },
		{ "a\nb\tc", "\"a b c\"" },
		{ "\001\x7f\u2028\xff", "\"\ufffd\ufffd\ufffd\ufffd\"" },
		{ "\u00b5\u2212\U0001f600", "\"\u00b5\u2212\U0001f600\"" },
	};
	pd_buf out;

	pd_buf_init(&out);
	for (size_t i = 0; i < sizeof tried / sizeof *tried; i++) {
		pd_buf_reset(&out);
		pd_json_string(&out, tried[i].text);
		ck_assert_str_eq(pd_buf_text(&out), tried[i].json);
	}
	pd_buf_clear(&out);
}
END_TEST

START_TEST(json_numbers)
{
	static const double tried[] = { 0,      1,      -1.5,    0.1,
		                        0.1 + 0.2, 1.0 / 3, 5e-324,  1e22,
		                        1.7976931348623157e308, 12105 };
	pd_buf out;

	pd_buf_init(&out);
	for (size_t i = 0; i < sizeof tried / sizeof *tried; i++) {
		pd_buf_reset(&out);
		pd_json_number(&out, tried[i]);
		ck_assert(strtod(pd_buf_text(&out), NULL) == tried[i]);
	}
	pd_buf_reset(&out);
	pd_json_number(&out, 0.1);
	pd_json_number(&out, NAN);
	pd_json_number(&out, -INFINITY);
	ck_assert_str_eq(pd_buf_text(&out), "0.1nullnull");
	pd_buf_clear(&out);
}
END_TEST

START_TEST(latex_strings)
{
	static const struct {
		const char *text, *latex;
	} tried[] = {
		{ "\\input{/etc/pass}", /* 17 signs: whole */
		  "\\textbackslash{}input\\{/etc/pass\\}" },
		{ "ab 0123456789012345678 cd", /* 19 may break, unhyphened */
		  "ab 012\\allowbreak{}345\\allowbreak{}678\\allowbreak{}901"
		  "\\allowbreak{}234\\allowbreak{}567\\allowbreak{}8 cd" },
		{ "50% & more_than $3 #1",
		  "50\\% \\& more\\_than \\$3 \\#1" },
		{ "a^^M~b", "a\\textasciicircum{}\\textasciicircum{}M"
		            "\\textasciitilde{}b" },
		{ "[x]*", "{[}x{]}{*}" },
		{ "<a>|\"`'", "\\textless{}a\\textgreater{}\\textbar{}"
		             "{\\char34}{\\char96}'" },
		{ "a--b ,, ''", "a-{}-b ,{}, '{}'" },
		{ "a  b\nc", "a \\ b c" },
		{ "\u22121.5 \u00d710\u2076/mL", "$-$1.5 $\\times$10$^{6}$/mL" },
		{ "12\u202f105", "12\\,105" },
		{ "caf\u00e9 \u0159\u00df", "caf\u00e9 \u0159\u00df" },
		{ "\u00fe\u4e2d\U0001f600\u0301",
		  "\\perdrawchar{00FE}\\perdrawchar{4E2D}"
		  "\\perdrawchar{1F600}\\perdrawchar{0301}" },
		{ "\u200b\xff", "\\perdrawchar{FFFD}\\perdrawchar{FFFD}" },
	};
	pd_buf out;

	pd_buf_init(&out);
	pd_latex_add(&out, tried[_i].text);
	ck_assert_str_eq(pd_buf_text(&out), tried[_i].latex);
	pd_buf_clear(&out);
}
END_TEST

/* No character leaves the gate as one that TeX acts on, but those of the
 * gate's own markup; ASCII is tried whole, two by two. */
START_TEST(latex_is_never_markup)
{
	char text[3] = "";
	pd_buf out;

	pd_buf_init(&out);
	for (int a = 1; a < 128; a++) {
		for (int b = 1; b < 128; b++) {
			int depth = 0;

			text[0] = (char)a;
			text[1] = (char)b;
			pd_buf_reset(&out);
			pd_latex_add(&out, text);
			for (const char *p = pd_buf_text(&out); *p; p++) {
				ck_assert_msg(!strchr("~%&#", *p) ||
				                  p[-1] == '\\',
				              "%d %d: %s", a, b,
				              pd_buf_text(&out));
				if (*p == '\\' && p[1])
					p++;
				else
					depth += (*p == '{') - (*p == '}');
				ck_assert_int_ge(depth, 0);
			}
			ck_assert_int_eq(depth, 0);
		}
	}
	pd_buf_clear(&out);
}
END_TEST

START_TEST(latex_document)
{
	pd_doc *d = sample();
	pd_error err = { 0 };
	pd_buf out;

	pd_doc_heading(d, 1, NULL, "A & B");
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_latex(d, 0, &out, NULL), PD_OK);
	const char *s = pd_buf_text(&out);

	ck_assert_ptr_nonnull(strstr(s, "% A title\n\\documentclass"));
	ck_assert_ptr_nonnull(strstr(s, "\\section*{A \\& B}\n"));
	ck_assert_ptr_nonnull(strstr(s, "\\caption{Ways \\& means}\n"));
	ck_assert_ptr_nonnull(strstr(s, "{\\itshape Last} \\tabularnewline*\n"
	                                "3 & $-$0.10 ($-$0.20 to no bound) & "
	                                "\\textemdash{} & 0 &  @x"));
	ck_assert_ptr_nonnull(strstr(s, "\\end{document}\n"));
	pd_buf_reset(&out);
	ck_assert_int_eq(pd_doc_write_latex(d, 1, &out, NULL), PD_OK);
	s = pd_buf_text(&out);
	ck_assert_ptr_null(strstr(s, "\\documentclass"));
	ck_assert_ptr_nonnull(strstr(s, "\\begin{table}"));
	ck_assert_int_eq(pd_doc_write_latex(d, 9, &out, &err), PD_USAGE);
	ck_assert_str_eq(err.text, "the result has no table 9; its last is 1");
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

/* Names in a grid are letters, digits and '_', each once. */
START_TEST(names_are_names)
{
	static const pd_cell_column column[] = {
		{ "9 of 10", "mL", true }, { "A b", NULL, false },
		{ "a-B", NULL, false },    { "\u00b1", NULL, false },
		{ "\u00b5", NULL, false }, { "column", NULL, false },
	};
	static const char *const name[] = { "column_9_of_10_ml", "a_b", "a_b_2",
		                            "column", "column_2", "column_3" };
	pd_doc *d = pd_doc_new("T", "en");
	pd_table *t = pd_doc_table(d, "C", 6, column, NULL);
	pd_arena *arena = pd_arena_new();
	const pd_grid *g = pd_grid_make(arena, t);

	ck_assert_ptr_nonnull(g);
	ck_assert_uint_eq(g->n_columns, 6);
	for (size_t k = 0; k < 6; k++)
		ck_assert_str_eq(g->column[k].name, name[k]);
	pd_arena_free(arena);
	pd_doc_free(d);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("forms");
	TCase *c = tcase_create("forms");
	SRunner *r;
	int run, failed;

	tcase_add_loop_test(c, cells_are_read, 0,
	                    sizeof reading / sizeof *reading);
	tcase_add_loop_test(c, endless_digits, 0, 4);
	tcase_add_test(c, csv_as_written);
	tcase_add_test(c, csv_is_described);
	tcase_add_test(c, no_such_table);
	tcase_add_loop_test(c, formulas_are_text, 0, 14);
	tcase_add_test(c, json_strings);
	tcase_add_test(c, json_numbers);
	tcase_add_test(c, names_are_names);
	tcase_add_loop_test(c, latex_strings, 0, 13);
	tcase_add_test(c, latex_is_never_markup);
	tcase_add_test(c, latex_document);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
