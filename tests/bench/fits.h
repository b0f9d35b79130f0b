/*
 * fits.h - what the timed fits share: the file's rows as arrays, and a table
 * of workloads.
 */
#ifndef PERDRAW_BENCH_FITS_H
#define PERDRAW_BENCH_FITS_H

#include "base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Rows of gen.c's file, NaN where blank or a limit. */
struct table {
	size_t n, n_cases;
	double *age, *female, *site, *second, *log_ml, *syringe, *log_tnc;
	double *plated, *dish;           /* dish_1                            */
	int32_t *patient, *case_, *side_code, *site_code;
};

struct table *table_read(const char *path);

/* The model of TNC: rows, columns (constant first) and the four levels. */
struct cells {
	size_t n, p;
	double *x, *y;
	int32_t *group[4];
};

/* The model of colonies: constant, age, sex, site, second pull. */
struct colonies {
	size_t n, p;
	double *x, *y, *offset;
	int32_t *group;
};

void cells_of(const struct table *t, struct cells *out);
void colonies_of(const struct table *t, struct colonies *out);
/* Mean over a case's sites of log TNC, second pull less first. */
double *differences_of(const struct table *t, size_t *n);

/* Stop the program when a call failed. */
void need(bool true_or_stop, const char *what);
void must(pd_status status, const char *what);
void *room_for(size_t n, size_t size);

#endif
