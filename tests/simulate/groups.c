/*
 * groups.c - simulation cells of independent rows: two groups, several groups
 * with one error rate, straight lines, bends and plateaus, drifts.
 */
#include "cell.h"

#include "stats/contrast.h"
#include "stats/curve.h"
#include "stats/joint.h"
#include "stats/linear.h"
#include "stats/paired.h"
#include "stats/quantile.h"
#include "stats/robust.h"
#include "stats/series.h"
#include "stats/summary.h"

#include <math.h>
#include <pthread.h>

enum { MOST = 64 };

typedef struct design {
	size_t n;       /* rows in all, or a group                           */
	double sd;
	double wild;    /* share of rows with ten times the scatter          */
	int uneven;
} design;

static void two_groups(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                       sim_answer *out)
{
	const design *d = cell->with;
	double a[MOST], b[MOST];
	pd_estimate e = { 0 };
	pd_rank_result r = { 0 };
	size_t m = d->uneven ? d->n + d->n / 2 : d->n;

	(void)arena;
	for (size_t i = 0; i < d->n; i++)
		a[i] = sim_effect + d->sd * pd_stream_normal(s);
	for (size_t i = 0; i < m; i++)
		b[i] = d->sd * (d->uneven ? 0.4 : 1) * pd_stream_normal(s);
	pd_status st = pd_welch(a, d->n, b, m, 0.95, &e, NULL);

	sim_estimate(&out[0], st, &e, sim_effect);
	st = pd_rank_sum(a, d->n, b, m, 0.95, &r, NULL);
	sim_interval(&out[1], st, r.low, r.high, sim_effect);
}

static const size_t pairs_of_4[6][2] = { { 1, 0 }, { 2, 0 }, { 2, 1 },
                                         { 3, 0 }, { 3, 1 }, { 3, 2 } };

/* All comparisons right at once? */
static void all_at_once(sim_answer *a, pd_status st, const pd_comparison *c,
                        size_t n, const double *truth)
{
	int hit = st == PD_OK, odd = 0;
	double length = 0;

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		double t = truth[c[i].a] - truth[c[i].b];

		hit = hit && c[i].e.low <= t && t <= c[i].e.high;
		odd = odd || isnan(c[i].e.low) || isnan(c[i].e.high);
		length += (c[i].e.high - c[i].e.low) / (double)n;
	}
	*a = (sim_answer){ st, hit, length, odd };
}

/* Every pair of four groups with the correlation their sizes give: the point
 * depends on the sizes alone and is found once. */
static double joint_point(const double *size, double df)
{
	static pthread_mutex_t door = PTHREAD_MUTEX_INITIALIZER;
	static double point;
	double c[36] = { 0 };
	pd_joint *law = NULL;
	pd_joint_value q = { 0 };

	pthread_mutex_lock(&door);
	for (size_t p = 0; point == 0 && p < 36; p++) {
		const size_t *u = pairs_of_4[p / 6], *v = pairs_of_4[p % 6];

		for (size_t g = 0; g < 4; g++)
			c[p] += ((double)(g == u[0]) - (double)(g == u[1])) *
				((double)(g == v[0]) - (double)(g == v[1])) /
				size[g];
	}
	if (point == 0 && pd_joint_new(c, 6, df, 2, &law, NULL) == PD_OK)
		point = pd_joint_quantile(law, 0.95, 0, &q, NULL) == PD_OK ?
			q.value : NAN;
	pd_joint_free(law);
	pthread_mutex_unlock(&door);
	return point;
}

static void jointly(const double *y, const int32_t *group, size_t n,
                    const double *truth, sim_answer *a)
{
	double v[4 * MOST], size[4], mean[4], ss = 0, c;
	pd_comparison pair[6];

	for (int32_t g = 0; g < 4; g++) {
		size_t m = 0;

		for (size_t i = 0; i < n; i++)
			if (group[i] == g)
				v[m++] = y[i];
		pd_summary s = pd_summarise(v, m);

		size[g] = (double)m;
		mean[g] = s.mean;
		ss += s.square;
	}
	c = joint_point(size, (double)(n - 4));
	for (size_t k = 0; k < 6; k++) {
		size_t i = pairs_of_4[k][0], j = pairs_of_4[k][1];
		double wide = c * sqrt(ss / (double)(n - 4) *
		                       (1 / size[i] + 1 / size[j]));

		pair[k] = (pd_comparison){ .a = i, .b = j };
		pair[k].e.low = mean[i] - mean[j] - wide;
		pair[k].e.high = mean[i] - mean[j] + wide;
	}
	all_at_once(a, c > 0 ? PD_OK : PD_NUMERIC, pair, 6, truth);
}

static void several_groups(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                           sim_answer *out)
{
	static const double truth[4] = { 0, 0.1, -0.2, 0.35 };
	const design *d = cell->with;
	double y[4 * MOST];
	int32_t group[4 * MOST];
	size_t n = 0;
	pd_comparison c[6];

	(void)arena;
	for (int32_t g = 0; g < 4; g++)
		for (size_t i = 0; i < d->n + (d->uneven ? 4 * (size_t)g : 0);
		     i++, n++) {
			group[n] = g;
			y[n] = truth[g] + d->sd * pd_stream_normal(s);
		}
	pd_status st = pd_all_pairs(y, group, n, 4, 0.95, c, NULL, NULL);

	all_at_once(&out[0], st, c, 6, truth);
	st = pd_many_to_one(y, group, n, 4, 0, 2, 0.95, c, NULL, NULL);
	all_at_once(&out[1], st, c, 3, truth);
	if (cell->n_methods > 2)
		jointly(y, group, n, truth, &out[2]);
}

/* The slope of x by least squares and by Huber's weights. */
static void slope_of(const pd_linear_data *data, size_t n_methods,
                     sim_answer *out)
{
	static const double c[3] = { 0, 1, 0 };
	pd_linear_fit *fit = NULL;
	pd_robust_fit *robust = NULL;
	pd_estimate e = { 0 };
	pd_status st = pd_linear(data, &fit, NULL);

	if (st == PD_OK)
		e = pd_linear_contrast(fit, c, 0.95);
	sim_estimate(&out[0], st, &e, sim_effect);
	pd_linear_free(fit);
	if (n_methods < 2)
		return;
	st = pd_robust(data, PD_HUBER, &robust, NULL);
	if (st == PD_OK) {
		double wide = robust->se[1] * pd_t_quantile(0.975, robust->df);

		e.low = robust->coef[1] - wide;
		e.high = robust->coef[1] + wide;
	}
	sim_estimate(&out[1], st, &e, sim_effect);
	pd_robust_free(robust);
}

static void line(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                 sim_answer *out)
{
	const design *d = cell->with;
	double y[MOST], x[MOST], w[MOST];
	pd_regressor column[2] = { { "x", x, NULL }, { "w", w, NULL } };
	pd_linear_data data = { .n = d->n, .y = y, .intercept = 1,
	                        .n_columns = 2, .column = column };

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		double sd = pd_stream_uniform(s) < d->wild ? 10 * d->sd
		                                           : d->sd;

		x[i] = pd_stream_normal(s);
		w[i] = 0.5 * x[i] + pd_stream_normal(s);
		y[i] = 1 + sim_effect * x[i] + 0.2 * w[i] +
			sd * pd_stream_normal(s);
	}
	slope_of(&data, cell->n_methods, out);
}

static void bend(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                 sim_answer *out)
{
	const design *d = cell->with;
	double v[MOST], y[MOST];
	pd_breakpoint e = { 0 };

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		v[i] = 1 + 9 * pd_stream_uniform(s);
		y[i] = fmin(v[i], 4) + d->sd * pd_stream_normal(s);
	}
	pd_status st = pd_breakpoint_fit(v, y, d->n, PD_BEND_LEVEL, 0.95, &e,
	                                 NULL);

	sim_estimate(&out[0], st, &e.bend, 4);
	sim_estimate(&out[1], st, &e.slope, 1);
}

static void plateau(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                    sim_answer *out)
{
	const design *d = cell->with;
	double v[MOST], y[MOST];
	pd_plateau e = { 0 };

	(void)arena;
	for (size_t i = 0; i < d->n; i++) {
		v[i] = 1 + 9 * pd_stream_uniform(s);
		y[i] = 4 * (1 - exp(-v[i] / 2.5)) +
			d->sd * pd_stream_normal(s);
	}
	pd_status st = pd_plateau_fit(v, y, d->n, 0, 0.95, &e, NULL);

	sim_estimate(&out[0], st, &e.profile[PD_PLATEAU_PACE], 2.5);
	sim_estimate(&out[1], st, &e.wald[PD_PLATEAU_PACE], 2.5);
}

static void drift(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                  sim_answer *out)
{
	const design *d = cell->with;
	double x[MOST];
	pd_drift r = { 0 };

	(void)arena;
	for (size_t i = 0; i < d->n; i++)
		x[i] = 0.03 * (double)i + d->sd * pd_stream_normal(s);
	pd_status st = pd_drift_test(x, NULL, d->n, 0.95, &r, NULL);

	sim_interval(&out[0], st, r.low, r.high, 0.03);
}

static const design eight = { 8, 0.4, 0, 0 }, eight_wide = { 8, 0.4, 0, 1 },
	six = { 6, 0.3, 0, 0 }, six_uneven = { 4, 0.3, 0, 1 },
	rows_12 = { 12, 0.3, 0, 0 }, rows_40 = { 40, 0.3, 0.1, 0 },
	doses = { 30, 0.3, 0, 0 }, times = { 20, 0.3, 0, 0 };

#define TWO { { "means, unequal spread", SIM_NEAR, 0.95, 0, NULL },        \
              { "ranks of two groups", SIM_LEAST, 0.95, 0, NULL } }

static const sim_cell cells[] = {
	{ "two groups of 8", two_groups, &eight, 2000, 0, 2, TWO },
	{ "8 wide against 12 narrow", two_groups, &eight_wide, 2000, 0, 2,
	  { { "means, unequal spread", SIM_NEAR, 0.95, 0, NULL },
	    { "ranks of two groups", SIM_SHOWN, 0.95, 0, NULL } } },
	{ "four groups of 6, all at once", several_groups, &six, 0, 0, 2,
	  { { "every pair", SIM_NEAR, 0.95, 0, NULL },
	    { "each against the first", SIM_NEAR, 0.95, 0, NULL } } },
	{ "groups of 4 to 16, all at once", several_groups, &six_uneven, 1200,
	  0, 3,
	  { { "every pair", SIM_LEAST, 0.95, 0, NULL },
	    { "each against the first", SIM_NEAR, 0.95, 0, NULL },
	    { "every pair, joint law", SIM_NEAR, 0.95, 0, NULL } } },
	{ "12 rows, two columns", line, &rows_12, 2000, 0, 1,
	  { { "least squares", SIM_NEAR, 0.95, 0, NULL } } },
	{ "40 rows, one in ten wild", line, &rows_40, 1500, 0, 2,
	  { { "least squares", SIM_SHOWN, 0.95, 0, NULL },
	    { "Huber's weights", SIM_NEAR, 0.95, 0, NULL } } },
	{ "30 doses, a bend at 4 mL", bend, &doses, 1200, 0, 2,
	  { { "place of the bend, profile", SIM_NEAR, 0.95, 0, NULL },
	    { "slope before it, gradient", SIM_SHOWN, 0.95, 0, NULL } } },
	{ "30 doses, a plateau", plateau, &doses, 0, 0, 2,
	  { { "pace, profile", SIM_NEAR, 0.95, 0, NULL },
	    { "pace, gradient", SIM_SHOWN, 0.95, 0, NULL } } },
	{ "20 values in time, a drift", drift, &times, 1500, 0, 1,
	  { { "slope of all pairs", SIM_LEAST, 0.95, 0, NULL } } },
};
const sim_list sim_groups = SIM_LIST(cells);
