/*
 * check_correct.c - a file loaded again, rows corrected or filled, and the
 * program killed in the middle of a load.
 */
#include "store_help.h"

#include <signal.h>
#include <sys/wait.h>
#include <time.h>

/* ---- again, and corrected ---- */

START_TEST(again)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_store_counts before, after;
	pd_error err;

	help_load_clean(s, "wide.csv", wide);
	ck_assert_int_eq(pd_store_count(s, &before, &err), PD_OK);
	pd_load_report r = help_load_clean(s, "other-name.csv", wide);

	ck_assert_int_eq(r.already_loaded, 1);
	ck_assert_uint_eq(r.n_accepted, 0);
	ck_assert_int_eq(pd_store_count(s, &after, &err), PD_OK);
	ck_assert_mem_eq(&before, &after, sizeof before);
	pd_store_close(s);
}
END_TEST

/* Rows of an earlier file in a new one: a note, nothing doubled. */
START_TEST(rows_again)
{
	char more[2000];
	pd_store *s = help_open(PD_OPEN_CREATE);

	snprintf(more, sizeof more, "%s" ROW("V01", "R", "3", "1", "4.4",
	         "29.9", "5", "7", "6"), wide);
	help_load_clean(s, "wide.csv", wide);
	help_load l = help_try(s, "more.csv", more, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_nonnull(help_find(&l, "rows-already-stored"));
	ck_assert_uint_eq(l.report.n_rows, 5);
	ck_assert_uint_eq(l.report.n_aliquots, 1);
	ck_assert_uint_eq(l.report.n_results, 1);
	ck_assert_uint_eq(l.report.n_superseded, 0);
	pd_findings_free(l.findings);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM assays"), 5);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM history"), 0);
}
END_TEST

START_TEST(corrected)
{
	static const char fixed[] = HEAD
	    "M01,female,1961,V01,2025-04-17,64.4,T2,L,1,PSIS,11,1,9.0,10,1.0,"
	    "lab v1,36.5,93.1,500000,14,22,18\n";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_error err;

	help_load_clean(s, "wide.csv", wide);
	help_load l = help_try(s, "fixed.csv", fixed, 0);

	/* not without being asked to */
	ck_assert_int_eq(l.st, PD_DATA);
	ck_assert_ptr_nonnull(help_find(&l, "differs-from-stored"));
	ck_assert_ptr_nonnull(strstr(help_find(&l, "differs-from-stored")
	                             ->found, "wide.csv"));
	pd_findings_free(l.findings);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM history"), 0);

	l = help_try(s, "fixed.csv", fixed, 1);
	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_uint_eq(l.report.n_superseded, 2); /* a case, an assay */
	pd_findings_free(l.findings);
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT tnc FROM assays ORDER BY "
	                             "assay_id LIMIT 1"), 36.5);
	ck_assert_double_eq(help_ask("SELECT age_y FROM cases"), 64.4);
	ck_assert_double_eq(help_ask("SELECT json_extract(was, '$.tnc') FROM "
	                             "history WHERE was_table = 'assays'"),
	                    35.0);
	ck_assert_double_eq(help_ask("SELECT json_extract(was, '$.age_y') "
	                             "FROM history WHERE was_table = 'cases' "
	                             "AND reason = 'lab correction'"), 63.4);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM audit WHERE what = "
	                             "'supersede' AND detail LIKE "
	                             "'%lab correction%'"), 1);
	ck_assert_double_eq(help_ask("SELECT source_id FROM assays ORDER BY "
	                             "assay_id LIMIT 1"), 2);
}
END_TEST

/* Several long rows of one sample correct it together. */
START_TEST(corrected_long)
{
	static const char fixed[] =
	    "case,side,site_no,aliquot_no,method_version,outcome,value,unit\n"
	    "V01,L,1,1,lab v1,tnc,36.5,10*6/mL\n"
	    "V01,L,1,1,lab v1,viability,90.2,%\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "wide.csv", wide);
	help_load l = help_try(s, "fixed.csv", fixed, 1);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("SELECT tnc * 1000 + viability FROM "
	                             "assays ORDER BY assay_id LIMIT 1"),
	                    36590.2);
	ck_assert_double_eq(help_ask("SELECT json_extract(was, '$.tnc') FROM "
	                             "history ORDER BY history_id LIMIT 1"),
	                    35.0);
}
END_TEST

START_TEST(blanks_filled)
{
	static const char first[] =
	    "patient,sex,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "tnc_e6_per_ml\n"
	    "M01,,V01,2025-04-17,L,1,1,5.5,\n";
	static const char second[] =
	    "patient,sex,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "tnc_e6_per_ml\n"
	    "M01,female,V01,2025-04-17,L,1,1,5.5,23.4\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "first.csv", first);
	help_load_clean(s, "second.csv", second);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT count(*) FROM draws WHERE sex = "
	                             "'female'"), 1);
	ck_assert_double_eq(help_ask("SELECT tnc FROM assays"), 23.4);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM history WHERE "
	                             "was_table = 'patients'"), 1);
}
END_TEST

START_TEST(dry_run)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_findings *f = pd_findings_new();
	pd_load_request r = { .path = help_file("wide.csv", wide),
		              .date = "2026-03-04", .dry_run = 1 };
	pd_load_report report;
	pd_store_counts n;
	pd_error err;

	ck_assert_int_eq(pd_load_file(s, &r, f, &report, &err), PD_OK);
	ck_assert_uint_eq(report.n_rows, 4);
	ck_assert_uint_eq(report.n_aliquots, 4);
	ck_assert_int_eq(pd_store_count(s, &n, &err), PD_OK);
	ck_assert_uint_eq(n.n_aliquots + n.n_sources, 0);
	pd_findings_free(f);
	pd_store_close(s);
}
END_TEST

/* Rows in any order give the same records (keys apart from line numbers). */
START_TEST(shuffled)
{
	static const char *const rows[] = {
		ROW("V01", "L", "1", "1", "9.0", "35.0", "14", "22", "18"),
		ROW("V01", "L", "1", "2", "8.5", "27.3", "11", "9", "13"),
		ROW("V01", "R", "2", "1", "7.9", "31.7", "8", "6", "7"),
		ROW("V02", "R", "1", "1", "6.1", "22.8", "9", "5", "8"),
		ROW("V02", "R", "1", "2", "6.6", "20.4", "4", "7", "2"),
	};
	static const int order[3][5] = {
		{ 0, 1, 2, 3, 4 }, { 4, 3, 2, 1, 0 }, { 2, 4, 0, 3, 1 },
	};
	double sum[3];

	help_teardown();
	for (int k = 0; k < 3; k++) {
		char csv[3000] = HEAD;

		help_setup();
		for (int i = 0; i < 5; i++)
			strcat(csv, rows[order[k][i]]);
		pd_store *s = help_open(PD_OPEN_CREATE);

		help_load_clean(s, "rows.csv", csv);
		pd_store_close(s);
		help_check_database();
		sum[k] = help_ask("SELECT sum(tnc_e6_per_ml * site_no * "
		                  "aliquot_no * volume_ml * colonies) FROM "
		                  "aliquot_results");
		if (k < 2)
			help_teardown();
	}
	ck_assert_double_eq_tol(sum[1], sum[0], 1e-9 * sum[0]);
	ck_assert_double_eq_tol(sum[2], sum[0], 1e-9 * sum[0]);
}
END_TEST

static void load_and_exit(const char *path)
{
	pd_store *s = NULL;
	pd_findings *f = pd_findings_new();
	pd_load_request r = { .path = path, .date = "2026-03-04" };
	pd_load_report report;

	if (pd_store_open(help_db, PD_OPEN_WRITE, &s, NULL) != PD_OK)
		_exit(2);
	pd_status st = pd_load_file(s, &r, f, &report, NULL);

	pd_store_close(s);
	_exit(st == PD_OK ? 0 : 3);
}

/* Two programs at once: one waits, both files are in. */
START_TEST(two_writers)
{
	char path[2][160];
	pid_t child[2];

	snprintf(path[0], sizeof path[0], "%s", help_file("a.csv", wide));
	snprintf(path[1], sizeof path[1], "%s", help_file("b.csv", HEAD
	         ROW("V02", "L", "1", "1", "9.0", "25.0", "10", "12", "11")));
	pd_store_close(help_open(PD_OPEN_CREATE));
	for (int k = 0; k < 2; k++) {
		child[k] = fork();
		ck_assert_int_ge(child[k], 0);
		if (child[k] == 0)
			load_and_exit(path[k]);
	}
	for (int k = 0; k < 2; k++) {
		int status;

		ck_assert_int_eq(waitpid(child[k], &status, 0), child[k]);
		ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
	}
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT count(*) FROM aliquots"), 5);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM sources"), 2);
}
END_TEST

/* ---- killed in the middle ---- */

static const char *large_file(void)
{
	static char path[160];
	FILE *f;

	snprintf(path, sizeof path, "%s/large.csv", help_folder);
	f = fopen(path, "w");
	ck_assert_ptr_nonnull(f);
	fputs("patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	      "tnc_e6_per_ml\n", f);
	for (int k = 0; k < 24000; k++)
		fprintf(f, "M%05d,V%05d,2025-04-17,L,%d,%d,%d.%d,"
		           "%d.%d\n", k / 12, k / 12,
		        k % 12 / 2 + 1, k % 2 + 1, 3 + k % 5, k % 10,
		        15 + k % 23, k % 9 + 1);
	ck_assert_int_eq(fclose(f), 0);
	return path;
}

/* Microseconds one load takes. */
static long time_of_load(const char *path)
{
	struct timespec from, to;
	int status;

	clock_gettime(CLOCK_MONOTONIC, &from);
	pid_t child = fork();

	ck_assert_int_ge(child, 0);
	if (child == 0)
		load_and_exit(path);
	ck_assert_int_eq(waitpid(child, &status, 0), child);
	ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
	clock_gettime(CLOCK_MONOTONIC, &to);
	return (to.tv_sec - from.tv_sec) * 1000000 +
	       (to.tv_nsec - from.tv_nsec) / 1000;
}

/* One load killed after `us` microseconds; true when it had ended before. */
static bool killed_after(const char *path, long us)
{
	int status;
	pid_t child = fork();
	struct timespec wait = { us / 1000000, us % 1000000 * 1000 };

	ck_assert_int_ge(child, 0);
	if (child == 0)
		load_and_exit(path);
	nanosleep(&wait, NULL);
	kill(child, SIGKILL);
	ck_assert_int_eq(waitpid(child, &status, 0), child);
	if (WIFEXITED(status))
		ck_assert_int_eq(WEXITSTATUS(status), 0);
	return WIFEXITED(status);
}

START_TEST(killed)
{
	const char *path = large_file();
	int in = 0, out = 0;
	long whole;

	/* how long it takes when nobody interferes, for evenly spread kills */
	pd_store_close(help_open(PD_OPEN_CREATE));
	whole = time_of_load(path);
	ck_assert_int_eq(unlink(help_db), 0);
	pd_store_close(help_open(PD_OPEN_CREATE));
	for (int k = 0; k < 20; k++) {
		pd_store_counts n;
		pd_error err;

		killed_after(path, whole * (k + 1) / 19);
		pd_store *s = help_open(PD_OPEN_WRITE);

		ck_assert_int_eq(pd_store_count(s, &n, &err), PD_OK);
		ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
		ck_assert_msg(n.n_sources == 0 ? n.n_aliquots == 0 :
		              n.n_aliquots == 24000 && n.n_results == 24000 &&
		              n.n_cases == 2000 && n.n_sites == 12000,
		              "after kill %d: %zu sources, %zu aliquots", k,
		              n.n_sources, n.n_aliquots);
		if (n.n_sources) {
			in++;
			pd_store_close(s);
			help_check_database();
			ck_assert_int_eq(unlink(help_db), 0);
			pd_store_close(help_open(PD_OPEN_CREATE));
		} else {
			out++;
			pd_store_close(s);
		}
	}
	printf("killed 20 times: %d files wholly in, %d wholly out\n", in,
	       out);
	ck_assert_int_gt(out, 0);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("correct");
	TCase *t = tcase_create("correct");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, again);
	tcase_add_test(t, rows_again);
	tcase_add_test(t, corrected);
	tcase_add_test(t, corrected_long);
	tcase_add_test(t, blanks_filled);
	tcase_add_test(t, dry_run);
	tcase_add_test(t, shuffled);
	tcase_add_loop_test(t, two_writers, 0, 10); /* a race */
	tcase_add_test(t, killed);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
