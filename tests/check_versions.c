/*
 * check_versions.c - databases of earlier versions brought to today's, the
 * copy made before, and what the third version keeps: every effect of a
 * reading, and claims.
 */
#include "store_help.h"

#include "data/audit.h"
#include "data/claims.h"
#include "data/sql_text.h"

#include <math.h>

static void refuse_open(pd_open_mode mode, pd_status st, const char *words)
{
	pd_store *s = NULL;
	pd_error err = { .text = "" };
	pd_status got = pd_store_open(help_db, mode, &s, &err);

	ck_assert_msg(got == st, "status %d: %s", (int)got, err.text);
	ck_assert_ptr_null(s);
	ck_assert_msg(strstr(err.text, words) != NULL, "%s", err.text);
}

/* A database as version 1 made it, with one row in its chain. */
static void make_version_1(char hash[65])
{
	const pd_audit_row first = { .seq = 1, .uid = 1000, .at = "2024-02-29",
		                     .what = "create", .detail = "version 1",
		                     .previous = pd_audit_first };
	char row[400];
	pd_error err;

	ck_assert_int_eq(pd_audit_hash(&first, hash, &err), PD_OK);
	ck_assert_int_eq(help_run(pd_sql_schema), SQLITE_OK);
	ck_assert_int_eq(help_run(pd_sql_words), SQLITE_OK);
	ck_assert_int_eq(help_run(pd_sql_triggers), SQLITE_OK);
	ck_assert_int_eq(help_run(pd_sql_views), SQLITE_OK);
	snprintf(row, sizeof row, "INSERT INTO audit VALUES (1, '%s', 1000, "
	         "'create', 'version 1', '%s', '%s'); "
	         "PRAGMA application_id = 1885631095; PRAGMA user_version = 1",
	         first.at, pd_audit_first, hash);
	ck_assert_int_eq(help_run(row), SQLITE_OK);
}

START_TEST(version_1)
{
	char hash[65], sql[160];
	pd_store *s;

	make_version_1(hash);
	/* read as it is, by readers and inspectors, and left as it is */
	pd_store_close(help_open(PD_OPEN_READ));
	pd_store_close(help_open(PD_OPEN_INSPECT));
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 1);
	/* brought to today's by the first writer, the chain going on */
	s = help_open(PD_OPEN_WRITE);
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 3);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM audit"), 2);
	snprintf(sql, sizeof sql, "SELECT count(*) FROM audit WHERE seq = 1 "
	         "AND hash = '%s'", hash);
	ck_assert_double_eq(help_ask(sql), 1);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM audit WHERE "
	                             "what = 'migrate' AND detail = "
	                             "'version 3'"), 1);
	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	pd_store_close(help_open(PD_OPEN_READ));
	/* and rows of the new table are kept as those of the old were */
	ck_assert_int_ne(help_run("DELETE FROM audit"), SQLITE_OK);
	ck_assert_int_ne(help_run("UPDATE audit SET uid = 7"), SQLITE_OK);
	ck_assert_int_ne(help_run("INSERT INTO audit VALUES (7, '', 0, 'load',"
	                          " '', '', '')"), SQLITE_OK);
	help_check_database();
}
END_TEST

/* A database as version 2 left it, with a question read once. */
static void make_version_2(void)
{
	char hash[65];

	make_version_1(hash);
	ck_assert_int_eq(help_run(pd_sql_migrate_002), SQLITE_OK);
	ck_assert_int_eq(help_run(
	    "INSERT INTO looks VALUES (1, 'second-pull', 'q1', 'state', "
	    "'2026-03-31', -0.21, 0.07, -0.35, -0.07, 40, 20); "
	    "PRAGMA user_version = 2"), SQLITE_OK);
}

/* One number out of a file beside the database. */
static double ask_copy(const char *sql)
{
	char path[128];
	sqlite3 *db = NULL;
	sqlite3_stmt *q = NULL;
	double x;

	snprintf(path, sizeof path, "%s.version-2", help_db);
	ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY,
	                                 NULL), SQLITE_OK);
	ck_assert_int_eq(sqlite3_prepare_v2(db, sql, -1, &q, NULL), SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(q), SQLITE_ROW);
	x = sqlite3_column_double(q, 0);
	sqlite3_finalize(q);
	sqlite3_close(db);
	return x;
}

static void shell(const char *format)
{
	char line[400];

	snprintf(line, sizeof line, format, help_db, help_db);
	ck_assert_int_eq(system(line), 0);
}

/* Readings of version 2 go on, their one effect without a label; the copy made
 * before is the database as it was. */
START_TEST(version_2)
{
	pd_store *s;
	pd_look_effect e;
	double *se;
	size_t n;
	pd_error err = { .text = "" };

	make_version_2();
	/* read as it is: the first effect's error stands for every one */
	s = help_open(PD_OPEN_READ);
	ck_assert_int_eq(pd_store_earlier_effects(s, "q1", "b against a", &se,
	                                          &n, &err), PD_OK);
	ck_assert_uint_eq(n, 1);
	ck_assert_double_eq(se[0], 0.07);
	free(se);
	ck_assert_int_eq(pd_store_last_effect(s, "q1", "b against a", 0, &e,
	                                      &err), PD_OK);
	ck_assert_double_eq(e.estimate, -0.21);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 2);
	s = help_open(PD_OPEN_WRITE);
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 3);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM look_effects WHERE "
	                             "look_id = 1 AND effect_no = 0 AND label "
	                             "= '' AND se = 0.07 AND high = -0.07"), 1);
	ck_assert_int_eq(pd_store_earlier_effects(s, "q1", "c against a", &se,
	                                          &n, &err), PD_OK);
	ck_assert_uint_eq(n, 1);
	free(se);
	ck_assert_int_eq(pd_store_last_effect(s, "q1", "c against a", 1, &e,
	                                      &err), PD_OK);
	ck_assert_ptr_null(e.label);
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
	pd_store_close(s);
	ck_assert_int_ne(help_run("DELETE FROM look_effects"), SQLITE_OK);
	ck_assert_int_ne(help_run("UPDATE look_effects SET se = 1"), SQLITE_OK);
	help_check_database();
	ck_assert_double_eq(ask_copy("PRAGMA user_version"), 2);
	ck_assert_double_eq(ask_copy("SELECT count(*) FROM looks"), 1);
	ck_assert_double_eq(ask_copy("SELECT count(*) FROM audit"), 1);
}
END_TEST

/* A copy that is the database itself serves again, any other file of that
 * name stops the change, and the database stays as it was. */
START_TEST(version_2_copies)
{
	make_version_2();
	pd_store_close(help_open(PD_OPEN_WRITE));
	shell("cp '%s.version-2' '%s'");
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 2);
	pd_store_close(help_open(PD_OPEN_WRITE));
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 3);
	shell("cp '%s.version-2' '%s'");
	shell("echo other > '%s.version-2'");
	refuse_open(PD_OPEN_WRITE, PD_CANNOT_CREATE, "could not be copied");
	ck_assert_double_eq(help_ask("PRAGMA user_version"), 2);
	pd_store_close(help_open(PD_OPEN_READ));
}
END_TEST

/* Every effect of a reading is found again by its label, another's is not. */
START_TEST(effects_of_a_look)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	const pd_look_effect both[] = { { "b against a", 0.3, 0.11, 0.1, 0.5 },
		                        { "c against a", -0.2, 0.13, -0.4,
		                          NAN } };
	pd_look look = { .question = "levels", .question_sha256 = "q2",
		         .date = "2026-03-31", .estimate = 0.3, .se = 0.11,
		         .low = 0.1, .high = 0.5, .n_rows = 40,
		         .n_patients = 20, .n_effects = 2, .effect = both };
	pd_look_effect e;
	pd_error err;
	double *se;
	unsigned seen;
	size_t n;

	help_load_clean(s, "a.csv", wide);
	ck_assert_int_eq(pd_store_look(s, &look, &seen, &err), PD_OK);
	/* on the same data nothing is an earlier reading */
	ck_assert_int_eq(pd_store_earlier_effects(s, "q2", "c against a", &se,
	                                          &n, &err), PD_OK);
	ck_assert_uint_eq(n, 0);
	ck_assert_ptr_null(se);
	help_load_clean(s, "b.csv", HEAD ROW("V02", "L", "1", "1", "9.0",
	                "25.0", "10", "12", "11"));
	ck_assert_int_eq(pd_store_earlier_effects(s, "q2", "c against a", &se,
	                                          &n, &err), PD_OK);
	ck_assert_uint_eq(n, 1);
	ck_assert_double_eq(se[0], 0.13);
	free(se);
	ck_assert_int_eq(pd_store_last_effect(s, "q2", "c against a", 0, &e,
	                                      &err), PD_OK);
	ck_assert_str_eq(e.label, "c against a");
	ck_assert_double_eq(e.estimate, -0.2);
	ck_assert(isnan(e.high));
	ck_assert_int_eq(pd_store_earlier_effects(s, "q2", "d against a", &se,
	                                          &n, &err), PD_OK);
	ck_assert_uint_eq(n, 0);
	ck_assert_int_eq(pd_store_last_effect(s, "q2", "d against a", 0, &e,
	                                      &err), PD_OK);
	ck_assert_ptr_null(e.label);
	pd_store_close(s);
	help_check_database();
}
END_TEST

/* Rows of claims: once a file and state of the data, the newest of a name
 * stands, none is removed, the chain speaks of each. */
static pd_status visit_claim(void *user, const pd_claim_row *r, pd_error *err)
{
	pd_claim_row *out = user;

	(void)err;
	ck_assert(out->n_rows == 0); /* one name, one visit */
	*out = *r;
	out->name = out->title = out->date = NULL; /* borrowed */
	ck_assert_str_eq(r->name, "needle.claim");
	out->verdict = strcmp(r->verdict, "better") == 0 ? "better" : "other";
	return PD_OK;
}

START_TEST(claims_kept)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_claim_row r = { .name = "needle.claim", .title = "t",
		           .date = "2026-03-31", .verdict = "not settled",
		           .n_meanings = 2, .printed = 1.9, .printed_low = 1.2,
		           .printed_high = NAN, .least = 1.9, .most = 2.9,
		           .margin = 0.8, .here = 1.1, .here_low = 0.9,
		           .here_high = 1.35, .n_patients = 31 };
	pd_claim_row got = { 0 };
	char sha[65], other[65], date[11];
	pd_error err;

	help_load_clean(s, "a.csv", wide);
	pd_sha256_hex("one", 3, sha);
	pd_sha256_hex("two", 3, other);
	ck_assert_int_eq(pd_store_plan(s, r.name, sha, "one", r.date, date,
	                               &err), PD_OK);
	ck_assert_int_eq(pd_store_plan(s, r.name, other, "two", r.date, date,
	                               &err), PD_OK);
	ck_assert_int_eq(pd_store_claim(s, &r, sha, "q", &err), PD_OK);
	ck_assert_int_eq(pd_store_claim(s, &r, sha, "q", &err), PD_OK);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM claims"), 1);
	ck_assert_int_eq(pd_store_claims(s, visit_claim, &got, &err), PD_OK);
	ck_assert_uint_eq(got.n_rows, 1);
	ck_assert_uint_eq(got.n_loads, 0);
	ck_assert_double_eq(got.printed, 1.9);
	ck_assert(isnan(got.printed_high));
	ck_assert_double_eq(got.here_high, 1.35);
	ck_assert_uint_eq(got.n_patients, 31);
	ck_assert_str_eq(got.verdict, "other");
	/* the file changed, and data came */
	help_load_clean(s, "b.csv", HEAD ROW("V02", "L", "1", "1", "9.0",
	                "25.0", "10", "12", "11"));
	got = (pd_claim_row){ 0 };
	ck_assert_int_eq(pd_store_claims(s, visit_claim, &got, &err), PD_OK);
	ck_assert_uint_eq(got.n_loads, 1);
	r.verdict = "better";
	ck_assert_int_eq(pd_store_claim(s, &r, other, "", &err), PD_OK);
	got = (pd_claim_row){ 0 };
	ck_assert_int_eq(pd_store_claims(s, visit_claim, &got, &err), PD_OK);
	ck_assert_uint_eq(got.n_rows, 2);
	ck_assert_uint_eq(got.n_loads, 0);
	ck_assert_str_eq(got.verdict, "better");
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
	r.verdict = "splendid";
	r.name = "another";
	ck_assert_int_ne(pd_store_claim(s, &r, other, "", &err), PD_OK);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM audit WHERE "
	                             "what = 'claim'"), 2);
	ck_assert_int_ne(help_run("DELETE FROM claims"), SQLITE_OK);
	ck_assert_int_ne(help_run("UPDATE claims SET here = 2"), SQLITE_OK);
	help_check_database();
}
END_TEST

START_TEST(version_1_changed)
{
	char hash[65];

	make_version_1(hash);
	ck_assert_int_eq(help_run("DROP TRIGGER audit_keeps_rows"), SQLITE_OK);
	refuse_open(PD_OPEN_READ, PD_DATA, "not ours");
	refuse_open(PD_OPEN_WRITE, PD_DATA, "not ours");
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("versions");
	TCase *t = tcase_create("versions");
	SRunner *r = srunner_create(suite);
	int run, failed;

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, version_1);
	tcase_add_test(t, version_1_changed);
	tcase_add_test(t, version_2);
	tcase_add_test(t, version_2_copies);
	tcase_add_test(t, effects_of_a_look);
	tcase_add_test(t, claims_kept);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	run = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
