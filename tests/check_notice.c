/*
 * check_notice.c - rules over many rows: what the loader notices of a file it
 * takes, and that it keeps quiet otherwise.
 */
#include "store_help.h"


/* ---- rules over rows: a warning or note, and the file is stored ---- */

static char *many(const char *head, int n, const char *format, double first,
                  double step)
{
	static char text[20000];
	size_t at = (size_t)snprintf(text, sizeof text, "%s", head);

	for (int k = 0; k < n; k++)
		at += (size_t)snprintf(text + at, sizeof text - at, format,
		                       k / 4 + 1, k / 4 + 1, k % 4 + 1,
		                       first + step * ((k * 7) % n));
	return text;
}

static void noticed(const char *name, const char *csv, const char *code,
                    uint32_t line, bool expected)
{
	help_setup();
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "rules.csv", csv, 0);
	const pd_finding *f = help_find(&l, code);

	if (l.st != PD_OK || expected != (f != NULL))
		help_print(&l);
	ck_assert_msg(l.st == PD_OK, "%s: %s", name, l.err.text);
	ck_assert_msg(expected == (f != NULL), "%s: %s", name, code);
	if (f)
		ck_assert_msg(f->line == line && f->level != PD_ERROR,
		              "%s: line %u", name, f->line);
	pd_findings_free(l.findings);
	pd_store_close(s);
	help_teardown();
}

START_TEST(rules_over_rows)
{
	noticed("third pull without the second",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,3,5,"
	              "22.3\n", "pull-gap", 3,
	        true);
	noticed("no gap", SHORT "M1,V1,2025-04-17,L,1,2,5,20.1\nM1,V1,"
	                        "2025-04-17,L,1,1,5,22.3\n",
	        "pull-gap", 0, false);
	noticed("third site without the second",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,3,1,5,"
	              "22.3\n", "site-gap", 3,
	        true);
	noticed("one value for all pulls",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,2,6,"
	              "20.1\nM1,V1,2025-04-17,L,2,1,4,20.1\n",
	        "pool-copied-down", 2, true);
	noticed("pulls that differ",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,2,6,"
	              "20.2\nM1,V1,2025-04-17,L,2,1,4,20.1\n",
	        "pool-copied-down", 0, false);
	noticed("values that end in 0 and 5",
	        many(SHORT, 60, "M%d,V%d,2025-04-17,L,1,%d,5,%.0f\n", 10, 5),
	        "digit-preference", 0, true);
	noticed("values that end in anything",
	        many(SHORT, 60, "M%d,V%d,2025-04-17,L,1,%d,5,%.1f\n", 10, 0.7),
	        "digit-preference", 0, false);
	/* one value written finer does not make the others end in 0 */
	char csv[9000];

	snprintf(csv, sizeof csv, "%sM900,V900,2025-04-17,L,1,1,5,12.3456\n",
	         many(SHORT, 150, "M%d,V%d,2025-04-17,L,1,%d,5,%.1f\n", 10,
	              0.7));
	noticed("one quotient among readings", csv, "digit-preference", 0,
	        false);
}
END_TEST

/* A litre and a half from one case, in sites of four pulls. */
START_TEST(case_volume)
{
	char csv[4000];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,"
	                                             "side,site_no,"
	                            "aliquot_no,volume_ml,syringe_ml\n");

	for (int k = 0; k < 40; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M1,V1,2025-04-17,L,%d,%d,40,"
		                      "50\n", k / 4 + 1,
		                      k % 4 + 1);
	noticed("1600 mL", csv, "case-volume", 2, true);
}
END_TEST

/* Against what the clinic has measured before. */
START_TEST(unit_slips)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "a.csv", many("patient,case,case_date,side,"
	                                        "site_no,"
	    "aliquot_no,volume_ml,cd34_e3_per_ml\n", 60,
	    "M%d,V%d,2025-04-17,L,1,%d,5,%.1f\n", 90, 1.3), 0);

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_null(help_find(&l, "unit-slip"));
	pd_findings_free(l.findings);
	/* one value a thousand times too small, one fine */
	l = help_try(s, "b.csv", "patient,case,case_date,side,site_no,"
	                         "aliquot_no,volume_ml,"
	             "cd34_e3_per_ml\nM90,V90,2025-04-17,L,1,1,5,0.127\n"
	             "M90,V90,2025-04-17,L,1,2,5,131\n", 0);
	const pd_finding *f = help_find(&l, "unit-slip");

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_nonnull(f);
	ck_assert_uint_eq(f->line, 2);
	ck_assert_uint_eq(f->column, 28);
	pd_findings_free(l.findings);
	/* a whole file in another unit */
	char *csv = many("patient,case,case_date,side,site_no,aliquot_no,"
	                 "volume_ml,"
	                 "cd34_e3_per_ml\n", 60, "N%d,W%d,2025-04-17,L,1,%d,5,"
	                                         "%.4f\n",
	                 0.09, 0.0013);

	l = help_try(s, "c.csv", csv, 0);
	ck_assert_ptr_nonnull(help_find(&l, "median-shift"));
	pd_findings_free(l.findings);
	/* stored with the file, and listed */
	pd_store_counts n;

	ck_assert_int_eq(pd_store_count(s, &n, &l.err), PD_OK);
	ck_assert_uint_gt(n.n_warnings, 1);
	pd_store_close(s);
}
END_TEST

/* A pool of the whole case, and then one more pull; another map each time. */
START_TEST(pool_outgrown)
{
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "a.csv", SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\n"
	                "M1,V1,2025-04-17,L,1,2,5,22.3\n");
	help_load_clean(s, "b.csv", "case,pool,tnc_e6_per_ml\nV1,case,19\n");
	help_load l = help_try(s, "c.csv", SHORT
	                       "M1,V1,2025-04-17,L,1,3,5,17.9\n", 0);

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_nonnull(help_find(&l, "pool-outgrown"));
	ck_assert_ptr_null(help_find(&l, "unit-provenance"));
	pd_findings_free(l.findings);

	pd_findings *f = pd_findings_new();
	char map[200];

	snprintf(map, sizeof map, "%s", help_file("m.map", ""));
	pd_load_request r = { .map_path = map, .date = "2026-03-04",
		              .path = help_file("d.csv", SHORT
		              "M2,V2,2025-04-17,L,1,1,5,18.3\n") };
	pd_load_report report;
	pd_error err;

	ck_assert_int_eq(pd_load_file(s, &r, f, &report, &err), PD_OK);
	l.findings = f;
	ck_assert_ptr_nonnull(help_find(&l, "unit-provenance"));
	pd_findings_free(f);
	pd_store_close(s);
}
END_TEST

START_TEST(method_medians)
{
	char csv[8000];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,"
	                                             "side,site_no,"
	                            "aliquot_no,volume_ml,method_version,"
	                            "tnc_e6_per_ml\n");
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < 60; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M%d,V%d,2025-04-17,L,1,%d,5,lab v%d,"
		                      "%.1f\n",
		                      k / 4, k / 4, k % 4 + 1, k % 2 + 1,
		                      (k % 2 ? 61.0 : 12.0) + k * 0.13);
	help_load l = help_try(s, "m.csv", csv, 0);

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_nonnull(help_find(&l, "method-median"));
	ck_assert_int_eq(help_find(&l, "method-median")->level, PD_NOTE);
	pd_findings_free(l.findings);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("notice");
	TCase *t = tcase_create("notice");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, unit_slips);
	tcase_add_test(t, pool_outgrown);
	tcase_add_test(t, method_medians);
	suite_add_tcase(suite, t);

	TCase *own = tcase_create("notice, own folders");

	tcase_set_timeout(own, 120);
	tcase_add_test(own, rules_over_rows);
	tcase_add_test(own, case_volume);
	suite_add_tcase(suite, own);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
