/*
 * run.h - running a cell, judging what was counted, and the page that shows
 * it.
 */
#ifndef PERDRAW_TESTS_RUN_H
#define PERDRAW_TESTS_RUN_H

#include "cell.h"

#include <stdio.h>

/* One method over all sets of a cell. */
typedef struct sim_count {
	uint64_t sets, answered, hits;
	uint64_t not_finite;  /* PD_OK with an end that is NaN               */
	double length;        /* mean over answered sets with both ends      */
} sim_count;

/* Runs `sets` sets on up to 16 threads; the same counts for any number of
 * them. PD_NO_MEMORY; PD_INTERNAL where a thread cannot be started. */
pd_status sim_run(const sim_cell *cell, uint64_t sets, unsigned threads,
                  sim_count *out);

/* P(X <= k) of X binomial (n, p), summed from its terms. */
double sim_binomial(uint64_t k, uint64_t n, double p);

typedef enum sim_word { SIM_KEEPS, SIM_MISSES, SIM_ALONE } sim_word;

/* After a full run: NEAR within 0.01 of what is asked; LEAST and MOST unless
 * the count beyond has a chance below 0.001. */
sim_word sim_judge(const sim_method *m, const sim_count *c);

/*
 * The quick run: least and most hits among n answers that are let pass. A
 * method that keeps its rule falls outside with a chance below 1e-4 a side;
 * *weak is the chance that one which covers 90 % where 95 % is asked (or
 * claims 10 % where 5 % is) passes all the same.
 */
void sim_limits_of(const sim_method *m, uint64_t n, uint64_t *least,
                   uint64_t *most, double *weak);

/* A line a method, tabs between; and back. Returns 0 where the cell is not in
 * the file with these sets. */
void sim_keep(FILE *f, const sim_cell *cell, const sim_count *c);
int sim_recall(const char *path, const sim_cell *cell, uint64_t sets,
               sim_count *c);

/* The rows of a cell in the table of docs/coverage.md. */
void sim_page_cell(FILE *f, const sim_cell *cell, const sim_count *c);
/* Everything between the two marks of the page is replaced by `made`, a text
 * of length bytes. 0 when done. */
int sim_page_write(const char *path, const char *made, size_t length);

#endif
