/*
 * check_blood.c - how much of an aspirate is blood, by the functions and by the
 * views of the database.
 */
#include "store_help.h"

#include "data/blood.h"

#include <math.h>

/* ---- blood ---- */

/* Worked by hand from the formulas: RBC marrow, RBC blood, WBC blood, TNC; v, f, marrow cells */
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
		                      "M%d,V%d,2025-04-17,%.1f,%.1f,L,1,1,5,"
		                      "%.1f,%.1f\n", k,
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
		                      "%s,%s,2025-04-17,%.10g,%.10g,L,1,1,5,"
		                      "%.10g,%.10g\n",
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

int main(void)
{
	Suite *suite = suite_create("blood");
	TCase *t = tcase_create("blood");
	SRunner *r = srunner_create(suite);

	tcase_add_checked_fixture(t, help_setup, help_teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, blood_admixture);
	tcase_add_test(t, blood_reference);
	suite_add_tcase(suite, t);
	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
