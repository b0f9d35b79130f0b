/*
 * fits.c - one workload of the statistics, timed.
 *
 *   fits WORKLOAD FILE [RUNS]
 *   fits list
 *
 * FILE is gen.c's. Prints, parted by tabs: workload, cases, rows, median
 * seconds of RUNS (5), least, most, peak MB of the process, and a number the
 * work came to, which the reference must come to as well. Reading the file is
 * not timed; what is: from arrays to the answer.
 */
#include "fits.h"

#include "stats/bootstrap.h"
#include "stats/count_mixed.h"
#include "stats/linear.h"
#include "stats/nested_profile.h"
#include "stats/paired.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

enum { SECOND_PULL = 4, MOST_RUNS = 100, DRAWS = 10000, FLIPS = 100000 };

static double now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Seconds of one run; *answer what it came to. */
typedef double timed(const struct table *t, double *answer);

/* --- mixed models of log TNC -------------------------------------------- */

static pd_nested *fit_cells(const struct cells *c, size_t from, size_t depth,
                            bool ml)
{
	pd_nested_spec s = { .n = c->n, .p = c->p, .x = c->x, .y = c->y,
		             .depth = depth, .ml = ml };
	pd_nested *m;

	for (size_t k = 0; k < depth; k++)
		s.group[k] = c->group[from + k];
	must(pd_nested_new(&s, &m, NULL), "taking the rows");
	must(pd_nested_fit(m, NULL), "fitting");
	return m;
}

static double reml(const struct table *t, size_t from, size_t depth,
                   double *answer)
{
	struct cells c;

	cells_of(t, &c);
	double start = now();
	pd_nested *m = fit_cells(&c, from, depth, false);
	double took = now() - start;

	*answer = pd_nested_beta(m)[SECOND_PULL];
	pd_nested_free(m);
	return took;
}

static double four_levels(const struct table *t, double *answer)
{
	return reml(t, 0, 4, answer);
}

static double one_level(const struct table *t, double *answer)
{
	return reml(t, 1, 1, answer);
}

static double small_sample(const struct table *t, double *answer)
{
	struct cells c;

	cells_of(t, &c);
	pd_nested *m = fit_cells(&c, 0, 4, false);
	double *w = room_for(c.p, sizeof *w), start = now();

	for (size_t j = 0; j < c.p; j++) {
		pd_estimate e;

		memset(w, 0, c.p * sizeof *w);
		w[j] = 1;
		must(pd_nested_contrast(m, w, 0.95, PD_KENWARD_ROGER, &e,
		                        NULL), "a contrast");
		if (j == SECOND_PULL)
			*answer = e.df;
	}
	double took = now() - start;

	free(w);
	pd_nested_free(m);
	return took;
}

static double profile(const struct table *t, double *answer)
{
	struct cells c;
	pd_profile p;

	cells_of(t, &c);
	pd_nested *m = fit_cells(&c, 0, 4, true);
	double *w = room_for(c.p, sizeof *w);

	w[SECOND_PULL] = 1;
	double start = now();

	must(pd_nested_profile_contrast(m, w, 0.95, &p, NULL), "a profile");
	double took = now() - start;

	*answer = p.e.low;
	free(w);
	pd_nested_free(m);
	return took;
}

/* --- counts ----------------------------------------------------------------- */

static double counts(const struct table *t, bool extra, double *answer)
{
	struct colonies c;
	pd_arena *arena = pd_arena_new();
	pd_mixed_fit fit;

	need(arena != NULL, "memory");
	colonies_of(t, &c);
	pd_mixed_spec s = { .rows = { .n = c.n, .p = c.p, .x = c.x, .y = c.y,
		                      .offset = c.offset, .extra = extra },
		            .group = c.group, .nodes = 9 };
	double start = now();

	must(pd_count_mixed(arena, &s, &fit, NULL), "fitting counts");
	double took = now() - start;

	*answer = fit.beta[SECOND_PULL];
	pd_arena_free(arena);
	return took;
}

static double poisson(const struct table *t, double *answer)
{
	return counts(t, false, answer);
}

static double negative_binomial(const struct table *t, double *answer)
{
	return counts(t, true, answer);
}

/* --- least squares and resampling ----------------------------------------- */

static double least_squares(const struct table *t, double *answer)
{
	struct cells c;
	pd_linear_data d = { .intercept = 1 };
	pd_regressor *column;
	pd_linear_fit *fit;

	cells_of(t, &c);
	column = room_for(c.p, sizeof *column);
	for (size_t j = 1; j < c.p; j++) {
		double *v = room_for(c.n, sizeof *v);

		for (size_t i = 0; i < c.n; i++)
			v[i] = c.x[i * c.p + j];
		column[j - 1] = (pd_regressor){ "column", v, NULL };
	}
	d.n = c.n;
	d.y = c.y;
	d.n_columns = c.p - 1;
	d.column = column;
	double start = now();

	must(pd_linear(&d, &fit, NULL), "least squares");
	double took = now() - start;

	*answer = fit->coef[SECOND_PULL];
	pd_linear_free(fit);
	return took;
}

static double bootstrap(const struct table *t, double *answer)
{
	size_t n;
	double *d = differences_of(t, &n);
	pd_boot_plan plan = { .n_rows = n, .level = 0.95, .draws = DRAWS,
		              .seed = 1 };
	pd_boot b;
	double start = now();

	must(pd_bootstrap_mean(&plan, d, &b, NULL), "resampling");
	double took = now() - start;

	*answer = b.percentile_low;
	free(d);
	return took;
}

static double flips(const struct table *t, double *answer)
{
	size_t n;
	double *d = differences_of(t, &n);
	pd_flip_result r;

	/* what is left of a large effect, so that patterns reach it */
	double mean = 0;

	for (size_t i = 0; i < n; i++)
		mean += d[i] / (double)n;
	for (size_t i = 0; i < n; i++)
		d[i] -= 0.98 * mean;
	double start = now();

	must(pd_sign_flip(d, n, FLIPS, 1, &r, NULL), "flipping signs");
	double took = now() - start;

	*answer = r.p;
	free(d);
	return took;
}

static const struct work {
	const char *name;
	timed *run;
} works[] = {
	{ "four-levels", four_levels },
	{ "one-level", one_level },
	{ "kenward-roger", small_sample },
	{ "profile-one", profile },
	{ "poisson-nodes-9", poisson },
	{ "nb2-nodes-9", negative_binomial },
	{ "least-squares", least_squares },
	{ "bootstrap-10000", bootstrap },
	{ "sign-flip-100000", flips },
};

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static int time_it(const struct work *w, const struct table *t, size_t runs)
{
	double took[MOST_RUNS], answer = NAN;
	struct rusage use;

	for (size_t k = 0; k < runs; k++)
		took[k] = w->run(t, &answer);
	qsort(took, runs, sizeof *took, by_size);
	getrusage(RUSAGE_SELF, &use);
	printf("%s\t%zu\t%zu\t%.6f\t%.6f\t%.6f\t%ld\t%.9g\n", w->name,
	       t->n_cases, t->n, (took[(runs - 1) / 2] + took[runs / 2]) / 2,
	       took[0], took[runs - 1], use.ru_maxrss / 1024, answer);
	return 0;
}

int main(int argc, char **argv)
{
	size_t runs = argc > 3 ? strtoul(argv[3], NULL, 10) : 5;

	pd_base_init();
	for (size_t k = 0; k < sizeof works / sizeof *works; k++)
		if (argc == 2 && strcmp(argv[1], "list") == 0)
			puts(works[k].name);
		else if (argc > 2 && strcmp(works[k].name, argv[1]) == 0 &&
		         runs >= 1 && runs <= MOST_RUNS)
			return time_it(&works[k], table_read(argv[2]), runs);
	if (argc == 2 && strcmp(argv[1], "list") == 0)
		return 0;
	fputs("fits WORKLOAD FILE [RUNS], fits list\n", stderr);
	return 2;
}
