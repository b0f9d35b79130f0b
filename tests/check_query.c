/*
 * check_query.c - what each state of a result becomes in a frame; a larger
 * store against the views of its database.
 */
#include "query_help.h"

#define HEAD_OF_CLINIC                                                         \
	"patient,sex,birth_year,case,case_date,operator,side,site_no,"         \
	"landmark,needle_gauge,aliquot_no,volume_ml,syringe_ml,move,"          \
	"anticoagulant_ml,method_version,tnc_e6_per_ml,viability_pct,"         \
	"cells_plated,dish_1,dish_2,dish_3\n"

/* ---- states ---- */

/*
 * One pull a case, no anticoagulant, 10 mL; expected values by hand from the
 * formulas, worked by hand: 10^6 * colonies / plated, times TNC.
 */
static const struct {
	const char *name, *tnc, *cells, *d1, *d2, *d3;
	double low, high;      /* CFU-F per mL                              */
	double p_low, p_high;  /* per 10^6                                  */
	const char *state, *p_state;
	double colonies, plated;
	double counted, p_counted; /* NAN: the value rests on no count      */
} cfu[] = {
	{ "worked by hand: 36 per 10^6, 1080 per mL", "30", "500000", "14", "22",
	  "18", 1080, 1080, 36, 36, "measured", "measured", 54, 1.5e6,
	  54, 54 },
	{ "zero: up to one colony", "30", "500000", "0", "0", "0", 0,
	  30 / 1.5, 0, 1 / 1.5, "zero", "zero", 0, 1.5e6,
	  0, 0 },
	{ "one dish failed", "30", "500000", "14", "failed", "18", 960, 960,
	  32, 32, "measured", "measured", 32, 1e6,
	  32, 32 },
	{ "all dishes failed", "30", "500000", "failed", "failed", "failed",
	  NAN, NAN, NAN, NAN, "failed culture", "failed culture", NAN, NAN,
	  NAN, NAN },
	{ "not ordered", "30", "500000", "not ordered", "", "", NAN, NAN, NAN,
	  NAN, "not ordered", "not ordered", NAN, NAN,
	  NAN, NAN },
	{ "above a limit", "30", "500000", ">150", "", "", 9000, INFINITY, 300,
	  INFINITY, "above range", "above range", NAN, NAN,
	  150, 150 },
	{ "counted beside above", "30", "500000", "90", ">150", "", 7200,
	  INFINITY, 240, INFINITY, "above range", "above range", 90, 5e5,
	  240, 240 },
	/* most colonies on one dish of this method version: 131 */
	{ "too many to count", "30", "500000", "TNTC", "", "", 7860, INFINITY,
	  262, INFINITY, "too many to count", "too many to count", NAN, NAN,
	  131, 131 },
	{ "the most colonies", "20", "500000", "131", "", "", 5240, 5240, 262,
	  262, "measured", "measured", 131, 5e5,
	  131, 131 },
	{ "below a limit", "30", "500000", "<2", "", "", 0, 120, 0, 4,
	  "below detection", "below detection", NAN, NAN,
	  NAN, NAN },
	{ "not detected", "30", "500000", "ND", "", "", 0, 60, 0, 2,
	  "below detection", "below detection", NAN, NAN,
	  NAN, NAN },
	{ "TNC below a limit", "<2", "500000", "14", "22", "18", 0, 72, 36, 36,
	  "below detection", "measured", 54, 1.5e6,
	  NAN, 54 },
	{ "TNC not known", "", "500000", "14", "22", "18", NAN, NAN, 36, 36,
	  "blank", "measured", 54, 1.5e6,
	  NAN, 54 },
	{ "cells not known", "30", "", "14", "22", "18", NAN, NAN, NAN, NAN,
	  "blank", "blank", NAN, NAN,
	  NAN, NAN },
	{ "nothing", "30", "", "", "", "", NAN, NAN, NAN, NAN, "blank",
	  "blank", NAN, NAN,
	  NAN, NAN },
};
enum { N_CFU = sizeof cfu / sizeof *cfu };

/* counted * worth is the value; one colony's worth is what a zero lies below. */
static void check_count(const char *name, const pd_frame *f, size_t k,
                        double counted)
{
	double worth = real(f, "worth", k);

	same(name, "counted", real(f, "counted", k), counted);
	if (isnan(counted))
		ck_assert_msg(isnan(worth), "%s: worth %g", name, worth);
	else
		same(name, "worth", counted > 0 ? counted * worth : worth,
		     real(f, counted > 0 ? "low" : "high", k));
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
			check_count(name, c, k, cfu[k].counted);
			check_count(name, p, k, cfu[k].p_counted);
			check_count(name, y, k, cfu[k].counted);
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

/* ---- a larger store: views, and the rows kept between questions ---- */

static void make_clinic(pd_store *s)
{
	char *csv = malloc(400000), *at = csv;

	ck_assert_ptr_nonnull(csv);
	at += sprintf(at, "%s", HEAD_OF_CLINIC);
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
	tcase_set_timeout(t, 120);
	tcase_add_test(t, colony_states);
	tcase_add_test(t, plain_states);
	tcase_add_test(t, reported_colonies);
	tcase_add_test(t, two_laboratories);
	tcase_add_test(t, views_agree);
	tcase_add_test(t, rows_are_fresh);
	tcase_add_test(t, harm);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
