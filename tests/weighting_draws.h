/*
 * weighting_draws.h - draws of two arms, made up, with patients in one arm or
 * in both: what the tests of chances, weights and balance are run on.
 */
#ifndef PERDRAW_TESTS_WEIGHTING_DRAWS_H
#define PERDRAW_TESTS_WEIGHTING_DRAWS_H

#include "stats/weighting.h"

#include <check.h>
#include <math.h>
#include <string.h>

static inline void near_to(const char *what, double got, double want,
                           double relative)
{
	double room = relative * fmax(fabs(want), want == 0);

	ck_assert_msg(fabs(got - want) <= room, "%s: got %.17g, wanted %.17g",
	              what, got, want);
}

static const struct {
	int patient, arm;
	double age, bmi;
	int bone;
	double y;
} draw[] = {
	{ 0, 1, 70, 22.7, 0, 6.288 },  { 1, 1, 43, 26, 0, 5.737 },
	{ 1, 1, 43, 26, 0, 4.632 },    { 2, 0, 65, 34.9, 1, 5.142 },
	{ 3, 1, 41, 26.6, 1, 7.015 },  { 3, 0, 41, 26.6, 1, 6.647 },
	{ 4, 1, 54, 23.9, 0, 5.599 },  { 4, 1, 54, 23.9, 0, 5.283 },
	{ 5, 1, 63, 27.4, 2, 6.074 },  { 6, 1, 69, 27, 0, 5.171 },
	{ 6, 0, 69, 27, 0, 5.147 },    { 7, 1, 68, 38.2, 0, 5.754 },
	{ 8, 0, 58, 30.1, 2, 6.088 },  { 8, 0, 58, 30.1, 2, 6.095 },
	{ 9, 0, 66, 27, 0, 6.097 },    { 9, 1, 66, 27, 0, 6.324 },
	{ 10, 1, 61, 26.1, 0, 5.755 }, { 11, 1, 66, 28.8, 0, 6.829 },
	{ 11, 1, 66, 28.8, 0, 6.417 }, { 12, 1, 49, 25.9, 0, 5.587 },
	{ 13, 0, 24, 31, 2, 6.375 },   { 13, 0, 24, 31, 2, 6.159 },
	{ 14, 1, 66, 20.2, 0, 5.521 }, { 14, 1, 66, 20.2, 0, 5.234 },
	{ 15, 1, 49, 32.1, 2, 5.247 }, { 16, 0, 41, 24.7, 1, 6.398 },
	{ 16, 0, 41, 24.7, 1, 5.61 },  { 17, 1, 56, 29.6, 0, 6.045 },
	{ 18, 0, 43, 26.3, 2, 5.191 }, { 18, 1, 43, 26.3, 2, 5.843 },
	{ 19, 0, 49, 24.7, 1, 5.187 }, { 19, 0, 49, 24.7, 1, 5.58 },
	{ 20, 1, 48, 35.2, 1, 6.651 }, { 21, 1, 38, 28.3, 1, 5.828 },
	{ 21, 0, 38, 28.3, 1, 5.386 }, { 22, 1, 49, 25.8, 2, 6.315 },
	{ 23, 0, 39, 28.7, 0, 6.676 }, { 23, 0, 39, 28.7, 0, 6.754 },
	{ 24, 0, 47, 30, 0, 6.274 },   { 24, 1, 47, 30, 0, 6.579 },
	{ 25, 1, 62, 31.9, 1, 4.919 }, { 26, 0, 58, 27.6, 2, 6.015 },
	{ 26, 0, 58, 27.6, 2, 5.809 }, { 27, 1, 53, 25.9, 2, 5.817 },
};
enum { N = sizeof draw / sizeof *draw, P = 5, PATIENTS = 28 };

static const char *const names[P] = { "intercept", "age_y", "bmi", "bone B",
	                              "bone C" };

/* The draws as arrays; rows may be taken in another order. */
struct data {
	double x[N * P], y[N];
	int32_t arm[N], patient[N];
	pd_logistic_data d;
};

static inline void fill(struct data *t, size_t turn)
{
	for (size_t i = 0; i < N; i++) {
		size_t k = (i * (turn ? turn : 1)) % N;
		const double row[P] = { 1, draw[k].age, draw[k].bmi,
			                draw[k].bone == 1, draw[k].bone == 2 };

		memcpy(t->x + i * P, row, sizeof row);
		t->y[i] = draw[k].y;
		t->arm[i] = draw[k].arm;
		t->patient[i] = draw[k].patient;
	}
	t->d = (pd_logistic_data){ N, P, t->x, t->arm, names };
}

static inline pd_logistic *fitted(const pd_logistic_data *d)
{
	pd_logistic *f;
	pd_error err = { .text = "" };

	ck_assert_msg(pd_logistic_fit(d, &f, &err) == PD_OK, "%s", err.text);
	return f;
}

#endif
