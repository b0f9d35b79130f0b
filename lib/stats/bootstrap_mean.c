/*
 * bootstrap_mean.c - means and ratios of totals, whose draws need no more than
 * a sum over the units. Every way of adding up here uses the same eight lanes
 * and the same order at the end, so that all give the same bytes; products are
 * statements of their own, so that no compiler joins them with the sums.
 */
#include "stats/bootstrap.h"
#include "stats/bootstrap_own.h"
#include "stats/summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LANES = 8 };

/* ---- sums over eight lanes ---------------------------------------------- */

static double fold(const double lane[LANES])
{
	return ((lane[0] + lane[4]) + (lane[2] + lane[6])) +
	       ((lane[1] + lane[5]) + (lane[3] + lane[7]));
}

/* sum w_i x_i; x NULL: sum w_i. */
static double weighted(const double *weight, const double *x, size_t n)
{
	double lane[LANES] = { 0 };

	for (size_t i = 0; i < n; i++) {
		double part = x ? weight[i] * x[i] : weight[i];

		lane[i % LANES] += part;
	}
	return fold(lane);
}

double pd_boot_ratio(const double *weight, size_t n_rows, const void *totals)
{
	const pd_boot_totals *t = totals;

	return t->base + weighted(weight, t->top, n_rows) /
	                 weighted(weight, t->bottom, n_rows);
}

/* The same from counts; `n` a multiple of LANES is done eight at a time. */
static void counted_plain(const uint32_t *count, const double *x, size_t n,
                          double lane[LANES])
{
	for (size_t i = 0; i < n; i++) {
		double part = (double)count[i] * x[i];

		lane[i % LANES] += part;
	}
}

#if defined(__x86_64__) && defined(__GNUC__)

typedef double eight_doubles __attribute__((vector_size(8 * LANES)));
typedef int32_t eight_counts __attribute__((vector_size(4 * LANES)));

__attribute__((target("avx512f")))
static void counted_wide(const uint32_t *count, const double *x, size_t n,
                         double lane[LANES])
{
	eight_doubles sum, part, value;
	eight_counts times;

	memcpy(&sum, lane, sizeof sum);
	for (size_t i = 0; i + LANES <= n; i += LANES) {
		memcpy(&times, count + i, sizeof times);
		memcpy(&value, x + i, sizeof value);
		part = __builtin_convertvector(times, eight_doubles);
		part *= value;
		sum += part;
	}
	memcpy(lane, &sum, sizeof sum);
}

static int wide(void)
{
	return __builtin_cpu_supports("avx512f");
}

#else

static void counted_wide(const uint32_t *count, const double *x, size_t n,
                         double lane[LANES])
{
	counted_plain(count, x, n, lane);
}

static int wide(void)
{
	return 0;
}

#endif

static double counted(const uint32_t *count, const double *x, size_t n)
{
	double lane[LANES] = { 0 };
	size_t whole = wide() ? n - n % LANES : 0;

	if (whole)
		counted_wide(count, x, whole, lane);
	counted_plain(count + whole, x + whole, n - whole, lane);
	return fold(lane);
}

double pd_boot_ratio_counts(const uint32_t *count, size_t n,
                            const pd_boot_totals *totals)
{
	double below = totals->bottom ? counted(count, totals->bottom, n)
	                              : (double)n;

	return totals->base + counted(count, totals->top, n) / below;
}

void pd_boot_ratio_without(const pd_boot_totals *totals, size_t n, double *out)
{
	double top = pd_sum(totals->top, n);
	double below = totals->bottom ? pd_sum(totals->bottom, n) : (double)n;

	for (size_t i = 0; i < n; i++)
		out[i] = totals->base +
		         (top - totals->top[i]) /
		         (below - (totals->bottom ? totals->bottom[i] : 1));
}

/* ---- from rows ---------------------------------------------------------- */

/* Rows added up by unit, tops about base times the bottoms. */
static void add_up(const pd_boot_plan *plan, const double *top,
                   const double *bottom, double base, double *unit_top,
                   double *unit_bottom)
{
	for (size_t i = 0; i < plan->n_rows; i++) {
		size_t u = plan->unit ? (size_t)plan->unit[i] : i;
		double below = bottom ? bottom[i] : 1;

		unit_top[u] += top[i] - base * below;
		unit_bottom[u] += below;
	}
}

static pd_status check(const pd_boot_plan *plan, const double *top,
                       const double *bottom, pd_error *err)
{
	pd_status st = pd_check_finite(top, plan->n_rows, err);

	if (st == PD_OK && bottom)
		st = pd_check_finite(bottom, plan->n_rows, err);
	for (size_t i = 0; st == PD_OK && plan->unit && i < plan->n_rows; i++)
		if (plan->unit[i] < 0 ||
		    (size_t)plan->unit[i] >= plan->n_units)
			st = pd_fail(err, PD_DATA, "row %zu: unit code %ld is "
			             "not below %zu", i + 1,
			             (long)plan->unit[i], plan->n_units);
	return st;
}

pd_status pd_bootstrap_ratio(const pd_boot_plan *plan, const double *top,
                             const double *bottom, pd_boot *out, pd_error *err)
{
	size_t n = plan->unit ? plan->n_units : plan->n_rows;
	double *sum = calloc(2 * n + 1, sizeof *sum), below;
	pd_boot_totals totals = { .top = sum };
	pd_boot_plan units = *plan;
	pd_status st = check(plan, top, bottom, err);

	if (st == PD_OK && !sum)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	below = st != PD_OK || !bottom ? (double)plan->n_rows
	                               : pd_sum(bottom, plan->n_rows);
	if (st == PD_OK && !(fabs(below) > 0))
		st = pd_fail(err, PD_REFUSED, "what is divided by adds to 0");
	if (st == PD_OK) {
		totals.base = pd_sum(top, plan->n_rows) / below;
		add_up(plan, top, bottom, totals.base, sum, sum + n);
		totals.bottom = plan->unit || bottom ? sum + n : NULL;
		units.unit = NULL;
		units.n_rows = n;
		units.statistic = pd_boot_ratio;
		units.data = &totals;
		st = pd_bootstrap(&units, out, err);
	}
	free(sum);
	return st;
}

pd_status pd_bootstrap_mean(const pd_boot_plan *plan, const double *x,
                            pd_boot *out, pd_error *err)
{
	return pd_bootstrap_ratio(plan, x, NULL, out, err);
}
