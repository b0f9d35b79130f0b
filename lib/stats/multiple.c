/*
 * multiple.c - adjusting a family of p values; formulas in multiple.h.
 */
#include "stats/multiple.h"

#include <math.h>
#include <stdlib.h>

/* A p value and where it came from. */
struct entry {
	double p;
	size_t at;
};

static int by_p(const void *a, const void *b)
{
	const struct entry *x = a, *y = b;

	if (x->p != y->p)
		return x->p < y->p ? -1 : 1;
	return (x->at > y->at) - (x->at < y->at);
}

/* Holm: running maximum of (m - i) p, i = 0 .. m - 1 ascending. */
static void holm(struct entry *e, size_t m)
{
	double most = 0;

	for (size_t i = 0; i < m; i++) {
		most = fmax(most, (double)(m - i) * e[i].p);
		e[i].p = fmin(1, most);
	}
}

static double step_up_factor(pd_adjust how, size_t i, size_t m)
{
	return how == PD_HOCHBERG ? (double)(m - i)
	                          : (double)m / (double)(i + 1);
}

/* Hochberg, Benjamini-Hochberg, Benjamini-Yekutieli: running minimum from the
 * largest p down. */
static void step_up(struct entry *e, size_t m, pd_adjust how)
{
	double least = 1, harmonic = 1;

	if (how == PD_BENJAMINI_YEKUTIELI)
		for (size_t i = 2; i <= m; i++)
			harmonic += 1 / (double)i;
	for (size_t i = m; i-- > 0;) {
		least = fmin(least,
		             harmonic * step_up_factor(how, i, m) * e[i].p);
		e[i].p = least;
	}
}

/*
 * Hommel by the closed test of Simes, in the form of Wright (1992, Biometrics
 * 48, 1005-1013): for each subset size j from m down to 2 the bound on every
 * p value, in sorted order; q and adjusted are m doubles of room.
 */
static void hommel(struct entry *e, size_t m, double *q, double *adjusted)
{
	double least = INFINITY;

	for (size_t i = 0; i < m; i++)
		least = fmin(least, (double)m * e[i].p / (double)(i + 1));
	for (size_t i = 0; i < m; i++)
		adjusted[i] = q[i] = least;
	for (size_t j = m - 1; j > 1; j--) {
		double tail = INFINITY;

		for (size_t i = 0; i + 1 < j; i++) {
			size_t at = m - j + 1 + i;

			tail = fmin(tail,
			            (double)j * e[at].p / (double)(i + 2));
		}
		for (size_t i = 0; i <= m - j; i++)
			q[i] = fmin((double)j * e[i].p, tail);
		for (size_t i = m - j + 1; i < m; i++)
			q[i] = q[m - j];
		for (size_t i = 0; i < m; i++)
			adjusted[i] = fmax(adjusted[i], q[i]);
	}
	for (size_t i = 0; i < m; i++)
		e[i].p = fmin(1, fmax(adjusted[i], e[i].p));
}

static void single_step(struct entry *e, size_t m, pd_adjust how)
{
	for (size_t i = 0; i < m; i++)
		e[i].p = how == PD_SIDAK
		                 ? -expm1((double)m * log1p(-e[i].p))
		                 : fmin(1, (double)m * e[i].p);
}

static void adjust(struct entry *e, size_t m, pd_adjust how, double *room)
{
	switch (how) {
	case PD_HOLM:
		holm(e, m);
		break;
	case PD_HOCHBERG:
	case PD_BENJAMINI_HOCHBERG:
	case PD_BENJAMINI_YEKUTIELI:
		step_up(e, m, how);
		break;
	case PD_HOMMEL:
		hommel(e, m, room, room + m);
		break;
	case PD_BONFERRONI:
	case PD_SIDAK:
		single_step(e, m, how);
		break;
	}
}

pd_status pd_adjust_p(const double *p, size_t n, pd_adjust how,
                      double *adjusted, pd_error *err)
{
	struct entry *e = malloc((n ? n : 1) * sizeof *e);
	double *room = malloc((n ? n : 1) * 2 * sizeof *room);
	pd_status st = PD_OK;
	size_t m = 0;

	if (!e || !room)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; st == PD_OK && i < n; i++) {
		if (isnan(p[i]))
			continue;
		if (p[i] < 0 || p[i] > 1)
			st = pd_fail(err, PD_DATA, "p value %zu is %g, "
			             "expected 0 to 1", i + 1, p[i]);
		e[m++] = (struct entry){ p[i], i };
	}
	if (st == PD_OK) {
		for (size_t i = 0; i < n; i++)
			adjusted[i] = NAN;
		qsort(e, m, sizeof *e, by_p);
		if (m)
			adjust(e, m, how, room);
		for (size_t i = 0; i < m; i++)
			adjusted[e[i].at] = e[i].p;
	}
	free(e);
	free(room);
	return st;
}
