/*
 * check_propensity.c - the chance of an arm: logistic regression. Values
 * marked R: R 4.2.2, glm with epsilon 1e-15.
 */
#include "weighting_draws.h"

#include <stdio.h>
#include <stdlib.h>

/* ---- the chances ------------------------------------------------------ */

/* R. */
static const double coef[P] = { -0.42152805043009, 0.0429307508264457,
	-0.0303052370699897, -1.2970369781245, -1.1658875666183 };
static const double coef_se[P] = { 3.20704377294377, 0.0322583587013472,
	0.102492250340999, 0.867830983750991, 0.82169116870378 };

START_TEST(chances_known)
{
	struct data t;
	pd_logistic *f;
	double score[P] = { 0 };

	fill(&t, 1);
	f = fitted(&t.d);
	for (int j = 0; j < P; j++) {
		near_to("coefficient", f->coef[j], coef[j], 1e-10);
		near_to("its se", f->se[j], coef_se[j], 1e-8);
	}
	near_to("log-likelihood", f->log_likelihood, -25.9210083235648, 1e-13);
	ck_assert_uint_eq(f->n_first, 25);
	for (int i = 0; i < N; i++)
		for (int j = 0; j < P; j++)
			score[j] += t.x[i * P + j] *
			            (t.arm[i] - f->chance[i]);
	for (int j = 0; j < P; j++)
		ck_assert(fabs(score[j]) < 1e-11);
	pd_logistic_free(f);
}
END_TEST

/* A table of four counts: the log odds ratio and its se sqrt(sum 1 / count)
 * (Woolf 1955, by hand). */
START_TEST(chances_of_four)
{
	enum { A = 17, B = 9, C = 5, D = 23, ALL = A + B + C + D };
	double x[2 * ALL];
	int32_t arm[ALL];
	pd_logistic *f;

	for (int i = 0; i < ALL; i++) {
		x[2 * i] = 1;
		x[2 * i + 1] = i < A + B;
		arm[i] = i < A || i >= A + B + C;
	}
	f = fitted(&(pd_logistic_data){ ALL, 2, x, arm, NULL });
	near_to("odds ratio", exp(f->coef[1]), 17.0 / 9 / (23.0 / 5), 1e-12);
	near_to("se", f->se[1], sqrt(1.0 / A + 1.0 / B + 1.0 / C + 1.0 / D),
	        1e-12);
	near_to("chance", f->chance[0], 17.0 / 26, 1e-13);
	near_to("rest", f->rest[0], 9.0 / 26, 1e-13);
	pd_logistic_free(f);
}
END_TEST

/* Another unit, a large offset: the same chances. */
START_TEST(chances_of_units)
{
	struct data t, u;
	pd_logistic *a, *b;

	fill(&t, 1);
	fill(&u, 1);
	for (int i = 0; i < N; i++) {
		u.x[i * P + 1] = 1e9 + t.x[i * P + 1];
		u.x[i * P + 2] = 1e-9 * t.x[i * P + 2];
	}
	a = fitted(&t.d);
	b = fitted(&u.d);
	for (int i = 0; i < N; i++)
		near_to("chance", b->chance[i], a->chance[i], 1e-8);
	near_to("slope", b->coef[1], a->coef[1], 1e-6);
	near_to("se", b->se[1], a->se[1], 1e-6);
	near_to("small unit", 1e-9 * b->coef[2], a->coef[2], 1e-6);
	near_to("its se", 1e-9 * b->se[2], a->se[2], 1e-6);
	pd_logistic_free(a);
	pd_logistic_free(b);
}
END_TEST

static void refused(const pd_logistic_data *d, pd_status want, const char *says)
{
	pd_logistic *f;
	pd_error err = { .text = "" };
	pd_status st = pd_logistic_fit(d, &f, &err);

	ck_assert_msg(st == want && !f && strstr(err.text, says),
	              "status %d, '%s', wanted '%s'", st, err.text, says);
	ck_assert(pd_logistic_fit(d, &f, NULL) == want);
}

START_TEST(chances_refused)
{
	struct data t;

	fill(&t, 1);
	t.x[7 * P + 2] = NAN;
	refused(&t.d, PD_DATA, "row 8: 'bmi' is");
	fill(&t, 1);
	t.arm[3] = 2;
	refused(&t.d, PD_DATA, "row 4: the arm is 2");
	for (int i = 0; i < N; i++)
		t.arm[i] = 1;
	refused(&t.d, PD_REFUSED, "all 44 rows are in one arm");
	fill(&t, 1);
	for (int i = 0; i < N; i++)
		t.x[i * P + 3] = 3 - 0.1 * t.x[i * P + 1];
	refused(&t.d, PD_REFUSED, "'bone B' adds nothing");
	t.d.name = NULL;
	refused(&t.d, PD_REFUSED, "column 4 adds nothing");
	fill(&t, 1);
	t.d.n = P;
	refused(&t.d, PD_REFUSED, "5 columns on 5 rows");
}
END_TEST

/* The arms are told apart by a column, by a level, by two columns. */
START_TEST(chances_separated)
{
	struct data t;

	fill(&t, 1);
	for (int i = 0; i < N; i++)
		t.arm[i] = draw[i].age > 50;
	refused(&t.d, PD_REFUSED, "perfectly separated by 'age_y': its");
	fill(&t, 1);
	for (int i = 0; i < N; i++)
		if (draw[i].bone == 1)
			t.arm[i] = 1;
	refused(&t.d, PD_REFUSED, "perfectly separated by 'bone B': on one "
	        "side");
	fill(&t, 1);
	for (int i = 0; i < N; i++)
		t.arm[i] = draw[i].age + 2.5 * draw[i].bmi > 124;
	refused(&t.d, PD_REFUSED, "perfectly separated by ");
	refused(&t.d, PD_REFUSED, "'age_y' and 'bmi'");
	refused(&t.d, PD_REFUSED, "taken together");
	/* in part: on the line itself both arms occur */
	fill(&t, 1);
	for (int i = 0; i < N; i++) {
		double off = draw[i].age + 2.5 * draw[i].bmi - 124;

		t.arm[i] = off > 0;
		if (i < 2) { /* the two at once on the line */
			t.x[i * P + 1] = 64 + 5 * i;
			t.x[i * P + 2] = 24 - 2 * i;
			t.x[i * P + 3] = t.x[i * P + 4] = 0;
			t.arm[i] = i;
		}
	}
	refused(&t.d, PD_REFUSED, "'age_y' and 'bmi'");
	/* one step back from there and the chances exist */
	t.arm[0] = 1;
	t.arm[1] = 0;
	t.x[0 * P + 1] = 40;
	t.x[1 * P + 1] = 80;
	pd_logistic_free(fitted(&t.d));
}
END_TEST

static Suite *suite(void)
{
	Suite *s = suite_create("propensity");
	TCase *t;

	t = tcase_create("chances");
	tcase_add_test(t, chances_known);
	tcase_add_test(t, chances_of_four);
	tcase_add_test(t, chances_of_units);
	tcase_add_test(t, chances_refused);
	tcase_add_test(t, chances_separated);
	suite_add_tcase(s, t);
	return s;
}

int main(void)
{
	SRunner *r = srunner_create(suite());

	pd_base_init();
	srunner_run_all(r, CK_NORMAL);
	int passed = srunner_ntests_run(r) - srunner_ntests_failed(r);
	int failed = srunner_ntests_failed(r);

	srunner_free(r);
	printf("%d passed, %d failed\n", passed, failed);
	return failed ? 1 : 0;
}
