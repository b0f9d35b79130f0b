/*
 * check_claim_clinic.c - a claim held against a small clinic whose truth is
 * known: ordinary practice by mL, age and method version, a weak comparator
 * and a fair one, the effect here against the claim, weights, the spread
 * between sides, sizes, the allocation list, the ledger.
 * The "device" is the 10 mL syringe against the 50 mL one.
 */
#include "answer_help.h"
#include "plan/claim.h"
#include "plan/claim_own.h"
#include "report/compose.h"
#include "stats/power.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATIENTS = 48 };

static pd_arena *arena;
static pd_store *store;
static pd_claim_file file;
static pd_claim_answer answer;

static void setup(void)
{
	answer_setup();
	arena = pd_arena_new();
	ck_assert_ptr_nonnull(arena);
	store = NULL;
}

static void teardown(void)
{
	pd_store_close(store);
	pd_arena_free(arena);
	answer_teardown();
}

/* Log TNC of a patient's pull of 8 mL with the 50 mL syringe: ln 20 at 50
 * years, 0.1 less each ten years, and a part of the patient's own. */
static double usual(int p, double age)
{
	return log(20) - 0.01 * (age - 50) + 0.15 * answer_noise(p, 1);
}

/* Every patient: left side, and right side when `both`. Device in patients
 * of an odd number; its ratio is 1.3. */
static void make_clinic(bool both)
{
	for (int p = 1; p <= PATIENTS; p++) {
		double age = 35 + (p * 7) % 36;
		bool device = p % 2;

		for (int side = 0; side < (both ? 2 : 1); side++) {
			double y = usual(p, age) + 0.15 * answer_noise(p, 2 + side);

			answer_add((struct pull){
			    .patient = p, .site = 1 + side, .aliquot = 1,
			    .syringe = device ? 10 : 50, .dish_1 = 20,
			    .dish_2 = 22, .age = age, .volume = 8,
			    .tnc = exp(y + (device ? log(1.3) : 0)),
			    .side = side ? "right" : "left" });
		}
	}
	/* rich small pulls that nobody may count as 8 mL ones */
	for (int p = PATIENTS + 1; p <= PATIENTS + 12; p++)
		answer_add((struct pull){ .patient = p, .site = 1, .aliquot = 1,
		                          .syringe = 50, .dish_1 = 60,
		                          .dish_2 = 70, .age = 50, .volume = 2,
		                          .tnc = 60 + answer_noise(p, 9) });
	store = answer_load();
}

#define CLAIM                                                                  \
	"[claim]\ntitle = t\noutcome = tnc\njudge = concentration\n"          \
	"margin = 0.80\n"
#define DEVICE                                                                 \
	"[device]\nn = 30\ngeometric_mean = %g\nlow = %g\nhigh = %g\n"        \
	"unit = 10^6/mL\nmaterial = aspirate\nvolume_ml = 8\nprice = 40\n"
#define OTHER                                                                  \
	"[comparator]\nn = 30\ngeometric_mean = %g\nlow = %g\nhigh = %g\n"    \
	"unit = 10^6/mL\nmaterial = aspirate\nvolume_ml = 8\nage_y = 50\n"    \
	"price = 10\n"
#define CLINIC                                                                 \
	"[clinic]\ncompare = syringe_ml 10 against 50\nadjust = age_y\n"      \
	"where = volume_ml from 1 to 9\nseed = 7\n"

static void run(const char *text, bool ledger)
{
	pd_error err = { 0 };
	pd_run_options o = { .date = answer_ask_date, .write_ledger = ledger };

	ck_assert_msg(pd_claim_parse(arena, text, strlen(text), "t.claim", &file,
	                             &err) == PD_OK, "%zu:%zu: %s", err.line,
	              err.column, err.text);
	ck_assert_msg(pd_claim_run(store, &file, &o, arena, &answer, &err) ==
	                  PD_OK, "%s", err.text);
}

/* A claim whose arms have these geometric means, a tenth either way. */
static void claim_of(double device, double comparator, const char *more)
{
	static char text[2000];

	snprintf(text, sizeof text, CLAIM DEVICE OTHER CLINIC "%s", device,
	         device / 1.1, device * 1.1, comparator, comparator / 1.1,
	         comparator * 1.1, more);
	run(text, false);
}

/* --- ordinary practice --------------------------------------------------- */

START_TEST(a_weak_comparator_is_found)
{
	make_clinic(false);
	claim_of(20, 12, "");
	ck_assert_uint_eq(answer.n_usuals, 1);
	const pd_claim_usual *u = &answer.usual[0];

	ck_assert_ptr_null(u->refusal);
	ck_assert_uint_eq(u->n_rows, PATIENTS / 2); /* 8 mL, 50 mL syringe */
	ck_assert_uint_eq(u->n_patients, PATIENTS / 2);
	ck_assert_double_eq_tol(u->centre, 20, 1.8); /* at 50 years */
	ck_assert_int_eq(u->comparator[0].verdict, PD_WORSE);
	ck_assert_double_eq_tol(u->comparator[0].value, 12 / u->centre, 1e-9);
	ck_assert(u->share_below[0] < 0.05);
	ck_assert(u->patient_low < u->centre && u->centre < u->patient_high);
	/* the printed device arm is then no more than what is drawn anyway */
	ck_assert_int_ne(u->device[0].verdict, PD_BETTER);
}
END_TEST

START_TEST(a_fair_comparator_is_not_called_weak)
{
	make_clinic(false);
	claim_of(26, 20, "");
	ck_assert_int_ne(answer.usual[0].comparator[0].verdict, PD_WORSE);
	claim_of(40, 30, "");
	ck_assert_int_eq(answer.usual[0].comparator[0].verdict, PD_BETTER);
}
END_TEST

/* The model's line at the printed age: 20 exp(-0.01 (age - 50)). */
START_TEST(ages_are_matched)
{
	char text[2000];
	const double age[2] = { 40, 65 };
	double centre[2];

	make_clinic(false);
	for (int i = 0; i < 2; i++) {
		snprintf(text, sizeof text, CLAIM DEVICE
		         "[comparator]\nn = 30\ngeometric_mean = 20\nlow = 18\n"
		         "high = 22\nunit = 10^6/mL\nmaterial = aspirate\n"
		         "volume_ml = 8\nage_y = %g\n" CLINIC, 30., 27., 33.,
		         age[i]);
		run(text, false);
		centre[i] = answer.usual[0].centre;
	}
	ck_assert_double_eq_tol(log(centre[0] / centre[1]), 0.25, 0.12);
	claim_of(26, 20, "");
	ck_assert_double_eq(answer.usual_age, 50);
	ck_assert(centre[0] > answer.usual[0].centre &&
	          answer.usual[0].centre > centre[1]);
	snprintf(text, sizeof text, CLAIM DEVICE
	         "[comparator]\nn = 30\ngeometric_mean = 20\nlow = 18\n"
	         "high = 22\nunit = 10^6/mL\nmaterial = aspirate\n"
	         "volume_ml = 8\nage_y = 90\n" CLINIC, 30., 27., 33.);
	run(text, false);
	ck_assert(strstr(answer.usual[0].refusal, "outside the ages") != NULL);
}
END_TEST

START_TEST(method_versions_stand_apart)
{
	for (int p = 1; p <= 40; p++)
		for (int device = 0; device < 2; device++)
			answer_add((struct pull){
			    .patient = p, .site = 1 + device, .aliquot = 1,
			    .syringe = device ? 10 : 50, .dish_1 = 20,
			    .dish_2 = 22, .age = 40 + p % 23, .volume = 8,
			    .tnc = (p <= 20 ? 20 : 10) *
			           exp(0.2 * answer_noise(p, device)),
			    .version = p <= 20 ? "lab-a 1" : "lab-b 1" });
	store = answer_load();
	claim_of(20, 13, "");
	ck_assert_uint_eq(answer.n_usuals, 2);
	ck_assert_str_eq(answer.usual[0].version, "lab-a 1");
	ck_assert_int_eq(answer.usual[0].comparator[0].verdict, PD_WORSE);
	ck_assert_int_eq(answer.usual[1].comparator[0].verdict, PD_BETTER);
}
END_TEST

/* --- the effect here ----------------------------------------------------- */

START_TEST(here_is_what_the_question_says)
{
	make_clinic(false);
	claim_of(26, 20, "");
	ck_assert_ptr_nonnull(answer.here);
	const pd_effect *e = &answer.here->effect[0];
	pd_answer *asked = answer_ask(
	    store, arena,
	    "[plan]\nseed = 7\nlooks = 1\n[q]\ntitle = t\noutcome = tnc\n"
	    "judge = concentration\ncompare = syringe_ml 10 against 50\n"
	    "adjust = age_y\nwhere = volume_ml from 1 to 9\nmargin = 0.80\n"
	    "role = primary\n");

	ck_assert_double_eq(e->value, asked->effect[0].value);
	ck_assert_double_eq(e->low, asked->effect[0].low);
	const pd_claim_reading *r = &answer.reading[0];

	ck_assert_double_eq_tol(r->against.log.value,
	                        e->log.value - r->claim.log.value, 1e-14);
	ck_assert(r->against.log.se >= e->log.se &&
	          r->against.log.se >= r->claim.log.se);
}
END_TEST

START_TEST(claims_far_off_are_told_from_here)
{
	make_clinic(false);
	claim_of(60, 20, ""); /* three times; the truth is 1.3 */
	ck_assert_int_eq(answer.reading[0].against.verdict, PD_WORSE);
	claim_of(10, 20, "");
	ck_assert_int_eq(answer.reading[0].against.verdict, PD_BETTER);
}
END_TEST

START_TEST(weights_where_nothing_is_paired)
{
	make_clinic(false);
	claim_of(26, 20, "");
	ck_assert(answer.weighted_tried);
	ck_assert_ptr_null(answer.weighted.by.refusal);
	ck_assert_double_eq_tol(answer.weighted.ratio.log.value,
	                        answer.here->effect[0].log.value, 0.2);
	ck_assert_uint_gt(answer.weighted.by.n_alike, 0);
	for (size_t i = 0; i < answer.weighted.by.n_alike; i++)
		ck_assert_double_eq_tol(answer.weighted.by.alike[i].after, 0,
		                        1e-8);
	ck_assert(answer.weighted.by.evalue >= answer.weighted.by.evalue_limit);
	ck_assert(answer.weighted.by.evalue_limit >= 1);
	claim_of(26, 20, "within = patient\n"); /* into [clinic] */
	ck_assert(!answer.weighted_tried);
	ck_assert(answer.here == NULL); /* nobody had both */
	ck_assert_ptr_nonnull(answer.here_refusal);
}
END_TEST

START_TEST(a_clinic_without_the_device)
{
	char text[1000];

	make_clinic(false);
	snprintf(text, sizeof text, CLAIM DEVICE OTHER
	         "[clinic]\nwhere = syringe_ml is 50\n", 26., 24., 28., 20., 18.,
	         22.);
	run(text, false);
	ck_assert(!answer.asked && !answer.here);
	ck_assert(strstr(answer.here_refusal, "names no comparison") != NULL);
	ck_assert_int_ne(answer.usual[0].comparator[0].verdict, PD_WORSE);
	ck_assert_uint_eq(answer.n_costs, 0);
	/* concentrate is nothing this clinic's aspirate can answer */
	run(CLAIM "ratio = 2\n[device]\nmaterial = concentrate\n" CLINIC, false);
	ck_assert(strstr(answer.here_refusal, "concentrate") != NULL);
	ck_assert_uint_eq(answer.n_usuals, 0);
	ck_assert_ptr_nonnull(answer.trial.refusal);
}
END_TEST

/* --- the trial ----------------------------------------------------------- */

START_TEST(sides_are_needed_for_pairs_of_sides)
{
	make_clinic(false);
	claim_of(26, 20, "");
	ck_assert_ptr_nonnull(answer.trial.refusal);
	ck_assert(strstr(answer.trial.refusal, "both sides") != NULL);
	ck_assert_uint_eq(answer.trial.n_list, 0);
}
END_TEST

/* Two sides of one case differ by 0.15 times the difference of two numbers
 * uniform on (-1, 1): SD 0.15 sqrt(2 / 3) = 0.1225. */
START_TEST(the_spread_between_sides)
{
	make_clinic(true);
	claim_of(26, 20, "");
	const pd_claim_trial *t = &answer.trial;

	ck_assert_msg(t->refusal == NULL, "%s", t->refusal);
	ck_assert_uint_eq(t->n_both, PATIENTS / 2);
	ck_assert_double_eq_tol(t->sd_both, 0.15 * sqrt(2 / 3.), 0.03);
	ck_assert_double_eq_tol(t->sd, t->sd_both, 0.02);
	ck_assert(t->sd_low < t->sd && t->sd < t->sd_high);
	ck_assert_uint_eq(t->n_sizes, 4);
	for (size_t i = 0; i < 2; i++) {
		pd_trial trial = { PD_TRIAL_PAIRS,
			           i ? -log(0.8) : answer.reading[0].claim.log
			                               .value,
			           t->sd, 0.05, 2, 0, 0, 0 };

		ck_assert_double_eq_tol(pd_power_t(&trial, t->size[i].n),
		                        t->size[i].power, 1e-9);
		ck_assert(t->size[i].power >= 0.8);
		ck_assert(t->size[i].n_wide >= t->size[i].n);
		ck_assert(t->size[i].n_more >= t->size[i].n);
		if (!isnan(t->size[i].n_before))
			ck_assert(t->size[i].power_before < 0.8);
	}
}
END_TEST

/* More pulls averaged a side, less spread; a single pull a site and side in
 * the data leaves all of it between sides, which nothing averages away. */
START_TEST(more_sites_a_side)
{
	for (int p = 1; p <= 30; p++)
		for (int side = 0; side < 2; side++)
			for (int hole = 0; hole < 3; hole++)
				for (int pull = 1; pull <= 2; pull++)
					answer_add((struct pull){
					    .patient = p,
					    .site = 3 * side + hole + 1,
					    .aliquot = pull, .syringe = 50,
					    .dish_1 = 20, .dish_2 = 20,
					    .age = 40 + p % 29, .volume = 8,
					    .side = side ? "right" : "left",
					    .tnc = 20 *
					        exp(0.3 * answer_noise(p, 1) +
					            0.3 * answer_noise(p, 2 + 3 * side + hole) +
					            0.2 * answer_noise(p, 20 + 9 * side + 3 * hole + pull)) });
	store = answer_load();
	static const char with[] =
	    CLAIM "ratio = 1.3\n[clinic]\nwhere = syringe_ml is 50\n[trial]\n";
	char text[600];
	double sd[3];
	const char *const draws[3] = { "", "pulls_per_site = 2\n",
		                       "sites_per_side = 3\n" };

	for (int i = 0; i < 3; i++) {
		snprintf(text, sizeof text, "%s%s", with, draws[i]);
		run(text, false);
		ck_assert_msg(answer.trial.refusal == NULL, "%s",
		              answer.trial.refusal);
		sd[i] = answer.trial.sd;
	}
	/* sqrt(2 (0.3^2 + 0.2^2) / 3) for one pull of one hole */
	ck_assert_double_eq_tol(sd[0], sqrt(2 * 0.13 / 3), 0.06);
	ck_assert(sd[1] < sd[0] && sd[2] < sd[1]);
}
END_TEST

START_TEST(the_list_is_balanced_and_repeatable)
{
	pd_claim_patient keep[100];
	int left = 0, first = 0, in_block[40] = { 0 }, both[40][4] = { { 0 } };
	size_t same = 0;

	make_clinic(true);
	claim_of(26, 20, "[trial]\npatients = 100\n");
	ck_assert_uint_eq(answer.trial.n_list, 100);
	memcpy(keep, answer.trial.list, sizeof keep);
	for (size_t i = 0; i < 100; i++) {
		const pd_claim_patient *k = &keep[i];

		ck_assert_uint_eq(k->number, i + 1);
		ck_assert_uint_lt(k->block, 40);
		left += k->device_left;
		first += k->left_first;
		in_block[k->block]++;
		both[k->block][2 * k->device_left + k->left_first]++;
	}
	for (unsigned b = 1; b < keep[99].block; b++) /* the last may be cut */
		for (int w = 0; w < 4; w++)
			ck_assert_int_eq(4 * both[b][w], in_block[b]);
	ck_assert_int_le(abs(left - 50), 2);
	ck_assert_int_le(abs(first - 50), 2);
	claim_of(26, 20, "[trial]\npatients = 100\n");
	for (size_t i = 0; i < 100; i++)
		ck_assert(keep[i].device_left == answer.trial.list[i].device_left &&
		          keep[i].left_first == answer.trial.list[i].left_first);
	file.plan.seed = 8;
	pd_error err = { 0 };
	pd_run_options o = { .date = answer_ask_date };

	ck_assert_int_eq(pd_claim_run(store, &file, &o, arena, &answer, &err),
	                 PD_OK);
	for (size_t i = 0; i < 100; i++)
		same += keep[i].device_left == answer.trial.list[i].device_left;
	ck_assert_uint_lt(same, 100);
}
END_TEST

/* --- the document -------------------------------------------------------- */

static pd_buf page;

/* Lines joined, so that a sentence is found wherever it is broken. */
static void join_lines(char *text)
{
	char *to = text;

	for (const char *c = text; *c; c++) {
		char x = *c == '\n' ? ' ' : *c;

		if (x != ' ' || (to > text && to[-1] != ' '))
			*to++ = x;
	}
	*to = '\0';
}

/* The answer as text, until the next. */
static void written(void)
{
	pd_doc *doc = NULL;
	pd_error err = { 0 };
	pd_text_style style = { .width = 200 };

	pd_buf_clear(&page);
	ck_assert_msg(pd_compose_claim(&answer, &doc, &err) == PD_OK, "%s",
	              err.text);
	ck_assert_int_eq(pd_doc_write_text(doc, &style, &page, &err), PD_OK);
	pd_buf html;

	pd_buf_init(&html);
	ck_assert_int_eq(pd_doc_write_html(doc, &html, &err), PD_OK);
	ck_assert(strstr(pd_buf_text(&html), "</html>") != NULL);
	ck_assert(strstr(pd_buf_text(&html), ">nan") == NULL);
	ck_assert(strstr(pd_buf_text(&page), " nan") == NULL);
	ck_assert(strstr(pd_buf_text(&page), "(null)") == NULL);
	pd_buf_clear(&html);
	pd_doc_free(doc);
	join_lines(page.data);
}

static void says(const char *words)
{
	ck_assert_msg(strstr(pd_buf_text(&page), words) != NULL,
	              "'%s' is not in\n%.2500s", words, pd_buf_text(&page));
}

static void never_says(const char *words)
{
	ck_assert_msg(strstr(pd_buf_text(&page), words) == NULL,
	              "'%s' is in the page", words);
}

START_TEST(words_of_the_page)
{
	pd_buf_init(&page);
	make_clinic(true);
	claim_of(20, 12, "");
	written();
	says("Its comparator: Weak");
	says("Adverse events at the site");
	says("Which side gets the device");
	claim_of(26, 20, "");
	written();
	never_says("Its comparator: Weak");
	claim_of(60, 20, "");
	written();
	says("Less than claimed");
	run(CLAIM "wording = 300 % higher\n", false);
	written();
	says("can mean 4 times as much or 3 times as much");
	says("no numbers of the comparator are printed");
	says("The number of patients is not printed");
	run("[claim]\ntitle = t\noutcome = cfu_f\njudge = concentration\n"
	    "[device]\nn = 9\nmean = 3\nsd = 1\nunit = per 10^6\n"
	    "material = aspirate\n", false);
	written();
	says("No ratio can be made of it");
	run(CLAIM "ratio = 1.5\npaired = yes\nn = 4\n[clinic]\n"
	    "where = syringe_ml is 50\n", false);
	written();
	says("smallest exact P they can reach is 0.1250: no result could have "
	     "been told from none");
	says("with this clinic's spread");
	pd_buf_clear(&page);
}
END_TEST

/* --- cost, ledger, order ------------------------------------------------- */

START_TEST(cost_follows_the_effect_here)
{
	make_clinic(false);
	claim_of(26, 20, "");
	ck_assert_uint_eq(answer.n_costs, 2); /* cells, and colonies beside */
	const pd_claim_cost *c = &answer.cost[0];

	ck_assert_double_eq(answer.price_more, 30);
	ck_assert_double_eq_tol(c->ml, 8, 1e-9);
	ck_assert_double_eq_tol(c->gain,
	                        c->base * (answer.here->effect[0].value - 1),
	                        1e-10);
	if (!c->no_gain)
		ck_assert_double_eq_tol(c->cost * c->gain, 30, 1e-9);
}
END_TEST

START_TEST(readings_are_counted_once)
{
	char text[1500];

	make_clinic(false);
	snprintf(text, sizeof text, CLAIM DEVICE OTHER CLINIC, 26., 24., 28.,
	         20., 18., 22.);
	run(text, true);
	ck_assert_uint_eq(answer.here->n_looks, 1);
	double value = answer.here->effect[0].value;

	run(text, true);
	ck_assert_uint_eq(answer.here->n_looks, 1);
	ck_assert_double_eq(answer.here->effect[0].value, value);
}
END_TEST

START_TEST(rows_in_any_order)
{
	make_clinic(true);
	claim_of(26, 20, "");
	double centre = answer.usual[0].centre, sd = answer.trial.sd;
	double here = answer.here->effect[0].value;
	double weighted = answer.weighted.ratio.value;

	pd_store_close(store);
	answer_no_store();
	answer_shuffle();
	store = answer_load();
	claim_of(26, 20, "");
	ck_assert_double_eq_tol(answer.usual[0].centre, centre, 1e-7);
	ck_assert_double_eq_tol(answer.trial.sd, sd, 1e-6);
	ck_assert_double_eq_tol(answer.here->effect[0].value, here, 1e-7);
	ck_assert_double_eq_tol(answer.weighted.ratio.value, weighted, 1e-7);
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("claim in a clinic");
	TCase *c = tcase_create("all");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, a_weak_comparator_is_found);
	tcase_add_test(c, a_fair_comparator_is_not_called_weak);
	tcase_add_test(c, ages_are_matched);
	tcase_add_test(c, method_versions_stand_apart);
	tcase_add_test(c, here_is_what_the_question_says);
	tcase_add_test(c, claims_far_off_are_told_from_here);
	tcase_add_test(c, weights_where_nothing_is_paired);
	tcase_add_test(c, a_clinic_without_the_device);
	tcase_add_test(c, sides_are_needed_for_pairs_of_sides);
	tcase_add_test(c, the_spread_between_sides);
	tcase_add_test(c, more_sites_a_side);
	tcase_add_test(c, the_list_is_balanced_and_repeatable);
	tcase_add_test(c, words_of_the_page);
	tcase_add_test(c, cost_follows_the_effect_here);
	tcase_add_test(c, readings_are_counted_once);
	tcase_add_test(c, rows_in_any_order);
	suite_add_tcase(s, c);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	srunner_run_all(r, CK_NORMAL);
	int failed = srunner_ntests_failed(r);

	printf("%d passed, %d failed\n", srunner_ntests_run(r) - failed, failed);
	srunner_free(r);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
