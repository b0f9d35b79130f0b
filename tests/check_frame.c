/*
 * check_frame.c - units that are covered once and those that are not, and the
 * columns of a frame at each grain.
 */
#include "query_help.h"

/* ---- units ---- */

static const char draws[] =
    "patient,sex,birth_year,case,case_date,operator,side,site_no,landmark,"
    "needle_gauge,aliquot_no,volume_ml,syringe_ml,move,anticoagulant_ml\n"
    "M02,male,1950,V03,2025-08-01,T1,L,1,PSIS,11,1,4,10,none,0.4\n"
    "M02,male,1950,V03,2025-08-01,T1,L,1,PSIS,11,2,6,10,rotate,0.4\n"
    "M02,male,1950,V03,2025-08-01,T1,L,2,PSIS,13,1,5,20,none,0.5\n"
    "M02,male,1950,V03,2025-08-01,T1,R,1,ASIS,11,1,3,10,none,0.3\n"
    "M01,female,1961,V02,2024-12-31,T2,R,1,PSIS,11,1,8,10,none,\n"
    "M01,female,1961,V01,2023-07-02,T2,L,1,PSIS,11,1,7,10,none,\n";

static const char results[] =
    "case,side,site_no,aliquot_no,pool,material,method_version,"
    "tnc_e6_per_ml,viability_pct\n"
    "V03,L,1,1,,aspirate,lab a,31.0,94\n"
    "V03,L,1,2,,aspirate,lab a,24.0,90\n"
    "V03,,,,L2+R,aspirate,lab a,19.0,88\n"
    "V03,,,,case,concentrate,lab a,140.0,86\n"
    "V02,R,1,1,,aspirate,lab a,22.0,95\n"
    "V02,R,1,1,,aspirate,lab b,27.0,\n";

START_TEST(units)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_query_flow flow;
	pd_frame *f;

	help_load_clean(s, "draws.csv", draws);
	help_load_clean(s, "results.csv", results);

	/* rows by patient, date, case, side, site, aliquot */
	f = ask(s, "tnc", "concentration", PD_BY_ALIQUOT, &flow);
	ck_assert_uint_eq(pd_frame_rows(f), 7);
	ck_assert_uint_eq(flow.pooled_out, 1);
	ck_assert_uint_eq(flow.other_material, 1);
	ck_assert_uint_eq(flow.recorded_rows, 9);
	ck_assert_uint_eq(flow.recorded_patients, 2);
	ck_assert_uint_eq(flow.recorded_sites, 5);
	ck_assert_str_eq(word(f, "case", 0), "V01");
	ck_assert_str_eq(word(f, "state", 0), "blank");
	ck_assert_str_eq(word(f, "method_version", 1), "lab a");
	ck_assert_str_eq(word(f, "method_version", 2), "lab b");
	same("undiluted", "low", real(f, "low", 3), 31.0 * 4.4 / 4);
	ck_assert_str_eq(word(f, "site", 3), "V03 left 1");
	ck_assert_str_eq(word(f, "side", 6), "V03 right");
	pd_frame_free(f);

	/* a pool over two sites leaves both without a value of their own */
	f = ask(s, "tnc", "yield", PD_BY_SITE, &flow);
	ck_assert_uint_eq(flow.recorded_rows, 5);
	ck_assert_uint_eq(pd_frame_rows(f), 5);
	ck_assert_str_eq(word(f, "site", 2), "V03 left 1");
	same("site", "yield", real(f, "low", 2), 31.0 * 4.4 + 24.0 * 6.4);
	ck_assert_str_eq(word(f, "state", 3), "blank");
	pd_frame_free(f);

	/* all of V03 is covered once: two aliquots and the pool of the rest;
	 * V02 is covered twice, so the first method version counts */
	f = ask(s, "tnc", "yield", PD_BY_CASE, &flow);
	ck_assert_uint_eq(pd_frame_rows(f), 3);
	same("V02", "yield", real(f, "low", 1), 22.0 * 8);
	ck_assert_str_eq(word(f, "method_version", 1), "lab a");
	same("V03", "yield", real(f, "low", 2),
	     31.0 * 4.4 + 24.0 * 6.4 + 19.0 * 8.8);
	same("V03", "ml", real(f, "ml", 2), 18);
	pd_frame_free(f);
	f = ask(s, "tnc", "concentration", PD_BY_CASE, NULL);
	same("V03", "concentration", real(f, "low", 2),
	     (31.0 * 4.4 + 24.0 * 6.4 + 19.0 * 8.8) / 18);
	pd_frame_free(f);
	f = ask(s, "viability", "percent", PD_BY_CASE, NULL);
	same("V03", "viability", real(f, "low", 2),
	     (94 * 31.0 * 4.4 + 90 * 24.0 * 6.4 + 88 * 19.0 * 8.8) /
	     (31.0 * 4.4 + 24.0 * 6.4 + 19.0 * 8.8));
	pd_frame_free(f);

	/* concentrate only when it is asked for, never diluted back */
	pd_query_request r = { "tnc", "concentration", PD_BY_CASE,
		               "concentrate", NULL, 0, NULL, 0 };
	pd_error err;

	ck_assert_int_eq(pd_query_frame(s, &r, &f, &flow, &err), PD_OK);
	same("concentrate", "low", real(f, "low", 2), 140);
	ck_assert_str_eq(word(f, "material", 2), "concentrate");
	ck_assert(isnan(real(f, "ml", 2)));
	pd_frame_free(f);
	r.judge = "yield";
	ck_assert_int_eq(pd_query_frame(s, &r, &f, &flow, &err), PD_USAGE);
	ck_assert_ptr_null(f);
	pd_store_close(s);
}
END_TEST

/* A site where one of two pulls was not counted is left out, and counted. */
START_TEST(incomplete)
{
	static const char csv[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "tnc_e6_per_ml\n"
	    "M01,V01,2025-01-02,L,1,1,5,30\nM01,V01,2025-01-02,L,1,2,5,\n"
	    "M01,V01,2025-01-02,L,2,1,5,20\nM01,V01,2025-01-02,L,2,2,,25\n"
	    "M01,V01,2025-01-02,L,3,1,5,20\nM01,V01,2025-01-02,L,3,2,6,<4\n"
	    "M01,V01,2025-01-02,L,4,1,5,20\n"
	    "M01,V01,2025-01-02,L,4,2,6,failed\n";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_query_flow flow;
	help_load l = help_try(s, "part.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_frame *f = ask(s, "tnc", "yield", PD_BY_SITE, &flow);

	ck_assert_uint_eq(flow.recorded_rows, 4);
	ck_assert_uint_eq(flow.incomplete_out, 2);
	ck_assert_uint_eq(pd_frame_rows(f), 2);
	same("with a limit", "low", real(f, "low", 0), 100);
	same("with a limit", "high", real(f, "high", 0), 124);
	ck_assert_str_eq(word(f, "state", 0), "below detection");
	ck_assert_str_eq(word(f, "state", 1), "failed culture");
	ck_assert(isnan(real(f, "low", 1)));
	pd_frame_free(f);
	f = ask(s, "tnc", "yield", PD_BY_CASE, &flow);
	ck_assert_uint_eq(pd_frame_rows(f) + flow.incomplete_out, 1);
	ck_assert_uint_eq(flow.incomplete_out, 1);
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

/* ---- columns ---- */

/* Each pull counted, and the pool of all as well, by the same counter. */
START_TEST(counted_twice)
{
	static const char counted[] =
	    "case,side,site_no,aliquot_no,pool,tnc_e6_per_ml\n"
	    "V03,L,1,1,,31.0\nV03,L,1,2,,24.0\nV03,L,2,1,,21.0\n"
	    "V03,R,1,1,,17.0\nV03,,,,case,20.0\n"
	    "V02,R,1,1,,22.0\n";
	static const char again[] =
	    "case,side,site_no,aliquot_no,pool,cd34_e3_per_ml\n"
	    "V03,L,1,1,,131\nV03,,,,case,117\n";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_query_flow flow;
	pd_frame *f;

	help_load_clean(s, "draws.csv", draws);
	help_load_clean(s, "counted.csv", counted);
	help_load_clean(s, "again.csv", again);
	f = ask(s, "tnc", "yield", PD_BY_CASE, &flow);
	ck_assert_uint_eq(flow.incomplete_out, 0);
	same("single draws", "yield", real(f, "low", 2),
	     31.0 * 4.4 + 24.0 * 6.4 + 21.0 * 5.5 + 17.0 * 3.3);
	pd_frame_free(f);
	f = ask(s, "cd34", "yield", PD_BY_CASE, &flow);
	ck_assert_uint_eq(flow.incomplete_out, 0);
	same("the pool", "yield", real(f, "low", 2), 117 * 19.6);
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

START_TEST(columns)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_frame *f;

	help_load_clean(s, "draws.csv", draws);
	f = ask(s, "tnc", "concentration", PD_BY_ALIQUOT, NULL);
	ck_assert_uint_eq(pd_frame_rows(f), 6);
	/* 2 July 2023: 182 days of 365 have passed */
	same("case_date", "2023", real(f, "case_date", 0), 2023 + 182 / 365.0);
	/* 31 December 2024: 365 days of a leap year */
	same("case_date", "2024", real(f, "case_date", 1), 2024 + 365 / 366.0);
	same("date", "days", real(f, "date", 0), 19540);
	ck_assert_str_eq(word(f, "quarter", 0), "2023 Q3");
	ck_assert_str_eq(word(f, "quarter", 1), "2024 Q4");
	same("repeat", "first", real(f, "repeat_case", 0), 0);
	same("repeat", "second", real(f, "repeat_case", 1), 1);
	same("repeat", "other patient", real(f, "repeat_case", 2), 0);
	ck_assert_str_eq(word(f, "sex", 0), "female");
	ck_assert_str_eq(word(f, "operator", 2), "T1");
	/* born in 1950, a case in August 2025: 74 or 75 */
	ck_assert(real(f, "age_y", 2) > 74.5 && real(f, "age_y", 2) < 75.5);
	same("n_sites", "V03", real(f, "n_sites", 2), 3);
	same("total_ml", "V03", real(f, "total_ml", 2), 18);
	same("n_aliquots", "site", real(f, "n_aliquots", 2), 2);
	same("site_ml", "first", real(f, "site_ml", 2), 10);
	same("ml_before_side", "second", real(f, "ml_before_side", 4), 10);
	same("ml_before_side", "right", real(f, "ml_before_side", 5), 0);
	same("site_in_side", "second", real(f, "site_in_side", 4), 2);
	ck_assert_str_eq(word(f, "side_word", 5), "right");
	ck_assert_str_eq(word(f, "landmark", 5), "anterior iliac crest");
	ck_assert_str_eq(word(f, "move", 3), "rotate");
	same("volume", "pull 2", real(f, "volume_ml", 3), 6);
	same("needle_moved", "pull 1", real(f, "needle_moved", 2), 0);
	same("needle_moved", "rotated", real(f, "needle_moved", 3), 1);
	pd_frame_free(f);

	/* coarser: what all rows below share */
	f = ask(s, "tnc", "concentration", PD_BY_SITE, NULL);
	same("syringe", "same", real(f, "syringe_ml", 2), 10);
	ck_assert(isnan(real(f, "volume_ml", 2)));
	ck_assert_str_eq(word(f, "move", 2), "");
	ck_assert_str_eq(word(f, "move", 3), "none");
	pd_frame_free(f);
	f = ask(s, "tnc", "concentration", PD_BY_CASE, NULL);
	ck_assert_uint_eq(pd_frame_rows(f), 3);
	ck_assert_str_eq(word(f, "landmark", 2), "");
	ck_assert_str_eq(word(f, "landmark", 0), "posterior iliac crest");
	ck_assert(isnan(real(f, "needle_gauge", 2)));
	same("n_aliquots", "case", real(f, "n_aliquots", 2), 4);
	ck_assert_ptr_null(pd_frame_find(f, "site"));
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

START_TEST(names)
{
	static const struct {
		pd_query_request r;
		const char *words;
	} bad[] = {
		{ { "colour", "concentration", PD_BY_CASE, NULL, NULL, 0, NULL, 0 },
		  "tnc, mnc" },
		{ { "tnc", "beauty", PD_BY_CASE, NULL, NULL, 0, NULL, 0 },
		  "concentration, prevalence" },
		{ { "viability", "yield", PD_BY_CASE, NULL, NULL, 0, NULL, 0 },
		  "has no yield" },
		{ { "tnc", "yield", PD_BY_CASE, "soup", NULL, 0, NULL, 0 },
		  "aspirate, concentrate" },
	};
	static const char *const column = "site";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_error err;
	pd_frame *f;
	pd_kind kind;

	for (size_t k = 0; k < sizeof bad / sizeof *bad; k++) {
		ck_assert_int_eq(pd_query_frame(s, &bad[k].r, &f, NULL, &err),
		                 PD_USAGE);
		ck_assert_ptr_null(f);
		ck_assert_msg(strstr(err.text, bad[k].words) != NULL, "%s",
		              err.text);
	}
	pd_query_request r = { "tnc", "yield", PD_BY_CASE, NULL, &column, 1, NULL,
		               0 };

	ck_assert_int_eq(pd_query_frame(s, &r, &f, NULL, &err), PD_USAGE);
	ck_assert_ptr_nonnull(strstr(err.text, "syringe_ml"));
	ck_assert_int_eq(pd_query_has("site", PD_BY_CASE, &kind), 0);
	ck_assert_int_eq(pd_query_has("site", PD_BY_SITE, &kind), 1);
	ck_assert_int_eq(kind, PD_FACTOR);
	ck_assert_int_eq(pd_query_has("syringe_ml", PD_BY_CASE, &kind), 1);
	ck_assert_int_eq(kind, PD_REAL);
	ck_assert_int_eq(pd_query_has("nothing", PD_BY_CASE, &kind), 0);
	ck_assert_str_eq(pd_query_unit("tnc", "concentration"), "10^6/mL");
	ck_assert_ptr_null(pd_query_unit("viability", "yield"));
	ck_assert_ptr_nonnull(pd_query_words("cfu_f"));
	ck_assert_ptr_nonnull(pd_query_words("syringe_ml"));
	ck_assert_ptr_null(pd_query_words("nothing"));
	/* an empty store gives an empty frame */
	f = ask(s, "tnc", "yield", PD_BY_CASE, NULL);
	ck_assert_uint_eq(pd_frame_rows(f), 0);
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("frame");
	TCase *t = tcase_create("frame");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, units);
	tcase_add_test(t, incomplete);
	tcase_add_test(t, counted_twice);
	tcase_add_test(t, columns);
	tcase_add_test(t, names);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
