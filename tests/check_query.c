/*
 * check_query.c - frames out of a small store: what each state of a result
 * becomes, units that are covered once and those that are not, the columns at
 * each grain, and agreement with the views of the database.
 */
#include "store_help.h"

#include "data/query.h"

#include <math.h>

static pd_frame *ask(pd_store *s, const char *outcome, const char *judge,
                     pd_grain grain, pd_query_flow *flow)
{
	static const char *const columns[] = {
		"sex", "age_y", "operator", "case_date", "date", "quarter",
		"repeat_case", "n_sites", "total_ml", "method_version",
		"side_word", "site_no", "landmark", "needle_gauge",
		"site_in_side", "ml_before_side", "site_ml", "n_aliquots",
		"aliquot_no", "volume_ml", "syringe_ml", "move",
	};
	pd_query_request r = { outcome, judge, grain, NULL, columns,
		               sizeof columns / sizeof *columns };
	pd_frame *f = NULL;
	pd_error err = { .text = "" };
	pd_status st = pd_query_frame(s, &r, &f, flow, &err);

	ck_assert_msg(st == PD_OK, "%s", err.text);
	return f;
}

static double real(const pd_frame *f, const char *name, size_t i)
{
	const pd_column *c = pd_frame_find(f, name);

	ck_assert_msg(c && c->kind == PD_REAL, "no real column %s", name);
	ck_assert_uint_lt(i, pd_frame_rows(f));
	return c->real[i];
}

static const char *word(const pd_frame *f, const char *name, size_t i)
{
	const pd_column *c = pd_frame_find(f, name);

	ck_assert_msg(c && c->kind == PD_FACTOR, "no factor %s", name);
	ck_assert_uint_lt(i, pd_frame_rows(f));
	return c->code[i] < 0 ? "" : c->level[c->code[i]];
}

#define HEAD                                                                   \
	"patient,sex,birth_year,case,case_date,operator,side,site_no,"         \
	"landmark,needle_gauge,aliquot_no,volume_ml,syringe_ml,move,"          \
	"anticoagulant_ml,method_version,tnc_e6_per_ml,viability_pct,"         \
	"cells_plated,dish_1,dish_2,dish_3\n"

/* ---- states ---- */

/*
 * One pull a case, no anticoagulant, 10 mL; expected values by hand from the
 * formulas of domain.md 1.5: 10^6 * colonies / plated, times TNC.
 */
static const struct {
	const char *name, *tnc, *cells, *d1, *d2, *d3;
	double low, high;      /* CFU-F per mL                              */
	double p_low, p_high;  /* per 10^6                                  */
	const char *state, *p_state;
	double colonies, plated;
} cfu[] = {
	{ "domain.md 8: 36 per 10^6, 1080 per mL", "30", "500000", "14", "22",
	  "18", 1080, 1080, 36, 36, "measured", "measured", 54, 1.5e6 },
	{ "zero: up to one colony", "30", "500000", "0", "0", "0", 0,
	  30 / 1.5, 0, 1 / 1.5, "zero", "zero", 0, 1.5e6 },
	{ "one dish failed", "30", "500000", "14", "failed", "18", 960, 960,
	  32, 32, "measured", "measured", 32, 1e6 },
	{ "all dishes failed", "30", "500000", "failed", "failed", "failed",
	  NAN, NAN, NAN, NAN, "failed culture", "failed culture", NAN, NAN },
	{ "not ordered", "30", "500000", "not ordered", "", "", NAN, NAN, NAN,
	  NAN, "not ordered", "not ordered", NAN, NAN },
	{ "above a limit", "30", "500000", ">150", "", "", 9000, INFINITY, 300,
	  INFINITY, "above range", "above range", NAN, NAN },
	{ "counted beside above", "30", "500000", "90", ">150", "", 7200,
	  INFINITY, 240, INFINITY, "above range", "above range", 90, 5e5 },
	/* most colonies on one dish of this method version: 131 */
	{ "too many to count", "30", "500000", "TNTC", "", "", 7860, INFINITY,
	  262, INFINITY, "too many to count", "too many to count", NAN, NAN },
	{ "the most colonies", "20", "500000", "131", "", "", 5240, 5240, 262,
	  262, "measured", "measured", 131, 5e5 },
	{ "below a limit", "30", "500000", "<2", "", "", 0, 120, 0, 4,
	  "below detection", "below detection", NAN, NAN },
	{ "not detected", "30", "500000", "ND", "", "", 0, 60, 0, 2,
	  "below detection", "below detection", NAN, NAN },
	{ "TNC below a limit", "<2", "500000", "14", "22", "18", 0, 72, 36, 36,
	  "below detection", "measured", 54, 1.5e6 },
	{ "TNC not known", "", "500000", "14", "22", "18", NAN, NAN, 36, 36,
	  "blank", "measured", 54, 1.5e6 },
	{ "cells not known", "30", "", "14", "22", "18", NAN, NAN, NAN, NAN,
	  "blank", "blank", NAN, NAN },
	{ "nothing", "30", "", "", "", "", NAN, NAN, NAN, NAN, "blank",
	  "blank", NAN, NAN },
};
enum { N_CFU = sizeof cfu / sizeof *cfu };

static void same(const char *name, const char *what, double x, double expected)
{
	ck_assert_msg(isnan(expected) ? isnan(x) : isinf(expected) ?
	              x == expected : fabs(x - expected) <=
	              1e-12 * (1 + fabs(expected)),
	              "%s: %s %.15g, expected %.15g", name, what, x, expected);
}

START_TEST(colony_states)
{
	char csv[6000] = "patient,case,case_date,side,site_no,aliquot_no,"
	                 "volume_ml,tnc_e6_per_ml,cells_plated,dish_1,dish_2,"
	                 "dish_3\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	for (int k = 0; k < N_CFU; k++)
		snprintf(csv + strlen(csv), sizeof csv - strlen(csv),
		         "M%02d,V%02d,2025-01-02,L,1,1,10,%s,%s,%s,%s,%s\n", k,
		         k, cfu[k].tnc, cfu[k].cells, cfu[k].d1, cfu[k].d2,
		         cfu[k].d3);
	help_load l = help_try(s, "cfu.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	for (int grain = PD_BY_ALIQUOT; grain <= PD_BY_CASE; grain++) {
		pd_query_flow flow;
		pd_frame *c = ask(s, "cfu_f", "concentration",
		                  (pd_grain)grain, &flow);
		pd_frame *p = ask(s, "cfu_f", "prevalence", (pd_grain)grain,
		                  NULL);
		pd_frame *y = ask(s, "cfu_f", "yield", (pd_grain)grain, NULL);

		/* one pull a case: every grain gives the same */
		ck_assert_uint_eq(pd_frame_rows(c), N_CFU);
		ck_assert_uint_eq(flow.recorded_rows, N_CFU);
		for (size_t k = 0; k < N_CFU; k++) {
			const char *name = cfu[k].name;

			same(name, "low", real(c, "low", k), cfu[k].low);
			same(name, "high", real(c, "high", k), cfu[k].high);
			same(name, "p low", real(p, "low", k), cfu[k].p_low);
			same(name, "p high", real(p, "high", k),
			     cfu[k].p_high);
			same(name, "yield", real(y, "low", k),
			     10 * cfu[k].low);
			same(name, "colonies", real(c, "colonies", k),
			     cfu[k].colonies);
			same(name, "plated", real(c, "plated", k),
			     cfu[k].plated);
			ck_assert_str_eq(word(c, "state", k), cfu[k].state);
			ck_assert_str_eq(word(p, "state", k),
			                 cfu[k].p_state);
		}
		pd_frame_free(c);
		pd_frame_free(p);
		pd_frame_free(y);
	}
	pd_store_close(s);
}
END_TEST

static const struct {
	const char *name, *cell;
	double low, high;
	const char *state;
} cd34[] = {
	{ "measured", "131", 131, 131, "measured" },
	{ "below", "<8", 0, 8, "below detection" },
	{ "above", ">900", 900, INFINITY, "above range" },
	{ "zero: up to the smallest told", "0", 0, 8, "zero" },
	{ "not detected", "ND", 0, 8, "below detection" },
	{ "uncountable: from the largest", "TNTC", 417, INFINITY,
	  "too many to count" },
	{ "the largest", "417", 417, 417, "measured" },
	{ "failed", "failed", NAN, NAN, "failed culture" },
	{ "not ordered", "not ordered", NAN, NAN, "not ordered" },
	{ "blank", "", NAN, NAN, "blank" },
};
enum { N_CD34 = sizeof cd34 / sizeof *cd34 };

START_TEST(plain_states)
{
	char csv[3000] = "patient,case,case_date,side,site_no,aliquot_no,"
	                 "volume_ml,anticoagulant_ml,tnc_e6_per_ml,"
	                 "cd34_e3_per_ml\n";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_frame *f;

	for (int k = 0; k < N_CD34; k++)
		snprintf(csv + strlen(csv), sizeof csv - strlen(csv),
		         "M%02d,V%02d,2025-01-02,L,1,1,9,1,25,%s\n", k, k,
		         cd34[k].cell);
	help_load l = help_try(s, "cd34.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	f = ask(s, "cd34", "concentration", PD_BY_ALIQUOT, NULL);
	ck_assert_uint_eq(pd_frame_rows(f), N_CD34);
	for (size_t k = 0; k < N_CD34; k++) {
		same(cd34[k].name, "low", real(f, "low", k),
		     cd34[k].low * 10 / 9);
		same(cd34[k].name, "high", real(f, "high", k),
		     cd34[k].high * 10 / 9);
		ck_assert_str_eq(word(f, "state", k), cd34[k].state);
	}
	pd_frame_free(f);
	/* a ratio of cells is not diluted: 131e3 / 25e6 per 10^6 */
	f = ask(s, "cd34", "prevalence", PD_BY_ALIQUOT, NULL);
	same("prevalence", "low", real(f, "low", 0), 131e3 / 25);
	pd_frame_free(f);
	f = ask(s, "cd34", "yield", PD_BY_ALIQUOT, NULL);
	same("yield", "low", real(f, "low", 0), 131 * 10);
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

/* What the lab reported itself, where no dishes were written down. */
START_TEST(reported_colonies)
{
	static const char csv[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "tnc_e6_per_ml,cfu_f_per_ml,cfu_f_per_e6\n"
	    "M01,V01,2025-01-02,L,1,1,5,30,1080,\n"
	    "M02,V02,2025-01-02,L,1,1,5,25,,36\n"
	    "M03,V03,2025-01-02,L,1,1,5,,,36\n"
	    "M04,V04,2025-01-02,L,1,1,5,25,<100,\n";
	static const double ml[][2] = {
		{ 1080, 1080 }, { 900, 900 }, { NAN, NAN }, { 0, 100 },
	};
	static const double e6[][2] = {
		{ 36, 36 }, { 36, 36 }, { 36, 36 }, { 0, 4 },
	};
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "reported.csv", csv);
	pd_frame *c = ask(s, "cfu_f", "concentration", PD_BY_ALIQUOT, NULL);
	pd_frame *p = ask(s, "cfu_f", "prevalence", PD_BY_ALIQUOT, NULL);

	for (size_t k = 0; k < 4; k++) {
		same("per mL", "low", real(c, "low", k), ml[k][0]);
		same("per mL", "high", real(c, "high", k), ml[k][1]);
		same("per 10^6", "low", real(p, "low", k), e6[k][0]);
		same("per 10^6", "high", real(p, "high", k), e6[k][1]);
	}
	pd_frame_free(c);
	pd_frame_free(p);
	pd_store_close(s);
}
END_TEST

/* TNC by one laboratory, colonies by another, of the same aliquot. */
START_TEST(two_laboratories)
{
	static const char csv[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "method_version,tnc_e6_per_ml,cells_plated,dish_1\n"
	    "M01,V01,2025-01-02,L,1,1,5,counter 3,30,,\n"
	    "M01,V01,2025-01-02,L,1,1,5,culture 2,,500000,18\n";
	pd_store *s = help_open(PD_OPEN_CREATE);

	help_load_clean(s, "two.csv", csv);
	pd_frame *f = ask(s, "cfu_f", "concentration", PD_BY_ALIQUOT, NULL);

	ck_assert_uint_eq(pd_frame_rows(f), 1);
	same("two labs", "low", real(f, "low", 0), 1080);
	ck_assert_str_eq(word(f, "method_version", 0), "culture 2");
	pd_frame_free(f);
	f = ask(s, "tnc", "concentration", PD_BY_ALIQUOT, NULL);
	ck_assert_uint_eq(pd_frame_rows(f), 1);
	ck_assert_str_eq(word(f, "method_version", 0), "counter 3");
	pd_frame_free(f);
	pd_store_close(s);
}
END_TEST

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
		               "concentrate", NULL, 0 };
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
		{ { "colour", "concentration", PD_BY_CASE, NULL, NULL, 0 },
		  "tnc, mnc" },
		{ { "tnc", "beauty", PD_BY_CASE, NULL, NULL, 0 },
		  "concentration, prevalence" },
		{ { "viability", "yield", PD_BY_CASE, NULL, NULL, 0 },
		  "has no yield" },
		{ { "tnc", "yield", PD_BY_CASE, "soup", NULL, 0 },
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
	pd_query_request r = { "tnc", "yield", PD_BY_CASE, NULL, &column, 1 };

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

/* ---- a larger store: views, and the rows kept between questions ---- */

static void make_clinic(pd_store *s)
{
	char *csv = malloc(400000), *at = csv;

	ck_assert_ptr_nonnull(csv);
	at += sprintf(at, "%s", HEAD);
	for (int c = 0; c < 120; c++)
		for (int k = 0; k < 8; k++)
			at += sprintf(at, "M%03d,%s,%d,V%03d,20%02d-0%d-1%d,"
			              "T%d,%s,%d,PSIS,11,%d,%d.%d,10,none,0.%d"
			              ",lab %d,%s%d.%d,9%d,250000,%d,%d,%d\n",
			              c / 2, c / 2 % 2 ? "male" : "female",
			              1940 + c / 2 % 40, c, 10 + c % 15,
			              1 + c % 9, c % 10, c % 4,
			              k < 4 ? "L" : "R", 1 + k / 2, 1 + k % 2,
			              2 + (c * 7 + k) % 7, k, 1 + k % 9,
			              c % 15 < 7, (c + k) % 41 == 7 ? "<" : "",
			              4 + (c * 13 + k * 5) % 37, k, k,
			              (c * 11 + k * 3) % 29, (c + k) % 23,
			              (c * 5 + k * 7) % 31);
	help_load l = help_try(s, "clinic.csv", csv, 0);

	if (l.st != PD_OK)
		help_print(&l);
	ck_assert_int_eq(l.st, PD_OK);
	pd_findings_free(l.findings);
	free(csv);
}

/* Sums of measured rows, by the frame and by the views. */
static double frame_sum(pd_store *s, const char *outcome, const char *judge,
                        pd_grain grain)
{
	pd_frame *f = ask(s, outcome, judge, grain, NULL);
	double sum = 0;

	for (size_t i = 0; i < pd_frame_rows(f); i++) {
		double low = real(f, "low", i);

		if (low == real(f, "high", i))
			sum += low;
	}
	pd_frame_free(f);
	return sum;
}

START_TEST(views_agree)
{
	static const struct {
		const char *outcome, *judge, *sql;
		pd_grain grain;
	} row[] = {
		{ "tnc", "concentration", "SELECT sum(tnc_e6_per_ml) FROM "
		  "aliquot_results", PD_BY_ALIQUOT },
		{ "tnc", "yield", "SELECT sum(tnc_e6) FROM aliquot_results",
		  PD_BY_ALIQUOT },
		{ "tnc", "yield", "SELECT sum(tnc_e6) FROM site_results",
		  PD_BY_SITE },
		{ "tnc", "yield", "SELECT sum(tnc_e6) FROM case_results",
		  PD_BY_CASE },
		{ "viability", "percent", "SELECT sum(viability_pct) FROM "
		  "aliquot_results", PD_BY_ALIQUOT },
		{ "cfu_f", "prevalence", "SELECT sum(cfu_f_per_e6) FROM "
		  "aliquot_results WHERE colonies > 0", PD_BY_ALIQUOT },
		{ "cfu_f", "concentration", "SELECT sum(cfu_f_per_ml) FROM "
		  "aliquot_results WHERE colonies > 0", PD_BY_ALIQUOT },
	};
	pd_store *s = help_open(PD_OPEN_CREATE);

	make_clinic(s);
	for (size_t k = 0; k < sizeof row / sizeof *row; k++) {
		double x = frame_sum(s, row[k].outcome, row[k].judge,
		                     row[k].grain);
		double y = help_ask(row[k].sql);

		ck_assert_double_gt(y, 0);
		ck_assert_msg(fabs(x - y) < 1e-9 * y, "%s: %.12g and %.12g",
		              row[k].sql, x, y);
	}
	pd_store_close(s);
	help_check_database();
}
END_TEST

/* The same store gives the same frame, and a new file is seen at once. */
START_TEST(rows_are_fresh)
{
	pd_store *s = help_open(PD_OPEN_CREATE), *other;

	make_clinic(s);
	pd_frame *a = ask(s, "cfu_f", "concentration", PD_BY_ALIQUOT, NULL);
	pd_frame *b = ask(s, "cfu_f", "concentration", PD_BY_ALIQUOT, NULL);
	size_t n = pd_frame_rows(a);

	ck_assert_uint_eq(n, 960);
	ck_assert_uint_eq(pd_frame_rows(b), n);
	for (size_t k = 0; k < pd_frame_columns(a); k++) {
		const pd_column *x = pd_frame_at(a, k), *y = pd_frame_at(b, k);

		if (x->kind == PD_REAL)
			ck_assert_mem_eq(x->real, y->real,
			                 n * sizeof *x->real);
		else
			ck_assert_mem_eq(x->code, y->code,
			                 n * sizeof *x->code);
	}
	pd_frame_free(a);
	pd_frame_free(b);
	/* another connection adds a case */
	other = help_open(PD_OPEN_WRITE);
	help_load_clean(other, "new.csv", "patient,case,case_date,side,"
	                "site_no,aliquot_no,volume_ml,tnc_e6_per_ml\n"
	                "M999,V999,2025-01-02,L,1,1,5,30.1\n");
	pd_store_close(other);
	a = ask(s, "tnc", "concentration", PD_BY_ALIQUOT, NULL);
	ck_assert_uint_eq(pd_frame_rows(a), 961);
	pd_frame_free(a);
	pd_store_close(s);
}
END_TEST

START_TEST(harm)
{
	static const char csv[] =
	    "patient,case,case_date,side,site_no,aliquot_no,volume_ml,"
	    "adverse_event\n"
	    "M01,V01,2025-01-02,L,1,1,5,none\nM01,V01,2025-01-02,L,2,1,5,"
	    "haematoma\nM02,V02,2025-01-02,L,1,1,5,none\n"
	    "M03,V03,2025-01-02,L,1,1,5,\n";
	pd_store *s = help_open(PD_OPEN_CREATE);
	pd_harm h;
	pd_error err;

	help_load_clean(s, "harm.csv", csv);
	ck_assert_int_eq(pd_query_harm(s, &h, &err), PD_OK);
	ck_assert_uint_eq(h.n_cases, 2);
	ck_assert_uint_eq(h.n_events, 1);
	pd_store_close(s);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("query");
	TCase *t = tcase_create("query");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, colony_states);
	tcase_add_test(t, plain_states);
	tcase_add_test(t, reported_colonies);
	tcase_add_test(t, two_laboratories);
	tcase_add_test(t, units);
	tcase_add_test(t, incomplete);
	tcase_add_test(t, columns);
	tcase_add_test(t, names);
	tcase_add_test(t, views_agree);
	tcase_add_test(t, rows_are_fresh);
	tcase_add_test(t, harm);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
