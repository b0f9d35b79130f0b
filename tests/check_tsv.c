/*
 * check_tsv.c - the tab-parted form of a document: what a spreadsheet or a
 * script reads back.
 */
#include "report/block.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

START_TEST(tables_and_definitions)
{
	static const pd_cell_column column[] = {
		{ "Pairs", NULL, true },
		{ "Power", "%", true },
		{ "Note\tof it", NULL, false },
	};
	pd_doc *d = pd_doc_new("T", "en");
	pd_buf out;

	pd_doc_heading(d, 1, NULL, "not in it");
	pd_doc_paragraph(d, PD_LEAD, "First words");
	pd_doc_paragraph(d, PD_PLAIN, "not in it either");
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Margin", "0.80\nto 1.25");
	pd_table *t = pd_doc_table(d, "Sizes", 3, column, NULL);
	const char **cell = pd_doc_row(d, t, NULL);

	cell[0] = "10\u202f250";
	cell[1] = "\u22121.5";
	cell[2] = "\u00d710";
	pd_doc_row(d, t, NULL)[0] = "7";
	pd_buf_init(&out);
	ck_assert_int_eq(pd_doc_write_tsv(d, &out, NULL), PD_OK);
	ck_assert_str_eq(pd_buf_text(&out),
	                 "# First words\n"
	                 "Margin\t0.80 to 1.25\n"
	                 "# Table 1. Sizes\n"
	                 "Pairs\tPower, %\tNote of it\n"
	                 "10250\t-1.5\t\u00d710\n"
	                 "7\t\t\n");
	pd_buf_clear(&out);
	pd_doc_free(d);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("tsv");
	TCase *c = tcase_create("tsv");
	SRunner *r;
	int run, failed;

	tcase_add_test(c, tables_and_definitions);
	suite_add_tcase(suite, c);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed != 0;
}
