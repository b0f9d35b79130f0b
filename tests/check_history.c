/*
 * check_history.c - the history read out: what each row of the chain speaks
 * of, every way to break it named by its row, the moment and user left out
 * where a build is to be repeated; and copies that are checked before they
 * get their name.
 */
#include "store_help.h"

#include "data/audit.h"
#include "data/backup.h"
#include "data/history.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>

#define SECOND HEAD ROW("V02", "L", "1", "1", "9.0", "25.0", "10", "12", "11")
#define FIXED HEAD ROW("V02", "L", "1", "1", "9.0", "26.0", "10", "12", "11")

static pd_arena *arena;

static void setup(void)
{
	unsetenv("SOURCE_DATE_EPOCH");
	help_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
	pd_arena_free(arena);
	help_teardown();
}

/* create, load a, load b, supersede, load c, plan, look: seven rows. */
static pd_store *seven(void)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	const pd_look look = { .question = "second-pull",
		               .question_sha256 = "c0ffee00c0ffee00c0ffee00"
		                                  "c0ffee00c0ffee00c0ffee00"
		                                  "c0ffee00c0ffee00",
		               .date = "2026-03-05", .estimate = -0.47,
		               .se = 0.11, .low = -0.69, .high = -0.25,
		               .n_rows = 37, .n_patients = 19 };
	static const char plan[] = "11b90c5b3f1cb1a2f2c7a8e33c3b0a5d"
	                           "11b90c5b3f1cb1a2f2c7a8e33c3b0a5d";
	char first[11];
	unsigned n;
	pd_error err;
	help_load l;

	help_load_clean(s, "a.csv", wide);
	help_load_clean(s, "b.csv", SECOND);
	l = help_try(s, "c.csv", FIXED, 1);
	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_uint_eq(l.report.n_superseded, 1);
	pd_findings_free(l.findings);
	ck_assert_int_eq(pd_store_plan(s, "quarter.plan", plan, "[plan]\n",
	                               "2026-03-05", first, &err), PD_OK);
	ck_assert_int_eq(pd_store_look(s, &look, &n, &err), PD_OK);
	return s;
}

static pd_history read_with(pd_history_request ask)
{
	pd_store *s = help_open(PD_OPEN_INSPECT);
	pd_history h;
	pd_error err = { .text = "" };
	pd_status st = pd_history_read(s, &ask, arena, &h, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	pd_store_close(s);
	return h;
}

START_TEST(told_in_order)
{
	static const struct {
		const char *what, *subject, *words;
	} want[] = {
		{ "create", NULL, "database made, version 3" },
		{ "load", "a.csv", "4 rows: 1 patients, 1 cases, 2 sites, 4 "
		  "aliquots, 4 results new" },
		{ "load", "b.csv", "1 rows: 0 patients, 1 cases" },
		{ "supersede", "c.csv", "replaced 1 rows and filled blanks of "
		  "0; lab correction" },
		{ "load", "c.csv", "1 rows: 0 patients, 0 cases" },
		{ "plan", "quarter.plan", "SHA-256 11b90c5b3f1c..." },
		{ "look", "second-pull", "37 rows of 19 patients; question "
		  "c0ffee00c0ff..." },
	};
	pd_store_counts c;
	pd_error err;
	pd_store *s = seven();

	ck_assert_int_eq(pd_store_count(s, &c, &err), PD_OK);
	pd_store_close(s);
	pd_history h = read_with((pd_history_request){ 0 });

	ck_assert_uint_eq(h.n_rows, 7);
	ck_assert_uint_eq(h.n_shown, 7);
	ck_assert_uint_eq(h.n_broken, 0);
	ck_assert_uint_eq(h.n_gaps, 0);
	for (size_t i = 0; i < 7; i++) {
		const pd_history_row *r = &h.row[i];

		ck_assert_int_eq(r->seq, (long long)i + 1);
		ck_assert_str_eq(r->what, want[i].what);
		if (want[i].subject) {
			const char *end = strrchr(r->subject, '/');

			ck_assert_str_eq(end ? end + 1 : r->subject,
			                 want[i].subject);
		} else {
			ck_assert_ptr_null(r->subject);
		}
		ck_assert_msg(strstr(r->words, want[i].words) == r->words,
		              "%s", r->words);
		ck_assert_int_eq(r->uid, (long long)getuid());
	}
	ck_assert_str_eq(h.head, h.row[6].hash);
	ck_assert_str_eq(h.data_state, h.row[4].hash);
	ck_assert_str_eq(h.data_state, c.audit_head);
	ck_assert_str_eq(h.row[6].at, "2026-03-05");
}
END_TEST

START_TEST(filtered)
{
	pd_store *s = seven();
	pd_history h;

	pd_store_close(s);
	h = read_with((pd_history_request){ .what = "load" });
	ck_assert_uint_eq(h.n_rows, 7);
	ck_assert_uint_eq(h.n_shown, 3);
	h = read_with((pd_history_request){ .since = "2026-03-05",
	                                    .what = "look" });
	ck_assert_uint_eq(h.n_shown, 1);
	ck_assert_uint_eq(h.row[6].shown, 1);
	h = read_with((pd_history_request){ .since = "2026-03-06",
	                                    .what = "look" });
	ck_assert_uint_eq(h.n_shown, 0);
	h = read_with((pd_history_request){ .printed = h.row[3].hash });
	ck_assert_int_eq(h.printed_row, 4);
	h = read_with((pd_history_request){ .printed = pd_audit_first });
	ck_assert_int_eq(h.printed_row, 0);
}
END_TEST

/* ---- broken chains ------------------------------------------------------ */

/* Runs `sql` with the triggers of `table` away, and puts them back. */
static void behind_its_back(const char *sql)
{
	sqlite3 *db = NULL;
	char *why = NULL;

	ck_assert_int_eq(sqlite3_open(help_db, &db), SQLITE_OK);
	ck_assert_int_eq(sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_TRIGGER,
	                                   0, NULL), SQLITE_OK);
	ck_assert_msg(sqlite3_exec(db, sql, NULL, NULL, &why) == SQLITE_OK,
	              "%s: %s", sql, why);
	ck_assert_int_gt(sqlite3_total_changes(db), 0);
	sqlite3_close(db);
}

static const struct {
	const char *sql;
	size_t n_broken;
	int row;            /* the first one, by number */
	const char *words;
} tampers[] = {
	{ "UPDATE audit SET detail = detail || ' ' WHERE seq = 3", 1, 3,
	  "its words give the hash" },
	{ "UPDATE audit SET at = '2026-03-03' WHERE seq = 2", 1, 2,
	  "its words give the hash" },
	{ "UPDATE audit SET uid = uid + 1 WHERE seq = 1", 1, 1,
	  "its words give the hash" },
	{ "UPDATE audit SET what = 'load' WHERE seq = 1", 1, 1,
	  "its words give the hash" },
	{ "UPDATE audit SET hash = previous WHERE seq = 5", 2, 5,
	  "its words give the hash" },
	{ "UPDATE audit SET hash = 'none' WHERE seq = 7", 1, 7,
	  "it carries none" },
	{ "UPDATE audit SET previous = hash WHERE seq = 4", 1, 4,
	  "it follows" },
	{ "DELETE FROM audit WHERE seq = 4", 1, 5, "row 4 should stand here" },
	{ "DELETE FROM audit WHERE seq IN (2, 3)", 1, 4,
	  "row 2 should stand here" },
	{ "DELETE FROM audit WHERE seq = 1", 1, 2, "row 1 should stand here" },
	{ "UPDATE audit SET seq = 9 WHERE seq = 7", 1, 9,
	  "row 7 should stand here" },
};

START_TEST(broken)
{
	pd_store *s = seven();
	pd_history h;
	pd_error err = { 0 };
	size_t first = 0;

	pd_store_close(s);
	behind_its_back(tampers[_i].sql);
	h = read_with((pd_history_request){ 0 });
	ck_assert_uint_eq(h.n_broken, tampers[_i].n_broken);
	while (first < h.n_rows && !h.row[first].broken)
		first++;
	ck_assert_uint_lt(first, h.n_rows);
	ck_assert_int_eq(h.row[first].seq, tampers[_i].row);
	ck_assert_msg(strstr(h.row[first].broken, tampers[_i].words) != NULL,
	              "%s", h.row[first].broken);
	/* nothing else reads or writes it */
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_READ, &s, &err),
	                 PD_BROKEN);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_WRITE, &s, &err),
	                 PD_BROKEN);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_CREATE, &s, &err),
	                 PD_BROKEN);
	ck_assert_int_eq(pd_status_exit(PD_BROKEN), 3);
}
END_TEST

/* A sound chain, and tables that do not hold what it says. */
static const struct {
	const char *sql, *words;
	size_t n;
} gaps[] = {
	{ "DELETE FROM looks", "row 7 speaks of a look", 1 },
	{ "DELETE FROM plans", "row 6 speaks of a plan", 1 },
	{ "UPDATE sources SET sha256 = replace(sha256, substr(sha256, 1, 1), "
	  "'_') WHERE source_id = 2", "row 3 and the database give", 2 },
	{ "UPDATE history SET was = was || ' '", "the rows that row 4 moved",
	  2 },
	{ "DELETE FROM history", "the rows that row 4 moved", 2 },
	{ "INSERT INTO plans (name, sha256, plan, first_date) VALUES ('x', "
	  "'1111111111111111111111111111111111111111111111111111111111111111'"
	  ", '', '2026-01-01')", "a plan, 'x', that the chain", 1 },
	{ "INSERT INTO looks SELECT 9, question, 'feed', data_state, look_date,"
	  " estimate, se, low, high, n_rows, n_patients FROM looks",
	  "a reading, 'second-pull', that the chain", 1 },
	{ "PRAGMA foreign_keys = OFF; UPDATE sources SET source_id = 8 WHERE "
	  "source_id = 2", "row 3 loaded a file that the database no", 3 },
	{ "UPDATE patients SET birth_year = coalesce(birth_year, 1900) + 1 "
	  "WHERE patient_id = 1", "rows of table 'patients'", 1 },
};

START_TEST(emptied)
{
	pd_store *s = seven();
	pd_history h;

	pd_store_close(s);
	behind_its_back(gaps[_i].sql);
	h = read_with((pd_history_request){ 0 });
	ck_assert_uint_eq(h.n_broken, 0);
	ck_assert_uint_eq(h.n_gaps, gaps[_i].n);
	ck_assert_msg(strstr(h.gap[0], gaps[_i].words) != NULL, "%s",
	              h.gap[0]);
}
END_TEST

/* ---- the moment and the user -------------------------------------------- */

START_TEST(repeatable)
{
	pd_store *s;
	pd_error err = { .text = "" };
	char first[65];

	ck_assert_int_eq(setenv("SOURCE_DATE_EPOCH", "1767571200", 1), 0);
	s = help_open(PD_OPEN_CREATE);
	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	pd_history h = read_with((pd_history_request){ 0 });

	ck_assert_str_eq(h.row[0].at, "2026-01-05T00:00:00Z");
	ck_assert_int_eq(h.row[0].uid, PD_AUDIT_NOBODY);
	ck_assert_int_eq(h.row[1].uid, PD_AUDIT_NOBODY);
	snprintf(first, sizeof first, "%s", h.head);
	/* another file, the same chain */
	snprintf(help_db, sizeof help_db, "%s/other.db", help_folder);
	s = help_open(PD_OPEN_CREATE);
	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	h = read_with((pd_history_request){ 0 });
	ck_assert_str_eq(h.head, first);
	/* what is no time is said */
	ck_assert_int_eq(setenv("SOURCE_DATE_EPOCH", "soon", 1), 0);
	snprintf(help_db, sizeof help_db, "%s/third.db", help_folder);
	ck_assert_int_eq(pd_store_open(help_db, PD_OPEN_CREATE, &s, &err),
	                 PD_USAGE);
	ck_assert_ptr_nonnull(strstr(err.text, "'soon'"));
	ck_assert_int_ne(access(help_db, F_OK), 0);
	unsetenv("SOURCE_DATE_EPOCH");
}
END_TEST

START_TEST(dated)
{
	pd_store *s = NULL;
	pd_error err;

	ck_assert_int_eq(pd_store_open_on(help_db, PD_OPEN_CREATE,
	                                  "2026-02-03", &s, &err), PD_OK);
	pd_store_close(s);
	pd_history h = read_with((pd_history_request){ 0 });

	ck_assert_str_eq(h.row[0].at, "2026-02-03");
	ck_assert_int_eq(h.row[0].uid, (long long)getuid());
}
END_TEST

/* ---- copies -------------------------------------------------------------- */

static size_t steps;

static void count_step(void *user, size_t done, size_t of)
{
	(void)user;
	ck_assert_uint_le(done, of);
	steps++;
}

/* Names in the test's folder that begin with "copy". */
static size_t copies(void)
{
	char command[160];
	unsigned n = 99;

	snprintf(command, sizeof command, "ls '%s' | grep -c '^copy'",
	         help_folder);
	FILE *f = popen(command, "r");

	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(fscanf(f, "%u", &n), 1);
	pclose(f);
	return n;
}

START_TEST(copied)
{
	pd_store *s = seven();
	char path[96], sha256[65];
	pd_backup made;
	pd_error err = { .text = "" };
	struct stat at;
	static char bytes[1 << 20];

	snprintf(path, sizeof path, "%s/copy.db", help_folder);
	pd_status st = pd_store_backup(s, path, count_step, NULL, &made, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	ck_assert_uint_gt(steps, 0);
	ck_assert_uint_eq(made.n_audit, 7);
	ck_assert_uint_eq(made.counts.n_sources, 3);
	ck_assert_int_eq(stat(path, &at), 0);
	ck_assert_uint_eq(at.st_mode & 0777, 0600);
	ck_assert_uint_eq((size_t)at.st_size, made.bytes);
	FILE *f = fopen(path, "rb");

	ck_assert_ptr_nonnull(f);
	ck_assert_uint_eq(fread(bytes, 1, sizeof bytes, f), made.bytes);
	fclose(f);
	pd_sha256_hex(bytes, made.bytes, sha256);
	ck_assert_str_eq(sha256, made.sha256);
	ck_assert_uint_eq(copies(), 1); /* and nothing beside it */
	/* never over a file */
	ck_assert_int_eq(pd_store_backup(s, path, NULL, NULL, &made, &err),
	                 PD_CANNOT_CREATE);
	pd_store_close(s);
	/* the copy is a store like any other */
	snprintf(help_db, sizeof help_db, "%s", path);
	s = help_open(PD_OPEN_WRITE);
	help_load_clean(s, "d.csv", HEAD ROW("V03", "L", "1", "1", "9.0",
	                "25.5", "10", "12", "17"));
	pd_store_close(s);
	ck_assert_uint_eq(read_with((pd_history_request){ 0 }).n_broken, 0);
}
END_TEST

/* A copy is of one moment, whoever writes meanwhile. */
START_TEST(copied_beside_a_writer)
{
	pd_store *s = seven(), *reader = NULL;
	char path[96];
	pd_backup made;
	pd_error err = { .text = "" };
	sqlite3 *db = NULL;

	pd_store_close(s);
	ck_assert_int_eq(sqlite3_open(help_db, &db), SQLITE_OK);
	ck_assert_int_eq(sqlite3_exec(db, "BEGIN IMMEDIATE; UPDATE patients "
	                              "SET sex = NULL", NULL, NULL, NULL),
	                 SQLITE_OK);
	reader = help_open(PD_OPEN_READ);
	snprintf(path, sizeof path, "%s/copy.db", help_folder);
	pd_status st = pd_store_backup(reader, path, NULL, NULL, &made, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	ck_assert_int_eq(sqlite3_exec(db, "COMMIT", NULL, NULL, NULL),
	                 SQLITE_OK);
	sqlite3_close(db);
	pd_store_close(reader);
	snprintf(help_db, sizeof help_db, "%s", path);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM patients WHERE sex "
	                             "IS NOT NULL"), 1);
}
END_TEST

START_TEST(not_copied)
{
	pd_store *s = seven();
	char path[96];
	pd_backup made;
	pd_error err = { .text = "" };

	/* no folder */
	snprintf(path, sizeof path, "%s/none/copy.db", help_folder);
	ck_assert_int_eq(pd_store_backup(s, path, NULL, NULL, &made, &err),
	                 PD_CANNOT_CREATE);
	/* a link in its place, even to nothing */
	snprintf(path, sizeof path, "%s/copy.db", help_folder);
	ck_assert_int_eq(symlink("nowhere", path), 0);
	ck_assert_int_eq(pd_store_backup(s, path, NULL, NULL, &made, &err),
	                 PD_CANNOT_CREATE);
	ck_assert_int_eq(unlink(path), 0);
	/* no room: a file may not grow beyond 100 000 bytes */
	struct rlimit before, small = { 100000, 100000 };

	ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &before), 0);
	small.rlim_max = before.rlim_max;
	signal(SIGXFSZ, SIG_IGN);
	ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &small), 0);
	pd_status st = pd_store_backup(s, path, NULL, NULL, &made, &err);

	ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &before), 0);
	ck_assert_msg(st == PD_IO, "%d %s", st, err.text);
	ck_assert_uint_eq(copies(), 0);
	/* a chain broken while it is open */
	behind_its_back("UPDATE audit SET uid = 77 WHERE seq = 2");
	ck_assert_int_eq(pd_store_backup(s, path, NULL, NULL, &made, &err),
	                 PD_BROKEN);
	ck_assert_uint_eq(copies(), 0);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("history");
	TCase *t = tcase_create("history");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, told_in_order);
	tcase_add_test(t, filtered);
	tcase_add_loop_test(t, broken, 0, sizeof tampers / sizeof *tampers);
	tcase_add_loop_test(t, emptied, 0, sizeof gaps / sizeof *gaps);
	tcase_add_test(t, repeatable);
	tcase_add_test(t, dated);
	tcase_add_test(t, copied);
	tcase_add_test(t, copied_beside_a_writer);
	tcase_add_test(t, not_copied);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int run = srunner_ntests_run(r), failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", run - failed, failed);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
