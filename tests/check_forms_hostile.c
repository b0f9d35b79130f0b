/*
 * check_forms_hostile.c - whole reviews in which every word is text that some
 * form would take for its own markup: LaTeX, JSON, CSV and workbook stay sound.
 */
#include "report/block.h"
#include "report_read.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const hostile[] = {
	"=cmd|' /C x'!A0",
	"\\end{document}\\input{/etc/passwd}^^M$x$ 50% & #1 _a ~ {[*]}",
	"</script><b>&amp;\"'`\\u0041",
	"_x0041__x000D_ _x41_ \u2028\u202e\x01\x1b[31m\xff\xc0\x80",
	"\u4e2d\u0301\U0001f600 \u00fe\u00d0 -- ,, '' ?` !`",
	"@a,b;c\r\nd\te \"\"",
	" ",
};

enum { N_HOSTILE = sizeof hostile / sizeof *hostile };

/* A review whose every word is hostile. */
static void open_hostile(struct report *r, int i)
{
	report_open(r);
	report_replace(r->review, hostile[i]);
	report_compose(r);
}

/* Groups of LaTeX close in order and no line is cut short by a comment. */
START_TEST(latex_of_hostile_words)
{
	struct report r;
	pd_buf out;
	int depth = 0;

	open_hostile(&r, _i);
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_latex(r.doc, 0, &out, NULL), PD_OK);
	for (const char *p = pd_buf_text(&out); *p; p++) {
		if (*p == '\\' && p[1]) {
			p++;
			continue;
		}
		depth += (*p == '{') - (*p == '}');
		ck_assert_int_ge(depth, 0);
		ck_assert(*p != '%' || p == out.data || p[-1] == '\n');
		ck_assert(*p != '#' || p[1] == '1'); /* of the preamble */
		ck_assert((unsigned char)*p >= 0x20 || *p == '\n');
	}
	ck_assert_int_eq(depth, 0);
	ck_assert_ptr_null(strstr(pd_buf_text(&out), "input{/"));
	const char *end = strstr(pd_buf_text(&out), "\\end{document}");

	ck_assert_ptr_nonnull(end);
	ck_assert_str_eq(end, "\\end{document}\n");
	pd_buf_clear(&out);
	report_close(&r);
}
END_TEST

/* Strings close, brackets match, no control character, no markup of HTML. */
START_TEST(json_of_hostile_words)
{
	struct report r;
	pd_buf out;
	char open[64];
	size_t depth = 0;
	bool in_string = false;

	open_hostile(&r, _i);
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_json(r.doc, r.review, &out, NULL), PD_OK);
	for (const char *p = pd_buf_text(&out); *p; p++) {
		ck_assert((unsigned char)*p >= 0x20 || *p == '\n');
		ck_assert(*p != '<' && *p != '>' && *p != '&');
		if (in_string && *p == '\\') {
			ck_assert_ptr_nonnull(strchr("\"\\u", *++p));
		} else if (*p == '"') {
			in_string = !in_string;
		} else if (!in_string && (*p == '{' || *p == '[')) {
			ck_assert_uint_lt(depth, sizeof open);
			open[depth++] = *p;
		} else if (!in_string && (*p == '}' || *p == ']')) {
			ck_assert_uint_gt(depth, 0);
			ck_assert_int_eq(open[--depth], *p == '}' ? '{' : '[');
		}
	}
	ck_assert(!in_string && depth == 0);
	pd_buf_clear(&out);
	report_close(&r);
}
END_TEST

/* The next field at *p, unquoted, into `to`; false at the end of a record. */
static bool next_field(const char **p, pd_buf *to)
{
	const char *s = *p;
	bool quoted = *s == '"';

	pd_buf_reset(to);
	for (s += quoted; *s; s++) {
		if (quoted && *s == '"') {
			if (s[1] != '"')
				break;
			s++;
		} else if (!quoted && (*s == ',' || *s == '\r')) {
			break;
		}
		ck_assert(*s != '\n' && *s != '\r');
		ck_assert(quoted || *s != '"');
		pd_buf_char(to, *s);
	}
	s += quoted;
	ck_assert(*s == ',' || strncmp(s, "\r\n", 2) == 0);
	bool more = *s == ',';

	*p = s + (more ? 1 : 2);
	return more;
}

/* Every record is as wide as the first, and no text field is a formula. */
START_TEST(csv_of_hostile_words)
{
	struct report r;
	pd_buf out, field;

	open_hostile(&r, _i);
	pd_buf_init(&out);
	pd_buf_init(&field);
	ck_assert_uint_gt(pd_doc_tables(r.doc), 5);
	for (unsigned k = 1; k <= pd_doc_tables(r.doc); k++) {
		size_t width = 0;

		pd_buf_reset(&out);
		ck_assert_int_eq(pd_doc_write_csv(r.doc, k, &out, NULL), PD_OK);
		for (const char *p = pd_buf_text(&out); *p;) {
			size_t n = 0;
			bool more;

			do {
				more = next_field(&p, &field);
				n++;
				const char *f = pd_buf_text(&field);

				ck_assert(*f != '=' && *f != '@' && *f != '+');
				ck_assert(*f != '-' ||
				          strspn(f + 1, "0123456789.") ==
				              strlen(f) - 1);
			} while (more);
			if (!width)
				width = n;
			ck_assert_uint_eq(n, width);
		}
		ck_assert_uint_gt(width, 0);
	}
	pd_buf_clear(&out);
	pd_buf_clear(&field);
	report_close(&r);
}
END_TEST

/* A workbook is made of anything, and twice the same; without the library
 * the form is refused in words. */
START_TEST(xlsx_of_hostile_words)
{
	struct report r;
	pd_error err = { 0 };
	pd_buf one, two;

	open_hostile(&r, _i);
	pd_buf_init(&one);
	pd_buf_init(&two);
	pd_status st = pd_doc_write_xlsx(r.doc, &one, &err);

	if (st == PD_USAGE) {
		ck_assert_ptr_nonnull(strstr(err.text, "built without"));
	} else {
		ck_assert_int_eq(st, PD_OK);
		ck_assert_int_eq(pd_doc_write_xlsx(r.doc, &two, NULL), PD_OK);
		ck_assert_uint_gt(one.length, 1000);
		ck_assert_uint_eq(one.length, two.length);
		ck_assert_mem_eq(one.data, two.data, one.length);
		ck_assert_mem_eq(one.data, "PK\003\004", 4);
	}
	pd_buf_clear(&one);
	pd_buf_clear(&two);
	report_close(&r);
}
END_TEST

/* A workbook that cannot be: no folder for it, a text too long for a cell. */
START_TEST(xlsx_failures)
{
	static char text[40000];
	pd_doc *d = pd_doc_new("T", "en");
	pd_error err = { 0 };
	pd_buf out;

	for (size_t i = 0; i + 1 < sizeof text; i++)
		text[i] = 'a';
	pd_buf_init(&out);
	setenv("TMPDIR", "/nowhere/at/all", 1);
	pd_status st = pd_doc_write_xlsx(d, &out, &err);

	ck_assert(st == PD_CANNOT_CREATE || st == PD_USAGE);
	unsetenv("TMPDIR");
	pd_doc_paragraph(d, PD_PLAIN, text);
	st = pd_doc_write_xlsx(d, &out, &err);
	ck_assert(st == PD_DATA || st == PD_USAGE);
	ck_assert_uint_eq(out.length, 0);
	pd_doc_free(d);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("forms, hostile");
	TCase *c = tcase_create("hostile");
	SRunner *r;
	int run, failed;

	tcase_add_loop_test(c, latex_of_hostile_words, 0, N_HOSTILE);
	tcase_add_loop_test(c, json_of_hostile_words, 0, N_HOSTILE);
	tcase_add_loop_test(c, csv_of_hostile_words, 0, N_HOSTILE);
	tcase_add_loop_test(c, xlsx_of_hostile_words, 0, N_HOSTILE);
	tcase_add_test(c, xlsx_failures);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
