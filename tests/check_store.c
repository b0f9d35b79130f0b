/*
 * check_store.c - the store and the loader: what is stored of a file, what
 * is refused, what happens when a file is loaded again, corrected, changed
 * behind the program's back, or when the program dies in the middle.
 */
#include "store_help.h"

#include "data/audit.h"
#include "data/blood.h"
#include "data/source.h"
#include "data/vocab.h"

#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#define HEAD                                                                   \
	"patient,sex,birth_year,case,case_date,age_y,operator,side,site_no,"   \
	"landmark,needle_gauge,aliquot_no,volume_ml,syringe_ml,"               \
	"anticoagulant_ml,method_version,tnc_e6_per_ml,viability_pct,"         \
	"cells_plated,dish_1,dish_2,dish_3\n"
#define ROW(case_, side, site, pull, ml, tnc, d1, d2, d3)                      \
	"M01,female,1961," case_ ",2025-04-17,63.4,T2," side "," site          \
	",PSIS,11," pull "," ml ",10,1.0,lab v1," tnc ",93.1,500000," d1 ","   \
	d2 "," d3 "\n"

static const char wide[] = HEAD
    ROW("V01", "L", "1", "1", "9.0", "35.0", "14", "22", "18")
    ROW("V01", "L", "1", "2", "8.5", "27.3", "11", "9", "13")
    ROW("V01", "R", "2", "1", "7.9", "31.7", "0", "0", "0")
    ROW("V01", "R", "2", "2", "6.1", "<2", "TNTC", ">150", "failed");

/* ---- what is stored ---- */

START_TEST(wide_file)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_load_report r = help_load_clean(s, "wide.csv", wide);

	ck_assert_uint_eq(r.n_rows, 4);
	ck_assert_uint_eq(r.n_accepted, 4);
	ck_assert_uint_eq(r.n_patients, 1);
	ck_assert_uint_eq(r.n_cases, 1);
	ck_assert_uint_eq(r.n_sites, 2);
	ck_assert_uint_eq(r.n_aliquots, 4);
	ck_assert_uint_eq(r.n_results, 4);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT count(*) FROM draws"), 4);
	ck_assert_double_eq(help_ask("SELECT line FROM draws WHERE "
	                             "site_no = 2 AND aliquot_no = 1"), 4);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM draws WHERE "
	                             "sex = 'female' AND landmark = "
	                             "'posterior iliac crest' AND operator = "
	                             "'T2' AND case_date = '2025-04-17' AND "
	                             "needle_gauge = 11"), 4);
}
END_TEST

/*
 * domain.md 1.5, 1.6, section 8: dishes 14, 22, 18 at 5e5 give 36 per 10^6;
 * at TNC 30 1080 per mL; 35.0 with 9 + 1 mL is 38.888889 undiluted.
 */
START_TEST(derived_values)
{
	static const struct {
		const char *sql;
		double value;
	} row[] = {
		{ "SELECT cfu_f_per_e6 FROM aliquot_results WHERE site_no = 1 "
		  "AND aliquot_no = 1", 36 },
		{ "SELECT tnc_e6_per_ml FROM aliquot_results WHERE site_no = 1 "
		  "AND aliquot_no = 1", 38.888888888888889 },
		{ "SELECT tnc_e6 FROM aliquot_results WHERE site_no = 1 "
		  "AND aliquot_no = 1", 350 },
		{ "SELECT cfu_f_per_ml * 30 / 35 / undiluting FROM "
		  "aliquot_results WHERE site_no = 1 AND aliquot_no = 1", 1080 },
		{ "SELECT cfu_f_per_ml * 30 / 35 * volume_ml / undiluting "
		  "* 10 / 9 FROM aliquot_results WHERE site_no = 1 AND "
		  "aliquot_no = 1", 10800 },
		{ "SELECT colonies FROM aliquot_results WHERE site_no = 2 AND "
		  "aliquot_no = 1", 0 },
		{ "SELECT site_ml FROM site_results WHERE site_no = 1", 17.5 },
		{ "SELECT tnc_e6 FROM site_results WHERE site_no = 1",
		  35.0 * 10 + 27.3 * 9.5 },
		{ "SELECT total_ml FROM case_results", 31.5 },
	};
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "wide.csv", wide);
	pd_store_close(s);
	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		ck_assert_double_eq_tol(help_ask(row[i].sql), row[i].value,
		                        1e-9 * (1 + row[i].value));
	/* a non-detect has no number, nor what would follow from it */
	ck_assert(isnan(help_ask("SELECT tnc_e6_per_ml FROM aliquot_results "
	                         "WHERE site_no = 2 AND aliquot_no = 2")));
	ck_assert(isnan(help_ask("SELECT tnc_e6 FROM case_results")));
}
END_TEST

/* Seven different things stay different. */
START_TEST(states)
{
	static const struct {
		const char *cell;
		double value; /* NaN: NULL */
		int state;
	} row[] = {
		{ "12.5", 12.5, 0 }, { "<2", 2, 1 }, { ">150", 150, 2 },
		{ "TNTC", NAN, 3 }, { "failed", NAN, 4 },
		{ "not ordered", NAN, 5 }, { "ND", NAN, 6 }, { "", NAN, 0 },
		{ "0", 0, 0 },
	};
	enum { N = sizeof row / sizeof *row };
	char csv[2000], sql[200];
	size_t n = (size_t)snprintf(csv, sizeof csv,
	                            "patient,case,case_date,side,site_no,aliquot_no,"
	                            "volume_ml,viability_pct,cd34_e3_per_ml\n");
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < N; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M01,V01,2025-04-17,L,1,%d,4.2,91,%s\n", k + 1,
		                      row[k].cell);
	help_load l = help_try(s, "states.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_store_close(s);
	for (int k = 0; k < N; k++) {
		snprintf(sql, sizeof sql, "SELECT cd34 FROM results WHERE "
		         "sample_id & 255 = %d", k + 1);
		double x = help_ask(sql);

		ck_assert(isnan(row[k].value) ? isnan(x) : x == row[k].value);
		snprintf(sql, sizeof sql, "SELECT cd34_state FROM results "
		         "WHERE sample_id & 255 = %d", k + 1);
		ck_assert_double_eq(help_ask(sql), row[k].state);
	}
}
END_TEST

/* The words of sql/words.sql are those of the vocabulary, in its order. */
START_TEST(words_agree)
{
	static const pd_field field[] = {
		PD_F_SEX, PD_F_SIDE, PD_F_LANDMARK, PD_F_GEOMETRY, PD_F_MOVE,
		PD_F_ANTICOAGULANT, PD_F_PULL_STYLE, PD_F_ADVERSE,
		PD_F_MATERIAL,
	};
	pd_store *s = help_open(PD_OPEN_CREATE);
	char sql[300];

	pd_store_close(s);
	for (size_t i = 0; i < sizeof field / sizeof *field; i++) {
		const char *const *words = pd_vocab_words(field[i]);
		const char *name = pd_field_about(field[i])->header;
		int n = 0;

		for (; words[n]; n++) {
			snprintf(sql, sizeof sql, "SELECT count(*) FROM words "
			         "WHERE field = '%s' AND code = %d AND word = "
			         "'%s'", name, n, words[n]);
			ck_assert_msg(help_ask(sql) == 1, "%s %s", name,
			              words[n]);
		}
		snprintf(sql, sizeof sql, "SELECT count(*) FROM words WHERE "
		         "field = '%s'", name);
		ck_assert_double_eq(help_ask(sql), n);
	}
}
END_TEST

START_TEST(bytes_are_kept)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_load_report r = help_load_clean(s, "wide.csv", wide);
	pd_buf b;
	pd_error err;
	char hash[65];

	pd_buf_init(&b);
	ck_assert_int_eq(pd_source_bytes(s, r.sha256, &b, &err), PD_OK);
	ck_assert_uint_eq(b.length, strlen(wide));
	ck_assert_int_eq(memcmp(b.data, wide, b.length), 0);
	pd_sha256_hex(b.data, b.length, hash);
	ck_assert_str_eq(hash, r.sha256);
	pd_buf_clear(&b);
	ck_assert_int_eq(pd_source_bytes(s, "none", &b, &err), PD_DATA);
	pd_store_close(s);
}
END_TEST

/* One outcome a row gives the same assay as one wide row. */
START_TEST(long_file)
{
	static const char draws[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml\n"
	    "M01,V01,2025-04-17,L,1,1,5.5\nM01,V01,2025-04-17,L,1,2,4.7\n";
	static const char results[] =
	    "case,side,site_no,aliquot_no,method_version,outcome,value,unit\n"
	    "V01,L,1,1,lab v1,tnc,21.7,10*6/mL\n"
	    "V01,L,1,2,lab v1,tnc,18.9,10*6/mL\n"
	    "V01,L,1,1,lab v1,viability,92.5,%\n"
	    "V01,L,1,1,lab v2,tnc,24.1,10*3/uL\n"
	    "V01,L,1,2,lab v1,viability,failed,%\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "draws.csv", draws);
	pd_load_report r = help_load_clean(s, "results.csv", results);

	ck_assert_uint_eq(r.n_rows, 5);
	ck_assert_uint_eq(r.n_aliquots, 0);
	ck_assert_uint_eq(r.n_results, 3);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT tnc * 1000 + viability FROM "
	                             "results WHERE sample_id & 255 = 1 AND "
	                             "method_version = 'lab v1'"), 21792.5);
	ck_assert_double_eq(help_ask("SELECT viability_state FROM results "
	                             "WHERE sample_id & 255 = 2"), PD_FAILED);
	ck_assert_double_eq(help_ask("SELECT tnc FROM results WHERE "
	                             "method_version = 'lab v2'"), 24.1);
}
END_TEST

/* A lab's file that knows samples only by its own labels. */
START_TEST(labels)
{
	static const char draws[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml,sample\n"
	    "M01,V01,2025-04-17,L,1,1,5.5,B-17\n"
	    "M01,V01,2025-04-17,L,1,2,4.7,B-18\n"
	    "M02,V02,2025-04-19,L,1,1,6.1,B-18\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "draws.csv", draws);
	pd_load_report r = help_load_clean(s, "lab.csv",
	                                   "sample,tnc_e6_per_ml\n"
	                                   "B-17,23.9\n");

	ck_assert_uint_eq(r.n_results, 1);
	help_load_clean(s, "lab2.csv", "case,sample,tnc_e6_per_ml\n"
	                "V02,B-18,17.3\n");
	help_load l = help_try(s, "lab3.csv", "sample,tnc_e6_per_ml\n"
	                       "B-18,16.1\nB-99,14.2\n", 0);

	ck_assert_int_eq(l.st, PD_DATA);
	ck_assert_ptr_nonnull(help_find(&l, "sample-of-two-draws"));
	ck_assert_ptr_nonnull(help_find(&l, "unknown-draw"));
	pd_findings_free(l.findings);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT tnc_e6_per_ml FROM "
	                             "aliquot_results WHERE patient = 'M02'"),
	                    17.3);
	ck_assert_double_eq(help_ask("SELECT aliquot_no FROM aliquot_results "
	                             "WHERE patient = 'M01'"), 1);
}
END_TEST

START_TEST(pools)
{
	static const char draws[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml\n"
	    "M01,V01,2025-04-17,L,1,1,5.5\nM01,V01,2025-04-17,L,1,2,4.7\nM01,V01,2025-04-17,R,2,1,6.2\n"
	    "M02,V02,2025-04-17,L,1,1,3.3\n";
	static const char results[] =
	    "case,pool,sample,material,tnc_e6_per_ml\n"
	    "V01,L1.1,,aspirate,21.7\n"       /* one draw: that draw   */
	    "V01,L,S7,aspirate,19.3\n"
	    "V01,L1.2+R2,S8,aspirate,17.9\n"
	    "V01,case,,concentrate,88.1\n"
	    "V02,case,,aspirate,14.2\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "draws.csv", draws);
	pd_load_report r = help_load_clean(s, "pools.csv", results);

	ck_assert_uint_eq(r.n_results, 5);
	pd_store_close(s);
	help_check_database();
	ck_assert_double_eq(help_ask("SELECT count(*) FROM pool_samples"), 3);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM aliquot_results"),
	                    2);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM pool_aliquots a "
	                             "JOIN pool_samples p ON p.sample_id = "
	                             "a.sample_id WHERE p.label = 'S8'"), 2);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM pool_aliquots a "
	                             "JOIN pool_samples p ON p.sample_id = "
	                             "a.sample_id WHERE p.label = 'case'"), 3);
}
END_TEST

/* ---- what is refused ---- */

struct refusal {
	const char *name, *code, *csv;
	uint32_t line;
};

#define DRAW "patient,sex,case,case_date,age_y,side,site_no,aliquot_no,volume_ml\n"

static const struct refusal refusals[] = {
	{ "two ages of one case", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,36,L,1,2,5\n", 3 },
	{ "two sexes of one patient", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,M,V02,2025-04-17,63,L,1,1,5\n", 3 },
	{ "one case of two patients", "case-of-two-patients",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM02,F,V01,2025-04-17,63,L,1,2,5\n", 3 },
	{ "the same pull twice", "duplicate-key",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,63,L,1,1,5\n", 3 },
	{ "the same pull twice, differently", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,63,L,1,1,7\n", 3 },
	{ "the same result twice", "duplicate-key",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"
	  "M01,V01,2025-04-17,L,1,1,5,20.1\nM01,V01,2025-04-17,L,1,1,5,20.1\n", 3 },
	{ "two results of one sample", "rows-disagree",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"
	  "M01,V01,2025-04-17,L,1,1,5,20.1\nM01,V01,2025-04-17,L,1,1,5,21.2\n", 3 },
	{ "results of an unknown draw", "unknown-draw",
	  "case,side,site_no,aliquot_no,tnc_e6_per_ml\nV77,L,1,1,20.1\n", 2 },
	{ "a pool of unknown draws", "unknown-draw",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,pool,"
	  "tnc_e6_per_ml\nM01,V01,2025-04-17,L,1,1,5,L3,20.1\n", 2 },
};

START_TEST(refused)
{
	const struct refusal *r = &refusals[_i];
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "bad.csv", r->csv, 0);
	const pd_finding *f = help_find(&l, r->code);
	pd_store_counts n;

	if (!f)
		help_print(&l);
	ck_assert_msg(l.st == PD_DATA, "%s: not refused", r->name);
	ck_assert_msg(f != NULL, "%s: no %s", r->name, r->code);
	ck_assert_msg(f->level == PD_ERROR && f->line == r->line &&
	              f->column > 0, "%s: at %u:%u", r->name, f->line,
	              f->column);
	ck_assert_uint_eq(l.report.n_accepted, 0);
	ck_assert_int_eq(pd_store_count(s, &n, &l.err), PD_OK);
	ck_assert_uint_eq(n.n_patients + n.n_cases + n.n_aliquots +
	                  n.n_results + n.n_sources, 0);
	pd_findings_free(l.findings);
	/* and the store still takes a good file */
	help_load_clean(s, "wide.csv", wide);
	pd_store_close(s);
	help_check_database();
}
END_TEST

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

#define SHORT "patient,case,case_date,side,site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"

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
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,3,5,22.3\n", "pull-gap", 3,
	        true);
	noticed("no gap", SHORT "M1,V1,2025-04-17,L,1,2,5,20.1\nM1,V1,2025-04-17,L,1,1,5,22.3\n",
	        "pull-gap", 0, false);
	noticed("third site without the second",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,3,1,5,22.3\n", "site-gap", 3,
	        true);
	noticed("one value for all pulls",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,2,6,20.1\nM1,V1,2025-04-17,L,2,1,4,20.1\n",
	        "pool-copied-down", 2, true);
	noticed("pulls that differ",
	        SHORT "M1,V1,2025-04-17,L,1,1,5,20.1\nM1,V1,2025-04-17,L,1,2,6,20.2\nM1,V1,2025-04-17,L,2,1,4,20.1\n",
	        "pool-copied-down", 0, false);
	noticed("values that end in 0 and 5",
	        many(SHORT, 60, "M%d,V%d,2025-04-17,L,1,%d,5,%.0f\n", 10, 5),
	        "digit-preference", 0, true);
	noticed("values that end in anything",
	        many(SHORT, 60, "M%d,V%d,2025-04-17,L,1,%d,5,%.1f\n", 10, 0.7),
	        "digit-preference", 0, false);
}
END_TEST

/* A litre and a half from one case, in sites of four pulls. */
START_TEST(case_volume)
{
	char csv[4000];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,side,site_no,"
	                            "aliquot_no,volume_ml,syringe_ml\n");

	for (int k = 0; k < 40; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M1,V1,2025-04-17,L,%d,%d,40,50\n", k / 4 + 1,
		                      k % 4 + 1);
	noticed("1600 mL", csv, "case-volume", 2, true);
}
END_TEST

/* Against what the clinic has measured before. */
START_TEST(unit_slips)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "a.csv", many("patient,case,case_date,side,site_no,"
	    "aliquot_no,volume_ml,cd34_e3_per_ml\n", 60,
	    "M%d,V%d,2025-04-17,L,1,%d,5,%.1f\n", 90, 1.3), 0);

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_null(help_find(&l, "unit-slip"));
	pd_findings_free(l.findings);
	/* one value a thousand times too small, one fine */
	l = help_try(s, "b.csv", "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	             "cd34_e3_per_ml\nM90,V90,2025-04-17,L,1,1,5,0.127\n"
	             "M90,V90,2025-04-17,L,1,2,5,131\n", 0);
	const pd_finding *f = help_find(&l, "unit-slip");

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_ptr_nonnull(f);
	ck_assert_uint_eq(f->line, 2);
	ck_assert_uint_eq(f->column, 28);
	pd_findings_free(l.findings);
	/* a whole file in another unit */
	char *csv = many("patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	                 "cd34_e3_per_ml\n", 60, "N%d,W%d,2025-04-17,L,1,%d,5,%.4f\n",
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

START_TEST(method_medians)
{
	char csv[8000];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,side,site_no,"
	                            "aliquot_no,volume_ml,method_version,"
	                            "tnc_e6_per_ml\n");
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < 60; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M%d,V%d,2025-04-17,L,1,%d,5,lab v%d,%.1f\n",
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
	    "patient,sex,case,case_date,side,site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"
	    "M01,,V01,2025-04-17,L,1,1,5.5,\n";
	static const char second[] =
	    "patient,sex,case,case_date,side,site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"
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
	s = help_open(PD_OPEN_READ);
	ck_assert_int_eq(pd_store_audit_verify(s, &err), PD_DATA);
	ck_assert_msg(strstr(err.text, row[_i].words) != NULL, "%s", err.text);
	pd_store_close(s);
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
		"CREATE TRIGGER extra AFTER INSERT ON assays BEGIN "
		"UPDATE assays SET tnc = 1; END",
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
	ck_assert_int_eq(help_run("PRAGMA user_version = 2"), SQLITE_OK);
	refuse_open(PD_OPEN_READ, PD_DATA, "version 2");
	ck_assert_int_eq(help_run("PRAGMA user_version = 1; "
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

START_TEST(read_only)
{
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "a.csv", wide);
	pd_store_close(s);
	ck_assert_int_eq(chmod(help_db, 0444), 0);
	ck_assert_int_eq(chmod(help_folder, 0555), 0);
	as_nobody(only_read);
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
		fprintf(f, "M%05d,V%05d,2025-04-17,L,%d,%d,%d.%d,%d.%d\n", k / 12, k / 12,
		        k % 12 / 2 + 1, k % 2 + 1, 3 + k % 5, k % 10,
		        15 + k % 23, k % 9 + 1);
	ck_assert_int_eq(fclose(f), 0);
	return path;
}

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

/* One load killed after `us` microseconds; true when it had ended before. */
static bool killed_after(const char *path, long us)
{
	int status;
	pid_t child = fork();
	struct timespec wait = { 0, us * 1000 };

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

	pd_store_close(help_open(PD_OPEN_CREATE));
	for (int k = 0; k < 20; k++) {
		pd_store_counts n;
		pd_error err;

		killed_after(path, 2000 + 9000L * k);
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

/* ---- blood ---- */

/* domain.md 1.6: RBC marrow, RBC blood, WBC blood, TNC; v, f, marrow cells */
static const struct {
	double rbc_m, rbc_b, wbc_b, tnc, v, f, cells;
} blood[] = {
	{ 4.0, 4.5, 6.0, 30.0, 0.8889, 0.17778, 24.667 },
	{ 4.3, 4.6, 7.0, 12.0, 0.9348, 0.54529, 5.457 },
	{ 3.2, 4.8, 6.0, 40.0, 0.6667, 0.10000, 36.000 },
};

START_TEST(blood_admixture)
{
	char csv[1000], sql[200];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,"
	                            "blood_wbc_e9_per_l,blood_rbc_e12_per_l,"
	                            "side,site_no,aliquot_no,volume_ml,"
	                            "tnc_e6_per_ml,rbc_e12_per_l\n");
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < 3; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M%d,V%d,2025-04-17,%.1f,%.1f,L,1,1,5,%.1f,%.1f\n", k,
		                      k, blood[k].wbc_b, blood[k].rbc_b,
		                      blood[k].tnc, blood[k].rbc_m);
	snprintf(csv + n, sizeof csv - n, "M9,V9,2025-04-17,,,L,1,1,5,20,4\n");
	help_load l = help_try(s, "blood.csv", csv, 0);

	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_store_close(s);
	for (int k = 0; k < 3; k++) {
		double m = blood[k].rbc_m, b = blood[k].rbc_b,
		       w = blood[k].wbc_b, t = blood[k].tnc;

		ck_assert_double_eq_tol(pd_blood_volume_fraction(m, b),
		                        blood[k].v, 5e-5);
		ck_assert_double_eq_tol(pd_blood_cell_fraction(m, b, w, t),
		                        blood[k].f, 5e-6);
		ck_assert_double_eq_tol(pd_blood_marrow_cells(m, b, w, t),
		                        blood[k].cells, 5e-4);
		snprintf(sql, sizeof sql, "SELECT blood_volume_fraction FROM "
		         "aliquot_results WHERE patient = 'M%d'", k);
		ck_assert_double_eq_tol(help_ask(sql),
		                        pd_blood_volume_fraction(m, b), 1e-12);
		snprintf(sql, sizeof sql, "SELECT blood_cell_fraction FROM "
		         "aliquot_results WHERE patient = 'M%d'", k);
		ck_assert_double_eq_tol(help_ask(sql),
		                        pd_blood_cell_fraction(m, b, w, t),
		                        1e-12);
	}
	/* never a default blood count */
	ck_assert(isnan(help_ask("SELECT blood_cell_fraction FROM "
	                         "aliquot_results WHERE patient = 'M9'")));
	ck_assert(isnan(pd_blood_volume_fraction(4.1, 0)));
	ck_assert_double_eq_tol(pd_undiluted(35.0, 9, 1), 38.888888889, 1e-8);
	ck_assert_double_eq(pd_undiluted(35.0, 9, NAN), 35.0);
}
END_TEST

/* Rows of the reference folder for method 'blood dilution', through views:
 * its holdrinet.csv gives the inputs, its checks.csv the values. */
START_TEST(blood_reference)
{
	const char *folder = getenv("PERDRAW_REFERENCE");
	char path[300], line[4096], csv[2000], sql[400];
	size_t n = (size_t)snprintf(csv, sizeof csv, "patient,case,case_date,"
	                            "blood_wbc_e9_per_l,blood_rbc_e12_per_l,"
	                            "side,site_no,aliquot_no,volume_ml,"
	                            "tnc_e6_per_ml,rbc_e12_per_l\n");
	int n_passed = 0;

	if (!folder)
		folder = "../shared/reference";
	snprintf(path, sizeof path, "%s/holdrinet.csv", folder);
	FILE *f = fopen(path, "r");

	if (!f) {
		printf("NOT RUN: blood_reference, no %s\n", path);
		return;
	}
	ck_assert_ptr_nonnull(fgets(line, sizeof line, f));
	while (fgets(line, sizeof line, f)) {
		char who[20];
		double m, b, t, w;

		ck_assert_int_eq(sscanf(line, "%19[^,],%lf,%lf,%lf,%lf", who,
		                        &m, &b, &t, &w), 5);
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "%s,%s,2025-04-17,%.10g,%.10g,L,1,1,5,%.10g,%.10g\n",
		                      who, who, w, b, t, m);
	}
	fclose(f);
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "holdrinet.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	pd_store_close(s);
	snprintf(path, sizeof path, "%s/checks.csv", folder);
	f = fopen(path, "r");
	ck_assert_ptr_nonnull(f);
	while (fgets(line, sizeof line, f)) {
		static const char *const what[][2] = {
			{ "blood_fraction", "blood_volume_fraction" },
			{ "blood_leucocytes", "blood_cell_fraction * "
			  "tnc_e6_per_ml" },
			{ "marrow_nucleated", "(1 - blood_cell_fraction) * "
			  "tnc_e6_per_ml" },
			{ "purity", "1 - blood_cell_fraction" },
		};
		const char *is = strstr(line, "clamp rules not applied,");
		char who[8] = "", quantity[40];
		double value;

		if (!strstr(line, ",blood dilution,") || !is)
			continue;
		ck_assert_int_eq(sscanf(line, "holdrinet_%7[^_]", who), 1);
		ck_assert_int_eq(sscanf(is + 24, "%39[^,],%lf", quantity,
		                        &value), 2);
		for (int k = 0; k < 4; k++) {
			if (strcmp(what[k][0], quantity) != 0)
				continue;
			snprintf(sql, sizeof sql, "SELECT %s FROM "
			         "aliquot_results WHERE patient = '%s'",
			         what[k][1], who);
			ck_assert_double_eq_tol(help_ask(sql), value,
			                        1e-12 * fabs(value));
			n_passed++;
		}
	}
	fclose(f);
	ck_assert_int_eq(n_passed, 20);
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
	tcase_add_test(t, wide_file);
	tcase_add_test(t, derived_values);
	tcase_add_test(t, states);
	tcase_add_test(t, words_agree);
	tcase_add_test(t, bytes_are_kept);
	tcase_add_test(t, long_file);
	tcase_add_test(t, labels);
	tcase_add_test(t, pools);
	tcase_add_loop_test(t, refused, 0,
	                    sizeof refusals / sizeof *refusals);
	tcase_add_test(t, unit_slips);
	tcase_add_test(t, method_medians);
	tcase_add_test(t, again);
	tcase_add_test(t, rows_again);
	tcase_add_test(t, corrected);
	tcase_add_test(t, corrected_long);
	tcase_add_test(t, blanks_filled);
	tcase_add_test(t, dry_run);
	tcase_add_test(t, shuffled);
	tcase_add_loop_test(t, audit_tampered, 0, 4);
	tcase_add_test(t, ledger);
	tcase_add_loop_test(t, foreign_objects, 0, 6);
	tcase_add_test(t, other_versions);
	tcase_add_test(t, other_files);
	tcase_add_test(t, damaged);
	tcase_add_test(t, mode_is_private);
	tcase_add_test(t, read_only);
	tcase_add_test(t, locked);
	tcase_add_test(t, killed);
	tcase_add_test(t, blood_admixture);
	tcase_add_test(t, blood_reference);
	tcase_add_test(t, listings);
	suite_add_tcase(suite, t);

	TCase *own = tcase_create("rules"); /* makes its own folders */

	tcase_set_timeout(own, 120);
	tcase_add_test(own, rules_over_rows);
	tcase_add_test(own, case_volume);
	suite_add_tcase(suite, own);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
