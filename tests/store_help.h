/*
 * store_help.h - a small store made from CSV text through the real loader,
 * for the tests of the store and of queries.
 */
#ifndef PERDRAW_TESTS_STORE_HELP_H
#define PERDRAW_TESTS_STORE_HELP_H

#include "data/load.h"
#include "data/store.h"

#include <check.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char help_folder[64];
static char help_db[96];

static inline void help_setup(void)
{
	snprintf(help_folder, sizeof help_folder, "/tmp/perdraw-XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(help_folder));
	snprintf(help_db, sizeof help_db, "%s/clinic.db", help_folder);
}

static inline void help_teardown(void)
{
	char command[128];

	snprintf(command, sizeof command, "rm -rf '%s'", help_folder);
	ck_assert_int_eq(system(command), 0);
}

/* Text into a file of the test's folder; its path, good until the next. */
static inline const char *help_file(const char *name, const char *text)
{
	static char path[160];
	FILE *f;

	snprintf(path, sizeof path, "%s/%s", help_folder, name);
	f = fopen(path, "w");
	ck_assert_ptr_nonnull(f);
	fputs(text, f);
	ck_assert_int_eq(fclose(f), 0);
	return path;
}

static inline pd_store *help_open(pd_open_mode mode)
{
	pd_store *s = NULL;
	pd_error err = { .text = "" };
	pd_status st = pd_store_open(help_db, mode, &s, &err);

	ck_assert_msg(st == PD_OK, "open: %s", err.text);
	return s;
}

/* What a load came to. */
typedef struct help_load {
	pd_status st;
	pd_error err;
	pd_load_report report;
	pd_findings *findings;
} help_load;

static inline help_load help_try(pd_store *s, const char *name,
                                 const char *csv, int supersede)
{
	help_load l = { .findings = pd_findings_new() };
	pd_load_request r = { .path = help_file(name, csv),
		              .date = "2026-03-04",
		              .reason = supersede ? "lab correction" : NULL,
		              .supersede = supersede };

	l.st = pd_load_file(s, &r, l.findings, &l.report, &l.err);
	if (getenv("PERDRAW_TEST_TALK"))
		for (size_t i = 0; i < pd_findings_stored(l.findings); i++)
			printf("%s: %s\n", pd_findings_at(l.findings, i)->code,
			       pd_findings_at(l.findings, i)->found);
	return l;
}

static inline const pd_finding *help_find(const help_load *l, const char *code)
{
	for (size_t i = 0; i < pd_findings_stored(l->findings); i++)
		if (strcmp(pd_findings_at(l->findings, i)->code, code) == 0)
			return pd_findings_at(l->findings, i);
	return NULL;
}

static inline void help_print(const help_load *l)
{
	for (size_t i = 0; i < pd_findings_stored(l->findings); i++) {
		const pd_finding *f = pd_findings_at(l->findings, i);

		printf("%u:%u: %s: %s; expected %s\n", f->line, f->column,
		       f->code, f->found, f->expected);
	}
}

/* Load that must go well, without a warning or error. */
static inline pd_load_report help_load_clean(pd_store *s, const char *name,
                                             const char *csv)
{
	help_load l = help_try(s, name, csv, 0);

	if (l.st != PD_OK || pd_findings_count(l.findings, PD_WARNING))
		help_print(&l);
	ck_assert_msg(l.st == PD_OK, "load: %s", l.err.text);
	ck_assert_uint_eq(pd_findings_count(l.findings, PD_WARNING), 0);
	pd_findings_free(l.findings);
	return l.report;
}

/* One number out of the file, through a connection of the test's own. */
static inline double help_ask(const char *sql)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *q = NULL;
	double x;

	ck_assert_int_eq(sqlite3_open(help_db, &db), SQLITE_OK);
	ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &q, NULL) == SQLITE_OK,
	              "%s: %s", sql, sqlite3_errmsg(db));
	ck_assert_msg(sqlite3_step(q) == SQLITE_ROW, "%s: no row", sql);
	x = sqlite3_column_type(q, 0) == SQLITE_NULL ? 0.0 / 0.0 :
	    sqlite3_column_double(q, 0);
	sqlite3_finalize(q);
	sqlite3_close(db);
	return x;
}

/* The library's code of running `sql` from outside. */
static inline int help_run(const char *sql)
{
	sqlite3 *db = NULL;
	int rc;

	ck_assert_int_eq(sqlite3_open(help_db, &db), SQLITE_OK);
	rc = sqlite3_exec(db, sql, NULL, NULL, NULL);
	sqlite3_close(db);
	return rc;
}

/* Parents, CHECKs and indices as the library itself sees them. */
static inline void help_check_database(void)
{
	ck_assert_double_eq(help_ask("SELECT count(*) FROM "
	                             "pragma_foreign_key_check"), 0);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM "
	                             "pragma_integrity_check WHERE "
	                             "integrity_check <> 'ok'"), 0);
}

/* A wide file of one case: four pulls with their results. */
#define HEAD                                                                   \
	"patient,sex,birth_year,case,case_date,age_y,operator,side,site_no,"   \
	"landmark,needle_gauge,aliquot_no,volume_ml,syringe_ml,"               \
	"anticoagulant_ml,method_version,tnc_e6_per_ml,viability_pct,"         \
	"cells_plated,dish_1,dish_2,dish_3\n"
#define ROW(case_, side, site, pull, ml, tnc, d1, d2, d3)                      \
	"M01,female,1961," case_ ",2025-04-17,63.4,T2," side "," site          \
	",PSIS,11," pull "," ml ",10,1.0,lab v1," tnc ",93.1,500000," d1 ","   \
	d2 "," d3 "\n"

static const char wide[] __attribute__((unused)) = HEAD
    ROW("V01", "L", "1", "1", "9.0", "35.0", "14", "22", "18")
    ROW("V01", "L", "1", "2", "8.5", "27.3", "11", "9", "13")
    ROW("V01", "R", "2", "1", "7.9", "31.7", "0", "0", "0")
    ROW("V01", "R", "2", "2", "6.1", "<2", "TNTC", ">150", "failed");

/* The keys of a draw, and a file of only those and TNC. */
#define KEYS "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
#define SHORT KEYS "tnc_e6_per_ml\n"

#endif
