/*
 * property_data.h - random designs for the properties that must hold for any
 * data, and what the tests of properties share.
 */
#ifndef PERDRAW_TESTS_PROPERTY_DATA_H
#define PERDRAW_TESTS_PROPERTY_DATA_H

#include "base/arena.h"
#include "base/status.h"

#include <check.h>
#include <stdint.h>

enum { ROWS = 512, MADE = 240, P = 3, DESIGNS = 6, PERTURBED = 1000 };

/* Columns: 1, arm (0 or 1), a number. low, high: limits of y, equal where it
 * is known; colonies: whole numbers on the exposure exp(offset). */
typedef struct data {
	size_t n, patients;
	double x[ROWS * P], y[ROWS], colonies[ROWS], offset[ROWS];
	double low[ROWS], high[ROWS];
	int32_t patient[ROWS], visit[ROWS];
} data;

extern pd_arena *arena; /* new for each test                             */
extern pd_error err;

/* |got - want| <= relative |want|, or <= margin. */
void near(const char *what, double got, double want, double relative);
void close_to(const char *what, double got, double want, double margin);
void ok(const char *what, pd_status st);
/* Refused, and the words hold `name`. */
void refused_by_name(pd_status st, const char *name);

/* 0 even; 1 uneven, single rows too; 2 tied values; 3 no patient variance;
 * 4 sparse colonies; 5 few rows. */
data *make(int design, uint64_t seed);
/* The rows in another order. */
data *shuffled(const data *from, uint64_t seed);
/* Every patient twice, the second time under another name. */
data *doubled(const data *from);
/* Names of groups replaced by others, order upside down. */
void rename_groups(data *d);
/* The arms named the other way round. */
void swap_arms(data *d);
void scale(double *v, size_t n, double by);
/* d->x and a fourth column that is 3.25 in every row. */
double *with_constant(const data *d);

/* Two tests in a case of their own, each for all designs. */
void pair_of(Suite *s, const char *name, const TTest *one, const TTest *two);
/* Runs, prints 'N passed, N failed', gives main's answer. */
int run_suite(Suite *s);

#endif
