/*
 * check_load.c - what is stored of a file, in rows of draws, results and
 * pools, and which files are refused whole.
 */
#include "store_help.h"

#include "data/audit.h"
#include "data/source.h"
#include "data/vocab.h"

#include <math.h>

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
 * worked by hand: dishes 14, 22, 18 at 5e5 give 36 per 10^6;
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
		  "aliquot_results WHERE site_no = 1 AND aliquot_no = "
		  "1", 1080 },
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
	                            "patient,case,case_date,side,site_no,"
	                            "aliquot_no,"
	                            "volume_ml,viability_pct,cd34_e3_per_ml\n");
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < N; k++)
		n += (size_t)snprintf(csv + n, sizeof csv - n,
		                      "M01,V01,2025-04-17,L,1,%d,4.2,91,"
		                      "%s\n", k + 1,
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
	    "M01,V01,2025-04-17,L,1,1,5.5\nM01,V01,2025-04-17,L,1,2,4.7\nM01,"
	    "V01,2025-04-17,R,2,1,6.2\n"
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

/* A header and no rows is a file like any other. */
START_TEST(no_rows)
{
	pd_store *s = help_open(PD_OPEN_CREATE);
	help_load l = help_try(s, "none.csv", SHORT, 0);

	ck_assert_int_eq(l.st, PD_OK);
	ck_assert_uint_eq(l.report.n_rows, 0);
	pd_findings_free(l.findings);
	pd_store_close(s);
	ck_assert_double_eq(help_ask("SELECT count(*) FROM sources"), 1);
}
END_TEST

/* ---- what is refused ---- */

struct refusal {
	const char *name, *code, *csv;
	uint32_t line;
};

#define DRAW                                                                   \
	"patient,sex,case,case_date,age_y,side,site_no,aliquot_no,volume_ml\n"

static const struct refusal refusals[] = {
	{ "two ages of one case", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,36,L,1,2,"
	       "5\n", 3 },
	{ "two sexes of one patient", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,M,V02,2025-04-17,63,L,1,1,"
	       "5\n", 3 },
	{ "one case of two patients", "case-of-two-patients",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM02,F,V01,2025-04-17,63,L,1,2,"
	       "5\n", 3 },
	{ "the same pull twice", "duplicate-key",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,63,L,1,1,"
	       "5\n", 3 },
	{ "the same pull twice, differently", "rows-disagree",
	  DRAW "M01,F,V01,2025-04-17,63,L,1,1,5\nM01,F,V01,2025-04-17,63,L,1,1,"
	       "7\n", 3 },
	{ "the same result twice", "duplicate-key",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	  "tnc_e6_per_ml\n"
	  "M01,V01,2025-04-17,L,1,1,5,20.1\nM01,V01,2025-04-17,L,1,1,5,"
	  "20.1\n", 3 },
	{ "two results of one sample", "rows-disagree",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	  "tnc_e6_per_ml\n"
	  "M01,V01,2025-04-17,L,1,1,5,20.1\nM01,V01,2025-04-17,L,1,1,5,"
	  "21.2\n", 3 },
	{ "results of an unknown draw", "unknown-draw",
	  "case,side,site_no,aliquot_no,tnc_e6_per_ml\nV77,L,1,1,20.1\n", 2 },
	{ "a pool of unknown draws", "unknown-draw",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,pool,"
	  "tnc_e6_per_ml\nM01,V01,2025-04-17,L,1,1,5,L3,20.1\n", 2 },
	{ "a case after the day of the load", "case-in-future",
	  SHORT "M01,V01,2026-03-04,L,1,1,5,20.1\n"
	        "M02,V02,2026-03-05,L,1,1,5,20.1\n", 3 },
	{ "long rows of more mononuclear than nucleated cells",
	  "mnc-above-tnc",
	  "patient,case,case_date,side,site_no,aliquot_no,volume_ml,outcome,"
	  "value,unit\nM01,V01,2025-04-17,L,1,1,5,mnc,31.3,10^6/mL\n"
	  "M01,V01,2025-04-17,L,1,1,5,tnc,29.7,10^6/mL\n", 3 },
	{ "a number beyond a key", "impossible-value",
	  SHORT "M01,V01,2025-04-17,L,300,1,5,20.1\n", 2 },
};

/* One label of a case for other draws than before. */
START_TEST(pool_changed)
{
	static const char first[] = "case,pool,sample,tnc_e6_per_ml\n"
	                            "V01,L,S7,19.3\n";
	static const char second[] = "case,pool,sample,cd34_e3_per_ml\n"
	                             "V01,L+R,S7,120\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "draws.csv", wide);
	help_load_clean(s, "first.csv", first);
	help_load l = help_try(s, "second.csv", second, 0);

	ck_assert_int_eq(l.st, PD_DATA);
	ck_assert_ptr_nonnull(help_find(&l, "pool-members"));
	pd_findings_free(l.findings);
	pd_store_close(s);
}
END_TEST

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

int main(void)
{
	Suite *suite = suite_create("load");
	TCase *t = tcase_create("load");
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
	tcase_add_test(t, no_rows);
	tcase_add_test(t, pool_changed);
	tcase_add_loop_test(t, refused, 0,
	                    sizeof refusals / sizeof *refusals);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
