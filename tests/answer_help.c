/* answer_help.c - see answer_help.h. */
#include "answer_help.h"
#include "data/load.h"
#include "plan/run.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_LINES = 4000 };

static char folder[64], csv_path[96], db_path[96];
static char line[MOST_LINES][256];
static size_t n_lines;
const char *answer_load_date, *answer_ask_date;

static const char header[] =
    "patient,sex,age_y,case,case_date,operator,side,site_no,landmark,"
    "aliquot_no,volume_ml,syringe_ml,move,method_version,tnc_e6_per_ml,"
    "viability_pct,cells_plated,dish_1,dish_2,anticoagulant,anticoagulant_ml,"
    "hct_pct";

void answer_setup(void)
{
	pd_base_init();
	snprintf(folder, sizeof folder, "check_answer.XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(csv_path, sizeof csv_path, "%s/draws.csv", folder);
	snprintf(db_path, sizeof db_path, "%s/clinic.db", folder);
	n_lines = 0;
	answer_load_date = "2024-06-30";
	answer_ask_date = "2024-07-01";
}

void answer_teardown(void)
{
	static const char *const names[] = { "draws.csv", "clinic.db",
		                             "clinic.db-wal",
		                             "clinic.db-shm" };
	char path[128];

	for (size_t i = 0; i < 4; i++) {
		snprintf(path, sizeof path, "%s/%s", folder, names[i]);
		unlink(path);
	}
	ck_assert_int_eq(rmdir(folder), 0);
}

void answer_add(struct pull p)
{
	char day[16];

	ck_assert_uint_lt(n_lines, MOST_LINES);
	snprintf(day, sizeof day, "2024-03-%02d", 1 + p.patient % 28);
	snprintf(line[n_lines++], sizeof line[0],
	         "P%03d,%s,%.0f,C%03d,%s,%s,%s,%d,"
	         "posterior iliac crest,%d,%.2f,%d,%s,%s,%.6f,%s,500000,%d,%d,%s",
	         p.patient, p.patient % 2 ? "female" : "male", p.age, p.patient,
	         p.date ? p.date : day, p.operator ? p.operator : "op-a",
	         p.side ? p.side : "left", p.site,
	         p.aliquot, p.volume, p.syringe, p.move ? p.move : "none",
	         p.version ? p.version : "lab-a 1", p.tnc,
	         p.viability ? p.viability : "95", p.dish_1, p.dish_2,
	         p.last ? p.last : ",,");
}

/* A number in (-1, 1) that depends on its arguments only. */
double answer_noise(int a, int b)
{
	unsigned x = (unsigned)a * 2654435761u + (unsigned)b * 40503u + 77u;

	x ^= x >> 15;
	x *= 2246822519u;
	x ^= x >> 13;
	x *= 3266489917u;
	x ^= x >> 16;
	return (double)x / 2147483648.0 - 1;
}

void answer_no_pulls(void)
{
	n_lines = 0;
}

size_t answer_n_pulls(void)
{
	return n_lines;
}

void answer_no_store(void)
{
	unlink(db_path);
}

void answer_shuffle(void)
{
	char keep[256];

	for (size_t i = n_lines - 1; i > 0; i--) {
		double u = (answer_noise((int)i, 5) + 1) / 2;
		size_t j = (size_t)(u * (double)(i + 1));

		memcpy(keep, line[i], sizeof keep);
		memcpy(line[i], line[j], sizeof keep);
		memcpy(line[j], keep, sizeof keep);
	}
}

pd_store *answer_load(void)
{
	FILE *f = fopen(csv_path, "w");
	pd_store *s = NULL;
	pd_error err = { 0 };
	pd_findings *found = pd_findings_new();
	pd_load_request request = { .path = csv_path, .date = answer_load_date };
	pd_load_report report;

	ck_assert_ptr_nonnull(f);
	fprintf(f, "%s\n", header);
	for (size_t i = 0; i < n_lines; i++)
		fprintf(f, "%s\n", line[i]);
	ck_assert_int_eq(fclose(f), 0);
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

pd_answer *answer_ask(pd_store *s, pd_arena *a, const char *text)
{
	pd_plan *plan = PD_NEW(a, pd_plan, 1);
	pd_review *review = PD_NEW(a, pd_review, 1);
	pd_error err = { 0 };
	pd_run_options o = { .date = answer_ask_date, .write_ledger = true };

	ck_assert_msg(pd_plan_parse(a, text, strlen(text), "t.plan", plan,
	                            &err) == PD_OK, "%s", err.text);
	ck_assert_msg(pd_run_question(s, plan, &plan->question[0], &o, a,
	                              review, &err) == PD_OK, "%s", err.text);
	ck_assert_uint_eq(review->n_answers, 1);
	return &review->answer[0];
}

const pd_sensitivity *answer_line(const pd_answer *a, const char *name)
{
	for (size_t i = 0; i < a->n_sensitivity; i++)
		if (strncmp(a->sensitivity[i].name, name, strlen(name)) == 0)
			return &a->sensitivity[i];
	return NULL;
}
