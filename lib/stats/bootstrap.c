/*
 * bootstrap.c - see bootstrap.h. Samples are counts a unit; a sample's value
 * and probability stand in one array, sorted once, and all quantities are read
 * from that.
 */
#include "stats/bootstrap.h"
#include "stats/bootstrap_own.h"
#include "stats/quantile.h"
#include "stats/stream.h"
#include "stats/summary.h"
#include "stats/threads.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LISTED = 11, DRAWS = 9999, MOST_DRAWS = 10000000 };

struct sample {
	double value, p;
};

struct law {
	const pd_boot_plan *plan;
	size_t n_units, n;
	struct sample *sample;
	double *jack;            /* n_units, one unit left out               */
	const pd_boot_totals *totals; /* of a ratio of units, else NULL      */
};

/* ---- one sample ------------------------------------------------------- */

/* Counts a unit into weights a row. */
static double value_of(const struct law *law, const double *count,
                       double *weight)
{
	const pd_boot_plan *p = law->plan;

	if (!p->unit)
		return p->statistic(count, p->n_rows, p->data);
	for (size_t i = 0; i < p->n_rows; i++)
		weight[i] = count[p->unit[i]];
	return p->statistic(weight, p->n_rows, p->data);
}

/* Room for counts (n_units) with weights (n_rows) behind them. */
static double *room_for(const struct law *law)
{
	return calloc(law->n_units + law->plan->n_rows, sizeof(double));
}

static pd_status leave_out(struct law *law, double *estimate, pd_error *err)
{
	size_t n = law->n_units;
	double *count = room_for(law);

	if (!count)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < n; i++)
		count[i] = 1;
	*estimate = value_of(law, count, count + n);
	if (law->totals)
		pd_boot_ratio_without(law->totals, n, law->jack);
	for (size_t i = 0; !law->totals && i < n; i++) {
		count[i] = 0;
		law->jack[i] = value_of(law, count, count + n);
		count[i] = 1;
	}
	free(count);
	if (!isfinite(*estimate))
		return pd_fail(err, PD_REFUSED, "the statistic cannot be "
		               "computed from these data");
	for (size_t i = 0; i < n; i++)
		if (!isfinite(law->jack[i]))
			return pd_fail(err, PD_REFUSED, "the statistic cannot "
			               "be computed without unit %zu", i + 1);
	return PD_OK;
}

/* ---- all samples ------------------------------------------------------ */

/* Compositions of n into n parts: C(2 n - 1, n). */
static size_t listed(size_t n)
{
	double c = 1;

	for (size_t i = 1; i <= n; i++)
		c = c * (double)(n - 1 + i) / (double)i;
	return (size_t)(c + 0.5);
}

/* Probability of the sample with these counts, n! / (n^n prod k!). */
static double chance(const double *count, size_t n)
{
	double p = 1, left = 0;

	for (size_t i = 0; i < n; i++)
		for (double k = 1; k <= count[i]; k++)
			p *= ++left / (k * (double)n);
	return p;
}

/* The next composition after `count` in order; 0 after the last. */
static int next(double *count, size_t n)
{
	double last = count[n - 1];
	size_t i = n - 1;

	count[n - 1] = 0;
	while (i > 0 && count[i - 1] == 0)
		i--;
	if (i == 0)
		return 0;
	count[i - 1]--;
	count[i] = last + 1;
	return 1;
}

static pd_status list_all(struct law *law, pd_error *err)
{
	size_t n = law->n_units, k = 0;
	double *count = room_for(law);

	if (!count)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	count[0] = (double)n;
	do {
		struct sample *s = &law->sample[k++];

		s->p = chance(count, n);
		s->value = value_of(law, count, count + n);
	} while (k < law->n && next(count, n));
	free(count);
	return PD_OK;
}

/* ---- drawn samples ---------------------------------------------------- */

/* Draws from .. to - 1; room: counts as drawn, then counts and weights. */
static void draw_part(void *with, void *room, size_t from, size_t to)
{
	struct law *law = with;
	size_t n = law->n_units;
	uint32_t *drawn = room;
	double *count = (double *)room + (n + 1) / 2;

	for (size_t k = from; k < to; k++) {
		struct sample *s = &law->sample[k];

		memset(drawn, 0, n * sizeof *drawn);
		pd_stream_counts(law->plan->seed, k, (uint32_t)n, n, drawn);
		s->p = 1 / (double)law->n;
		if (law->totals) {
			s->value = pd_boot_ratio_counts(drawn, n, law->totals);
			continue;
		}
		for (size_t i = 0; i < n; i++)
			count[i] = drawn[i];
		s->value = value_of(law, count, count + n);
	}
}

static pd_status draw_all(struct law *law, pd_error *err)
{
	size_t n = law->n_units;
	size_t room = (n + 1) / 2 + (law->totals ? 0 : n + law->plan->n_rows);

	return pd_share_out(law->n, law->plan->threads, room * sizeof(double),
	                    draw_part, law, err);
}

/* ---- reading the law -------------------------------------------------- */

static int ascending(const void *a, const void *b)
{
	const struct sample *x = a, *y = b;

	if (x->value != y->value)
		return x->value > y->value ? 1 : -1;
	return (x->p > y->p) - (x->p < y->p);
}

/* Leave out what failed, put the rest in order, probabilities to 1. */
static pd_status settle(struct law *law, pd_boot *out, pd_error *err)
{
	double total = 0;
	size_t n = 0;

	for (size_t k = 0; k < law->n; k++)
		if (isfinite(law->sample[k].value)) {
			total += law->sample[k].p;
			law->sample[n++] = law->sample[k];
		}
	out->n_failed = law->n - n;
	law->n = n;
	if (!(total >= 0.95))
		return pd_fail(err, PD_REFUSED, "the statistic cannot be "
		               "computed in %zu of %zu samples", out->n_failed,
		               out->n_samples);
	qsort(law->sample, n, sizeof *law->sample, ascending);
	for (size_t k = 0; k < n; k++)
		law->sample[k].p /= total;
	return PD_OK;
}

/* sum p (value - about)^power. */
static double moment(const struct law *law, double about, int power,
                     double *room)
{
	for (size_t k = 0; k < law->n; k++) {
		double d = law->sample[k].value - about;

		room[k] = law->sample[k].p * (power == 2 ? d * d : d);
	}
	return pd_sum(room, law->n);
}

static void below(const struct law *law, pd_boot *out)
{
	double range = law->sample[law->n - 1].value - law->sample[0].value;
	double same = 1e-10 * range + 1e-14 * fabs(out->estimate);

	for (size_t k = 0; k < law->n; k++) {
		double d = law->sample[k].value - out->estimate;

		if (d < -same)
			out->p_below += law->sample[k].p;
		else if (d <= same)
			out->p_equal += law->sample[k].p;
	}
}

/* The smallest value whose cumulative probability reaches p. */
static double quantile(const struct law *law, double p, int *edge)
{
	double sum = 0;
	size_t k = 0;

	for (; k + 1 < law->n; k++) {
		sum += law->sample[k].p;
		/* in counts of 1 / n, not of its rounded multiples */
		if (sum >= p * (1 - 1e-12))
			break;
	}
	*edge |= k == 0 || k + 1 == law->n;
	return law->sample[k].value;
}

/* 0 when the leave-one-out values do not vary. */
static int jackknife(const struct law *law, pd_boot *out)
{
	double n = (double)law->n_units, d2 = 0, d3 = 0;
	pd_summary s = pd_summarise(law->jack, law->n_units);
	double most = fmax(fabs(s.low), fabs(s.high));

	for (size_t i = 0; i < law->n_units; i++) {
		double d = s.mean - law->jack[i];

		d2 += d * d;
		d3 += d * d * d;
	}
	out->jack_se = sqrt((n - 1) / n * d2);
	out->jack_bias = (n - 1) * (s.mean - out->estimate);
	out->acceleration = d3 / (6 * d2 * sqrt(d2));
	return s.high - s.low > 1e-12 * most;
}

/* The level the limit at z is read at; NaN past the turning point. */
static double adjusted(const pd_boot *b, double z)
{
	double to = b->z0 + z, turn = 1 - b->acceleration * to;

	return turn > 0 ? pd_normal_cdf(b->z0 + to / turn) : NAN;
}

static pd_status interval(const struct law *law, pd_boot *out, pd_error *err)
{
	const pd_boot_plan *plan = law->plan;
	double a = 0.5 - 0.5 * plan->level, z = pd_normal_quantile(a);
	double share = out->p_below + (plan->below_only ? 0
	                                                : out->p_equal / 2);
	int unused = 0;

	if (!(share > 0 && share < 1))
		return pd_fail(err, PD_REFUSED, "all samples lie on one side "
		               "of the estimate");
	out->z0 = pd_normal_quantile(share);
	out->level_low = adjusted(out, z);
	out->level_high = adjusted(out, -z);
	if (isnan(out->level_low) || isnan(out->level_high))
		return pd_fail(err, PD_REFUSED, "the samples are too skew for "
		               "an interval at level %g", plan->level);
	out->low = quantile(law, out->level_low, &out->edge);
	out->high = quantile(law, out->level_high, &out->edge);
	out->percentile_low = quantile(law, a, &unused);
	out->percentile_high = quantile(law, 1 - a, &unused);
	return PD_OK;
}

static pd_status read_law(struct law *law, pd_boot *out, pd_error *err)
{
	pd_status st = settle(law, out, err);
	double *room;

	if (st != PD_OK)
		return st;
	if (!jackknife(law, out))
		return pd_fail(err, PD_REFUSED, "no variation: the statistic "
		               "is the same whichever unit is left out");
	room = malloc(law->n * sizeof *room);
	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	out->mean = out->estimate + moment(law, out->estimate, 1, room);
	out->se = sqrt(moment(law, out->mean, 2, room));
	free(room);
	below(law, out);
	return interval(law, out, err);
}

/* ---- the whole -------------------------------------------------------- */

static pd_status check(const pd_boot_plan *p, size_t n_units, pd_error *err)
{
	if (!(p->level > 0 && p->level < 1))
		return pd_fail(err, PD_DATA, "level must be between 0 and 1, "
		               "got %g", p->level);
	if (p->draws > MOST_DRAWS)
		return pd_fail(err, PD_DATA, "at most %d samples are drawn, "
		               "got %zu", MOST_DRAWS, p->draws);
	for (size_t i = 0; p->unit && i < p->n_rows; i++)
		if (p->unit[i] < 0 || (size_t)p->unit[i] >= n_units)
			return pd_fail(err, PD_DATA, "row %zu: unit code %ld "
			               "is outside 0 to %zu", i + 1,
			               (long)p->unit[i], n_units - 1);
	if (n_units > UINT32_MAX)
		return pd_fail(err, PD_DATA, "at most %lu units are drawn, got "
		               "%zu", (unsigned long)UINT32_MAX, n_units);
	if (n_units < 3)
		return pd_fail(err, PD_REFUSED, "drawing units anew needs at "
		               "least 3 of them, got %zu", n_units);
	return PD_OK;
}

pd_status pd_bootstrap(const pd_boot_plan *plan, pd_boot *out, pd_error *err)
{
	struct law law = { .plan = plan };
	pd_status st;

	law.n_units = plan->unit ? plan->n_units : plan->n_rows;
	if (plan->statistic == pd_boot_ratio && !plan->unit)
		law.totals = plan->data;
	st = check(plan, law.n_units, err);
	if (st != PD_OK)
		return st;
	*out = (pd_boot){ .n_units = law.n_units };
	out->exact = law.n_units <= LISTED && !plan->sampled;
	law.n = out->exact ? listed(law.n_units)
	                   : plan->draws ? plan->draws : DRAWS;
	out->n_samples = law.n;
	law.sample = calloc(law.n, sizeof *law.sample);
	law.jack = calloc(law.n_units, sizeof *law.jack);
	if (!law.sample || !law.jack)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = leave_out(&law, &out->estimate, err);
	if (st == PD_OK)
		st = out->exact ? list_all(&law, err) : draw_all(&law, err);
	if (st == PD_OK)
		st = read_law(&law, out, err);
	if (out->exact)
		out->edge = 0;
	free(law.sample);
	free(law.jack);
	return st;
}
