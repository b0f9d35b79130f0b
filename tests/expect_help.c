/* expect_help.c - see expect_help.h. */
#include "expect_help.h"
#include "data/load.h"
#include "stats/stream.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_LINES = 16000 };

static char folder[64], csv_path[96], db_path[96];
static char (*line)[256];
static size_t n_lines;

static const char header[] =
    "patient,sex,age_y,case,case_date,operator,side,site_no,landmark,"
    "aliquot_no,volume_ml,syringe_ml,move,method_version,tnc_e6_per_ml,"
    "cd34_e3_per_ml";

void expect_setup(void)
{
	pd_base_init();
	snprintf(folder, sizeof folder, "check_expect.XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(csv_path, sizeof csv_path, "%s/draws.csv", folder);
	snprintf(db_path, sizeof db_path, "%s/clinic.db", folder);
	line = calloc(MOST_LINES, sizeof *line);
	ck_assert_ptr_nonnull(line);
}

void expect_teardown(void)
{
	static const char *const names[] = { "draws.csv", "clinic.db",
		                             "clinic.db-wal",
		                             "clinic.db-shm" };
	char path[128];

	free(line);
	for (size_t i = 0; i < 4; i++) {
		snprintf(path, sizeof path, "%s/%s", folder, names[i]);
		unlink(path);
	}
	ck_assert_int_eq(rmdir(folder), 0);
}

/* --- the truth ----------------------------------------------------------- */

static double pull_mean(const struct truth *t, double age, bool female,
                        size_t order, size_t pull, double ml)
{
	return t->centre + t->age_10y * (age - 50) / 10 +
	       t->bend_10y * fmax(0, age - 55) / 10 + t->female * female +
	       t->log_ml * log(ml) + t->later_site * (order > 1) +
	       t->pull_2 * (pull > 1);
}

double expect_case(const struct truth *t, double age, bool female,
                   size_t sites, size_t sides, size_t pulls, double site_ml,
                   uint64_t seed, uint64_t number)
{
	pd_stream s;
	double total = 0, side[2];

	pd_stream_init(&s, seed, number);
	double own = t->patient * pd_stream_normal(&s);

	side[0] = t->side * pd_stream_normal(&s);
	side[1] = t->side * pd_stream_normal(&s);
	for (size_t i = 0; i < sites; i++) {
		double at = own + side[i % sides] +
		            t->site * pd_stream_normal(&s);

		for (size_t k = 1; k <= pulls; k++)
			total += exp(pull_mean(t, age, female, i / sides + 1, k,
			                       site_ml / (double)pulls) +
			             at + t->pull * pd_stream_normal(&s));
	}
	return total;
}

/* --- a clinic ------------------------------------------------------------ */

static void add_pull(const struct clinic *c, int patient, double age, int side,
                     int site, int pull, double ml, double syringe, double y)
{
	char cd34[40];
	double tnc = exp(y) / ml;

	ck_assert_uint_lt(n_lines, MOST_LINES);
	/* CD34+ is 5 per 1000 of TNC, so that one can be held to the other */
	if (tnc * 5 < c->below)
		snprintf(cd34, sizeof cd34, "<%.9g", c->below);
	else
		snprintf(cd34, sizeof cd34, "%.9g", tnc * 5);
	snprintf(line[n_lines++], sizeof *line,
	         "P%04d,%s,%.0f,C%04d,2024-%02d-%02d,op-a,%s,%d,"
	         "posterior iliac crest,%d,%.4g,%.4g,%s,lab-a 1,%.12g,%s",
	         patient, patient % 2 ? "female" : "male", age, patient,
	         1 + patient % 12, 1 + patient % 28, side ? "right" : "left",
	         site, pull, ml, syringe, pull > 1 ? "none" : "new hole", tnc,
	         cd34);
}

static void add_patient(const struct clinic *c, int patient)
{
	const struct truth *t = &c->t;
	pd_stream s;

	pd_stream_init(&s, c->seed, (uint64_t)patient);
	double age = floor(30 + 50 * pd_stream_uniform(&s));
	int sites = 1 + (int)pd_stream_below(&s, (uint64_t)c->most_sites);
	double ml = c->ml[pd_stream_below(&s, (uint64_t)c->n_ml)];
	double own = t->patient * pd_stream_normal(&s), side[2];
	int large = c->syringes > 1 && pd_stream_uniform(&s) < 0.2 + 0.06 * ml;
	int sides = c->two_sides ? 2 : 1;

	side[0] = t->side * pd_stream_normal(&s);
	side[1] = t->side * pd_stream_normal(&s);
	for (int i = 0; i < sites; i++) {
		double at = own + side[i % sides] +
		            t->site * pd_stream_normal(&s) - 0.4 * large;

		for (int k = 1; k <= c->pulls; k++)
			add_pull(c, patient, age, i % sides, i + 1, k, ml,
			         large ? 20 : 10,
			         pull_mean(t, age, patient % 2,
			                   (size_t)(i / sides) + 1, (size_t)k,
			                   ml) + at +
			             t->pull * pd_stream_normal(&s));
	}
}

static void turn_round(uint64_t seed)
{
	pd_stream s;
	char keep[sizeof *line];

	pd_stream_init(&s, seed, 999999);
	for (size_t i = n_lines - 1; i > 0; i--) {
		size_t j = (size_t)pd_stream_below(&s, i + 1);

		memcpy(keep, line[i], sizeof keep);
		memcpy(line[i], line[j], sizeof keep);
		memcpy(line[j], keep, sizeof keep);
	}
}

pd_store *expect_clinic(const struct clinic *c, bool shuffle)
{
	pd_store *s = NULL;
	pd_error err = { 0 };
	pd_findings *found = pd_findings_new();
	pd_load_request request = { .path = csv_path, .date = "2025-01-01" };
	pd_load_report report;
	FILE *f = fopen(csv_path, "w");

	ck_assert_ptr_nonnull(f);
	n_lines = 0;
	for (int p = 1; p <= c->patients; p++)
		add_patient(c, p);
	if (shuffle)
		turn_round(c->seed);
	fprintf(f, "%s\n", header);
	for (size_t i = 0; i < n_lines; i++)
		fprintf(f, "%s\n", line[i]);
	ck_assert_int_eq(fclose(f), 0);
	unlink(db_path);
	ck_assert_msg(pd_store_open(db_path, PD_OPEN_CREATE, &s, &err) == PD_OK,
	              "%s", err.text);
	pd_status st = pd_load_file(s, &request, found, &report, &err);

	for (size_t i = 0; st != PD_OK && i < pd_findings_stored(found); i++) {
		const pd_finding *g = pd_findings_at(found, i);

		if (g->level == PD_ERROR)
			fprintf(stderr, "%u:%u: %s: %s, %s\n", g->line,
			        g->column, g->code, g->found, g->expected);
	}
	ck_assert_msg(st == PD_OK, "%s", err.text);
	pd_findings_free(found);
	return s;
}

pd_expect_request expect_request(void)
{
	return (pd_expect_request){ .outcome = "tnc", .sex = "female",
		                    .age_y = 50, .total_ml = NAN,
		                    .target = NAN, .weight_kg = NAN,
		                    .syringe_ml = NAN, .level = 0.95,
		                    .seed = 4711 };
}
