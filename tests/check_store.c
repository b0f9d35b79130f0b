/*
 * check_store.c - the store itself: the audit chain and the ledger, files
 * that are not as they should be, who may read and write, and its listings.
 */
#include "store_help.h"

#include "data/audit.h"
#include "data/content.h"
#include "data/sql_text.h"

#include <fcntl.h>
#include <math.h>
#include <sys/stat.h>
#include <sys/wait.h>

/* ---- the chain ---- */

START_TEST(audit_tampered)
{
	static const struct {
		const char *sql, *words;
	} row[] = {
		{ "UPDATE audit SET detail = 'nothing' WHERE seq = 2",
		  "audit row 2 was changed" },
		{ "UPDATE audit SET at = '2020-01-01' WHERE seq = 1",
		  "audit row 1 was changed" },
		{ "DELETE FROM audit WHERE seq = 2",
		  "audit row 2 is missing" },
		{ "UPDATE audit SET previous = hash WHERE seq = 3",
		  "audit row 3 does not follow" },
	};
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_error err;

	help_load_clean(s, "a.csv", wide);
	help_load_clean(s, "b.csv", HEAD ROW("V02", "L", "1", "1", "9.0",
	                "25.0", "10", "12", "11"));
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
	pd_store_close(s);
	/* the triggers stand in the way ... */
	ck_assert_int_eq(help_run(row[_i].sql), SQLITE_CONSTRAINT);
	/* ... and who takes them away is seen when opening */
	ck_assert_int_eq(help_run("DROP TRIGGER audit_keeps_rows; "
	                          "DROP TRIGGER audit_keeps_words"),
	                 SQLITE_OK);
	ck_assert_int_eq(help_run(row[_i].sql), SQLITE_OK);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_READ, &s, &err),
	                 PD_DATA);
	/* or puts them back */
	ck_assert_int_eq(help_run(
	    "CREATE TRIGGER audit_keeps_rows BEFORE DELETE ON audit\n"
	    "BEGIN SELECT RAISE(ABORT, 'audit rows cannot be removed'); END;"
	    "CREATE TRIGGER audit_keeps_words BEFORE UPDATE ON audit\n"
	    "BEGIN SELECT RAISE(ABORT, 'audit rows cannot be changed'); END;"),
	    SQLITE_OK);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_READ, &s, &err),
	                 PD_BROKEN);
	s = help_open(PD_OPEN_INSPECT);
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_BROKEN);
	ck_assert_msg(strstr(err.text, row[_i].words) != NULL, "%s", err.text);
	pd_store_close(s);
}
END_TEST

/* One value of one row of every kind of table, changed by another program. */
START_TEST(rows_changed_elsewhere)
{
	static const struct {
		const char *sql, *table;
	} row[] = {
		{ "UPDATE assays SET tnc = tnc * 1.0000001", "assays" },
		{ "UPDATE aliquots SET volume_ml = volume_ml + 1", "aliquots" },
		{ "UPDATE sites SET line = line + 1", "sites" },
		{ "UPDATE cases SET line = line + 1", "cases" },
		{ "UPDATE patients SET line = line + 1", "patients" },
		{ "UPDATE words SET word = word || 'x' WHERE code = 1 AND field "
		  "= 'side'", "words" },
		{ "INSERT INTO operators (code) VALUES ('O9')",
		  "operators" },
		{ "DELETE FROM profiles", "profiles" },
	};
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_error err = { .text = "" };
	char want[64];

	help_load_clean(s, "a.csv", wide);
	help_load_clean(s, "b.csv", HEAD ROW("V02", "L", "1", "1", "9.0",
	                "25.0", "10", "12", "11"));
	pd_store_close(s);
	s = help_open(PD_OPEN_READ);
	ck_assert_int_eq(pd_content_verify(s, &err), PD_OK);
	pd_store_close(s);
	ck_assert_int_eq(help_run(row[_i].sql), SQLITE_OK);
	for (int mode = PD_OPEN_READ; mode <= PD_OPEN_CREATE; mode++) {
		pd_status st = pd_store_open(help_db, (pd_open_mode)mode, &s,
		                             &err);

		if (mode == PD_OPEN_INSPECT) {
			ck_assert_int_eq(st, PD_OK);
			st = pd_content_verify(s, &err);
			pd_store_close(s);
		}
		ck_assert_int_eq(st, PD_BROKEN);
		snprintf(want, sizeof want, "table '%s'", row[_i].table);
		ck_assert_msg(strstr(err.text, want) != NULL, "%s", err.text);
	}
}
END_TEST

START_TEST(ledger)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_error err;
	unsigned n;
	char date[11];
	pd_look look = { .question = "second-pull", .question_sha256 = "q1",
		         .date = "2026-03-31", .estimate = -0.21, .se = 0.07,
		         .low = -0.35, .high = INFINITY, .n_rows = 40,
		         .n_patients = 20 };
	pd_store_counts before, after;

	help_load_clean(s, "a.csv", wide);
	ck_assert_int_eq(pd_store_first_look(s, "q1", date, &err), PD_OK);
	ck_assert_str_eq(date, "");
	ck_assert_int_eq(pd_store_count(s, &before, &err), PD_OK);
	ck_assert_int_eq(pd_store_look(s, &look, &n, &err), PD_OK);
	ck_assert_uint_eq(n, 1);
	/* the same data read again is the same look */
	look.date = "2026-04-01";
	ck_assert_int_eq(pd_store_look(s, &look, &n, &err), PD_OK);
	ck_assert_uint_eq(n, 1);
	/* and reading leaves the data's own hash as it was */
	ck_assert_int_eq(pd_store_count(s, &after, &err), PD_OK);
	ck_assert_str_eq(before.audit_head, after.audit_head);
	help_load_clean(s, "b.csv", HEAD ROW("V02", "L", "1", "1", "9.0",
	                "25.0", "10", "12", "11"));
	pd_store_close(s);
	/* read only: counted as if it had been stored */
	s = help_open(PD_OPEN_READ);
	ck_assert_int_eq(pd_store_look(s, &look, &n, &err), PD_OK);
	ck_assert_uint_eq(n, 2);
	pd_store_close(s);
	s = help_open(PD_OPEN_WRITE);
	ck_assert_int_eq(pd_store_look(s, &look, &n, &err), PD_OK);
	ck_assert_uint_eq(n, 2);
	ck_assert_int_eq(pd_store_first_look(s, "q1", date, &err), PD_OK);
	ck_assert_str_eq(date, "2026-03-31");
	char plan[65];

	pd_sha256_hex("plan", 4, plan);
	ck_assert_int_eq(pd_store_plan(s, "quarter", plan, "plan",
	                               "2026-03-30", date, &err), PD_OK);
	ck_assert_int_eq(pd_store_plan(s, "quarter", plan, "plan",
	                               "2026-06-30", date, &err), PD_OK);
	ck_assert_str_eq(date, "2026-03-30");
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_OK);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM looks"), 2);
	ck_assert_int_eq(help_run("DELETE FROM looks"), SQLITE_CONSTRAINT);
}
END_TEST

/* ---- files that are not as they should be ---- */

static void refuse_open(pd_open_mode mode, pd_status st, const char *words)
{
	pd_store *s = NULL;
	pd_error err = { .text = "" };
	pd_status got = pd_store_open(help_db, mode, &s, &err);

	ck_assert_msg(got == st, "status %d: %s", (int)got, err.text);
	ck_assert_ptr_null(s);
	ck_assert_msg(strstr(err.text, words) != NULL, "%s", err.text);
}

START_TEST(foreign_objects)
{
	static const char *const sql[] = {
		("CREATE TRIGGER extra AFTER INSERT ON assays BEGIN "
		 "UPDATE assays SET tnc = 1; END"),
		"CREATE VIEW extra AS SELECT 1",
		"CREATE TABLE extra (x)",
		"CREATE INDEX extra ON assays (tnc)",
		"DROP VIEW results; CREATE VIEW results AS SELECT 1",
		"DROP TRIGGER looks_keep_rows",
	};
	pd_store *s = help_open(PD_OPEN_CREATE);

	pd_store_close(s);
	ck_assert_int_eq(help_run(sql[_i]), SQLITE_OK);
	refuse_open(PD_OPEN_READ, PD_DATA, "not ours");
	refuse_open(PD_OPEN_WRITE, PD_DATA, "not ours");
}
END_TEST

START_TEST(other_versions)
{
	pd_store *s = help_open(PD_OPEN_CREATE);

	pd_store_close(s);
	ck_assert_int_eq(help_run("PRAGMA user_version = 4"), SQLITE_OK);
	refuse_open(PD_OPEN_READ, PD_DATA, "version 4");
	ck_assert_int_eq(help_run("PRAGMA user_version = 3; "
	                          "PRAGMA application_id = 7"), SQLITE_OK);
	refuse_open(PD_OPEN_WRITE, PD_DATA, "not a perdraw database");
}
END_TEST

START_TEST(other_files)
{
	char other[160];

	refuse_open(PD_OPEN_READ, PD_NO_INPUT, "cannot open");
	refuse_open(PD_OPEN_WRITE, PD_NO_INPUT, "cannot open");
	help_file("clinic.db", "");
	refuse_open(PD_OPEN_READ, PD_DATA, "no database yet");
	help_file("clinic.db", "patient,case\nM01,V01\n and so on, longer "
	          "than the first bytes of a database are, so that it is "
	          "read as one would be and found not to be one at all....");
	refuse_open(PD_OPEN_WRITE, PD_DATA, "not a database");
	ck_assert_int_eq(unlink(help_db), 0);
	snprintf(other, sizeof other, "%s/real.db", help_folder);
	ck_assert_int_eq(symlink(other, help_db), 0);
	refuse_open(PD_OPEN_CREATE, PD_NO_INPUT, "symbolic link");
}
END_TEST

START_TEST(damaged)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	struct stat file;
	char page[2048];

	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	ck_assert_int_eq(stat(help_db, &file), 0);
	memset(page, 0xa5, sizeof page);
	int fd = open(help_db, O_WRONLY);

	ck_assert_int_ge(fd, 0);
	for (off_t at = 16384; at < file.st_size; at += 16384)
		ck_assert_int_eq(pwrite(fd, page, sizeof page, at),
		                 sizeof page);
	close(fd);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_READ, &s, NULL),
	                 PD_DATA);
}
END_TEST

START_TEST(mode_is_private)
{
	struct stat file;

	umask(0);
	pd_store_close(help_open(PD_OPEN_CREATE));
	ck_assert_int_eq(stat(help_db, &file), 0);
	ck_assert_int_eq(file.st_mode & 0777, 0600);
}
END_TEST

/* Nobody's process: a user that may read the file and write nowhere. */
static void as_nobody(void (*act)(void))
{
	int status;
	pid_t child = fork();

	ck_assert_int_ge(child, 0);
	if (child == 0) {
		if (geteuid() == 0 && (setgid(65534) || setuid(65534)))
			_exit(9);
		act();
		_exit(0);
	}
	ck_assert_int_eq(waitpid(child, &status, 0), child);
	ck_assert_msg(WIFEXITED(status) && WEXITSTATUS(status) == 0,
	              "exit %d", WEXITSTATUS(status));
}

static void only_read(void)
{
	pd_store *s = NULL;
	pd_store_counts n;
	pd_error err;
	unsigned looks;
	pd_look look = { .question = "a", .question_sha256 = "b",
		         .date = "2026-01-01" };

	if (pd_store_open(help_db, PD_OPEN_WRITE, &s, &err) !=
	    PD_NO_PERMISSION)
		_exit(2);
	if (pd_store_open(help_db, PD_OPEN_READ, &s, &err) != PD_OK)
		_exit(3);
	if (pd_store_count(s, &n, &err) != PD_OK || n.n_aliquots != 4)
		_exit(4);
	if (pd_store_look(s, &look, &looks, &err) != PD_OK || looks != 1)
		_exit(5);
	pd_store_close(s);
}

static void refuse_unfinished(void)
{
	pd_store *s = NULL;
	pd_error err = { .text = "" };

	if (pd_store_open(help_db, PD_OPEN_READ, &s, &err) !=
	    PD_NO_PERMISSION || !strstr(err.text, "unfinished"))
		_exit(6);
}

START_TEST(read_only)
{
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	ck_assert_int_eq(chmod(help_db, 0444), 0);
	ck_assert_int_eq(chmod(help_folder, 0555), 0);
	as_nobody(only_read);
	/* work left in a log could not be taken in: refused, not ignored */
	ck_assert_int_eq(chmod(help_folder, 0755), 0);
	help_file("clinic.db-journal", "left");
	ck_assert_int_eq(chmod(help_folder, 0555), 0);
	as_nobody(refuse_unfinished);
	ck_assert_int_eq(chmod(help_folder, 0755), 0);
}
END_TEST

START_TEST(locked)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	sqlite3 *db = NULL;

	ck_assert_int_eq(sqlite3_open(help_db, &db), SQLITE_OK);
	ck_assert_int_eq(sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL),
	                 SQLITE_OK);
	help_load l = help_try(s, "a.csv", wide, 0);

	ck_assert_int_eq(l.st, PD_BUSY);
	ck_assert_int_eq(sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL),
	                 SQLITE_OK);
	sqlite3_close(db);
	pd_findings_free(l.findings);
	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
}
END_TEST

/* ---- sources, findings, coverage ---- */

struct seen {
	size_t n, filled;
	char last[64];
};

static void see_source(void *user, const char *name, const char *sha256,
                       size_t rows)
{
	struct seen *s = user;

	s->n += rows;
	ck_assert_uint_eq(strlen(sha256), 64);
	snprintf(s->last, sizeof s->last, "%s", name);
}

static void see_finding(void *user, const char *source, const char *code,
                        const char *level, size_t line, size_t column,
                        const char *found, const char *expected)
{
	struct seen *s = user;

	(void)column;
	ck_assert_str_eq(source, "gap.csv");
	ck_assert_str_eq(level, "warning");
	ck_assert_uint_eq(line, 3);
	ck_assert(*found && *expected);
	snprintf(s->last, sizeof s->last, "%s", code);
	s->n++;
}

static void see_cover(void *user, const char *field, const char *words,
                      const char *unit, size_t filled, size_t of)
{
	struct seen *s = user;

	ck_assert(*words && unit && filled <= of);
	s->n++;
	if (strcmp(field, "tnc_e6_per_ml") == 0 ||
	    strcmp(field, "volume_ml") == 0)
		s->filled += filled;
}

START_TEST(listings)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	struct seen n = { 0 };
	pd_error err;
	help_load l;

	help_load_clean(s, "wide.csv", wide);
	l = help_try(s, "gap.csv", SHORT "M7,V7,2025-04-17,L,1,1,5,20.1\n"
	             "M7,V7,2025-04-17,L,1,3,5,22.3\n", 0);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	ck_assert_int_eq(pd_store_sources(s, see_source, &n, &err), PD_OK);
	ck_assert_uint_eq(n.n, 6);
	ck_assert_str_eq(n.last, "gap.csv");
	n = (struct seen){ 0 };
	ck_assert_int_eq(pd_store_findings(s, NULL, see_finding, &n, &err),
	                 PD_OK);
	ck_assert_uint_eq(n.n, 1);
	ck_assert_str_eq(n.last, "pull-gap");
	ck_assert_int_eq(pd_store_findings(s, "wide.csv", see_finding, &n,
	                                   &err), PD_OK);
	ck_assert_uint_eq(n.n, 1);
	n = (struct seen){ 0 };
	ck_assert_int_eq(pd_store_coverage(s, see_cover, &n, &err), PD_OK);
	ck_assert_uint_eq(n.n, 43);
	ck_assert_uint_eq(n.filled, 6 + 6);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("store");
	TCase *t = tcase_create("store");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, audit_tampered, 0, 4);
	tcase_add_loop_test(t, rows_changed_elsewhere, 0, 8);
	tcase_add_test(t, ledger);
	tcase_add_loop_test(t, foreign_objects, 0, 6);
	tcase_add_test(t, other_versions);
	tcase_add_test(t, other_files);
	tcase_add_test(t, damaged);
	tcase_add_test(t, mode_is_private);
	tcase_add_test(t, read_only);
	tcase_add_test(t, locked);
	tcase_add_test(t, listings);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
