/*
 * check_pooled.c - files of printed ratios: what is read, what is refused and
 * where, what goes together, and that the pool is the pool room's.
 */
#include "answer_help.h"
#include "plan/pooled.h"
#include "stats/pool.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define HEADS "source,outcome,judge,first,second,ratio,low,high,level,n\n"
#define ROW "cfu_f,concentration,pull 2,pull 1,"

static char path[64];

static void write_file(const char *text)
{
	int fd;

	snprintf(path, sizeof path, "check_pooled.XXXXXX");
	fd = mkstemp(path);
	ck_assert_int_ge(fd, 0);
	ck_assert_int_eq(write(fd, text, strlen(text)), (ssize_t)strlen(text));
	close(fd);
}

static pd_status run(pd_arena *arena, const char *text,
                     pd_pooled_request ask, pd_pooled_answer *out,
                     pd_error *err)
{
	write_file(text);
	ask.path = path;
	if (ask.level <= 0)
		ask.level = 0.95;
	pd_status st = pd_pooled_run(&ask, arena, out, err);

	unlink(path);
	return st;
}

static const struct {
	const char *text;
	size_t line, column;
	const char *words;
} bad[] = {
	{ "", 0, 0, "no row" },
	{ HEADS, 0, 0, "no row" },
	{ "source,outcome\nA,tnc\n", 1, 1, "no column 'judge'" },
	{ "source,colour\n", 1, 8, "one of source" },
	{ "source,source\n", 1, 8, "each column once" },
	{ HEADS "A," ROW "half,.4,.6,,\n", 2, 37, "a ratio above 0" },
	{ HEADS "A," ROW "0,.4,.6,,\n", 2, 37, "a ratio above 0" },
	{ HEADS "A," ROW "-1,.4,.6,,\n", 2, 37, "a ratio above 0" },
	{ HEADS "A," ROW ",.4,.6,,\n", 2, 37, "a ratio above 0" },
	{ HEADS "A," ROW ".5,.4,,,\n", 2, 43, "both limits or none" },
	{ HEADS "A," ROW ".5,.6,.4,,\n", 2, 40, "a limit below" },
	{ HEADS "A," ROW ".9,.4,.6,,\n", 2, 37, "between its limits" },
	{ HEADS "A," ROW ".5,.4,.6,95,\n", 2, 46, "a level such as" },
	{ HEADS "A," ROW ".5,.4,1e999,,\n", 2, 43, "a ratio above 0" },
	{ HEADS "," ROW ".5,.4,.6,,\n", 2, 1, "some words" },
	{ HEADS "A,luck,concentration,a,b,.5,.4,.6,,\n", 2, 3, "an outcome" },
	{ HEADS "A,tnc,percent,a,b,.5,.4,.6,,\n", 2, 7, "concentration" },
	{ HEADS "A," ROW ".5,.4,.6,,,,,,,,,\n", 2, 50, "no further cell" },
	{ HEADS "\"A," ROW ".5,.4,.6,,\n", 2, 1, "no CSV" },
};

START_TEST(bad_files)
{
	pd_arena *arena = pd_arena_new();
	pd_pooled_answer a;
	pd_error err = { 0 };

	ck_assert_int_eq(run(arena, bad[_i].text, (pd_pooled_request){ 0 }, &a,
	                     &err), PD_DATA);
	ck_assert_msg(strstr(err.text, bad[_i].words) != NULL,
	              "row %d: %zu:%zu: %s", _i, err.line, err.column,
	              err.text);
	ck_assert_msg(err.line == bad[_i].line && err.column == bad[_i].column,
	              "row %d: at %zu:%zu: %s", _i, err.line, err.column,
	              err.text);
	pd_arena_free(arena);
}
END_TEST

START_TEST(no_file)
{
	pd_arena *arena = pd_arena_new();
	pd_pooled_answer a;
	pd_error err = { 0 };
	pd_pooled_request ask = { .path = "no-such.csv", .level = 0.95 };

	ck_assert_int_eq(pd_pooled_run(&ask, arena, &a, &err), PD_NO_INPUT);
	pd_arena_free(arena);
}
END_TEST

static const char three[] =
    HEADS
    "A," ROW "0.48,0.39,0.59,0.95,24\n"
    "B," ROW "0.62,0.50,0.77,0.90,15\n"
    "C,cfu_f,concentration,pull 1,pull 2,2.35,1.70,3.25,,31\n"
    "D," ROW "0.5,,,,12\n"
    "E,tnc,concentration,pull 2,pull 1,0.66,0.58,0.75,,24\n"
    "F,cfu_f,prevalence,pull 2,pull 1,0.8,0.7,0.9,,\n"
    "G,cfu_f,concentration,pull 3,pull 1,0.3,0.2,0.4,,\n";

/* Standard errors by hand; the third is turned over. */
START_TEST(pool_of_three)
{
	double y[3] = { log(0.48), log(0.62), -log(2.35) };
	double se[3] = { log(0.59 / 0.39) / (2 * 1.959963984540054),
		         log(0.77 / 0.50) / (2 * 1.644853626951472),
		         log(3.25 / 1.70) / (2 * 1.959963984540054) };
	double v[3];
	pd_arena *arena = pd_arena_new();
	pd_pooled_answer a;
	pd_pool want;
	double sum = 0;

	for (int i = 0; i < 3; i++)
		v[i] = se[i] * se[i];
	ck_assert_int_eq(run(arena, three, (pd_pooled_request){ 0 }, &a, NULL),
	                 PD_OK);
	ck_assert_ptr_null(a.refusal);
	ck_assert_uint_eq(a.n_rows, 7);
	ck_assert_uint_eq(a.n_pooled, 3);
	ck_assert_int_eq(pd_pool_fit(y, v, 3, PD_POOL_REML, 0.95, &want, NULL),
	                 PD_OK);
	ck_assert_double_eq_tol(a.pooled.value, want.knapp.value, 1e-12);
	ck_assert_double_eq_tol(a.pooled.low, want.knapp.low, 1e-10);
	ck_assert_double_eq_tol(a.predict_high, want.knapp_predict_high, 1e-10);
	ck_assert(a.row[2].turned);
	ck_assert_double_eq_tol(a.row[2].value, 1 / 2.35, 1e-15);
	ck_assert_double_eq_tol(a.row[2].low, 1 / 3.25, 1e-15);
	for (size_t k = 0; k < 3; k++)
		sum += a.row[k].weight;
	ck_assert_double_eq_tol(sum, 1, 1e-14);
	ck_assert_str_eq(a.row[3].left_out, "no interval was printed");
	ck_assert_str_eq(a.row[4].left_out, "another outcome");
	ck_assert_str_eq(a.row[5].left_out, "judged another way");
	ck_assert_str_eq(a.row[6].left_out, "other arms");
	pd_arena_free(arena);
}
END_TEST

/* Asked the other way round the pool turns over, exactly. */
START_TEST(turned_over)
{
	pd_arena *arena = pd_arena_new();
	pd_pooled_answer a, b;

	ck_assert_int_eq(run(arena, three, (pd_pooled_request){ 0 }, &a, NULL),
	                 PD_OK);
	ck_assert_int_eq(run(arena, three, (pd_pooled_request){
	    .first = "pull 1", .second = "pull 2" }, &b, NULL), PD_OK);
	ck_assert_double_eq_tol(a.pooled.value, -b.pooled.value, 1e-12);
	ck_assert_double_eq_tol(a.pooled.low, -b.pooled.high, 1e-10);
	ck_assert_double_eq_tol(a.tau, b.tau, 1e-10);
	pd_arena_free(arena);
}
END_TEST

START_TEST(too_few)
{
	pd_arena *arena = pd_arena_new();
	pd_pooled_answer a;

	ck_assert_int_eq(run(arena, three, (pd_pooled_request){
	    .outcome = "tnc" }, &a, NULL), PD_OK);
	ck_assert_ptr_nonnull(a.refusal);
	ck_assert_ptr_nonnull(strstr(a.refusal, "a pool needs two"));
	ck_assert_uint_eq(a.n_pooled, 1);
	pd_arena_free(arena);
}
END_TEST

static const char second_pull[] =
    "[plan]\nlooks = 1\n[q]\ntitle = T\noutcome = cfu_f\n"
    "judge = concentration\ncompare = aliquot_no 2 against 1\n"
    "within = site\n";

/* The clinic's own stands beside the pool, and in it only when asked. */
START_TEST(own_ratio)
{
	pd_arena *arena = pd_arena_new();
	pd_plan plan;
	pd_run_options o = { .date = "2024-07-01" };
	pd_pooled_answer beside, within, other;

	for (int p = 0; p < 30; p++)
		for (int k = 0; k < 2; k++)
			answer_add((struct pull){ .patient = p, .site = 1,
			    .aliquot = k + 1, .syringe = 10, .age = 50,
			    .volume = 5, .tnc = 30,
			    .dish_1 = (k ? 12 : 25) + p % 7,
			    .dish_2 = (k ? 11 : 27) + p % 5 });
	pd_store *s = answer_load();

	ck_assert_int_eq(pd_plan_parse(arena, second_pull, strlen(second_pull),
	                               "t.plan", &plan, NULL), PD_OK);
	pd_pooled_request ask = { .store = s, .plan = &plan,
		                  .question = &plan.question[0],
		                  .options = &o };

	ck_assert_int_eq(run(arena, three, ask, &beside, NULL), PD_OK);
	ask.with_house = true;
	ck_assert_int_eq(run(arena, three, ask, &within, NULL), PD_OK);
	ask.outcome = "tnc";
	ck_assert_int_eq(run(arena, three, ask, &other, NULL), PD_OK);
	ck_assert(beside.has_house && !beside.house_pooled);
	ck_assert(within.has_house && within.house_pooled);
	ck_assert_str_eq(beside.house_words, "pull 2 against pull 1");
	/* 30 close pairs weigh much: the pool moves towards them */
	ck_assert(fabs(within.pooled.value - beside.house.value) <
	          fabs(beside.pooled.value - beside.house.value));
	ck_assert(!other.has_house);
	ck_assert_ptr_nonnull(strstr(other.house_refusal, "judges cfu_f"));
	pd_arena_free(arena);
	pd_store_close(s);
}
END_TEST

/*
 * The shipped table: 27.8 (25.4 to 30.5) and 20.1 (18.7 to 21.7) come to 1.38
 * (1.23 to 1.56), worked by hand from the two intervals.
 */
START_TEST(published)
{
	double a = log(30.5 / 25.4) / (2 * 1.96), b = log(21.7 / 18.7) / 3.92;
	double half = 1.96 * sqrt(a * a + b * b), y = log(27.8 / 20.1);
	const char *source = getenv("PERDRAW_SOURCE");
	char file[512];
	pd_arena *arena = pd_arena_new();
	pd_pooled_file f;

	snprintf(file, sizeof file, "%s/docs/published-ratios.csv",
	         source ? source : ".");
	ck_assert_int_eq(pd_pooled_read(arena, file, &f, NULL), PD_OK);
	ck_assert_uint_eq(f.n, 10);
	ck_assert_double_eq_tol(f.row[0].value, exp(y), 0.005);
	ck_assert_double_eq_tol(f.row[0].low, exp(y - half), 0.006);
	ck_assert_double_eq_tol(f.row[0].high, exp(y + half), 0.006);
	pd_arena_free(arena);
}
END_TEST

int main(void)
{
	Suite *suite = suite_create("pooled");
	TCase *c = tcase_create("file"), *d = tcase_create("own");
	SRunner *r;
	int ran, failed;

	pd_base_init();
	tcase_add_loop_test(c, bad_files, 0, sizeof bad / sizeof *bad);
	tcase_add_test(c, no_file);
	tcase_add_test(c, pool_of_three);
	tcase_add_test(c, turned_over);
	tcase_add_test(c, too_few);
	tcase_add_test(c, published);
	tcase_add_checked_fixture(d, answer_setup, answer_teardown);
	tcase_add_test(d, own_ratio);
	suite_add_tcase(suite, c);
	suite_add_tcase(suite, d);
	r = srunner_create(suite);
	srunner_run_all(r, CK_NORMAL);
	ran = srunner_ntests_run(r);
	failed = srunner_ntests_failed(r);
	srunner_free(r);
	printf("%d passed, %d failed\n", ran - failed, failed);
	return failed != 0;
}
