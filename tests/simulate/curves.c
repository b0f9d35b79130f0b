/*
 * curves.c - simulation cells of doses within patients by splines, of repeated
 * readings, of a change of level, of printed summaries, and of power found by
 * simulation held against its formula.
 */
#include "cell.h"

#include "stats/agree_repeated.h"
#include "stats/power.h"
#include "stats/power_simulate.h"
#include "stats/printed.h"
#include "stats/spline.h"
#include "stats/step.h"
#include "stats/summary.h"

#include <math.h>

enum { KNOTS = 4, COLUMNS = KNOTS, GRID = 21 };

/* ---- a dose ------------------------------------------------------------- */

static pd_status curve_fit(const sim_tree *t, const pd_spline *knots,
                           const double *v, double *x, pd_nested **out)
{
	pd_nested_spec spec = { .n = t->n, .p = COLUMNS, .x = x, .y = t->y,
	                        .depth = 1 };

	spec.group[0] = t->patient;
	for (size_t i = 0; i < t->n; i++)
		x[COLUMNS * i] = 1;
	pd_spline_columns(knots, v, t->n, x, COLUMNS, 1);
	pd_status st = pd_nested_new(&spec, out, NULL);

	return st == PD_OK ? pd_nested_fit(*out, NULL) : st;
}

/* A spline cannot bend like the truth everywhere: the truth it aims at is a
 * spline with knots at 2, 4, 6 and 8 mL. */
static double spline_height(double v)
{
	static const double knot[KNOTS] = { 2, 4, 6, 8 };
	pd_spline s = { .k = KNOTS };
	double b[KNOTS - 1];

	for (size_t i = 0; i < KNOTS; i++)
		s.knot[i] = knot[i];
	pd_spline_basis(&s, v, b);
	return 0.3 * b[0] - 0.35 * b[1] + 0.5 * b[2];
}

static void splined(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                    sim_answer *out)
{
	static const double knot[KNOTS] = { 2, 4, 6, 8 };
	sim_tree *t = sim_grow(cell->with, s, arena);
	double v[SIM_ROWS], x[COLUMNS * SIM_ROWS], room[COLUMNS * COLUMNS];
	double grid[GRID];
	pd_spline knots;
	pd_spline_fit f = { 0 };
	pd_spline_point point[GRID];
	pd_spline_band band;
	pd_nested *m = NULL;
	pd_estimate e = { 0 };
	double truth = spline_height(7.5) - spline_height(2.5);
	int hit = 1;
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	if (st == PD_OK) {
		sim_doses(t, spline_height, v, s);
		st = pd_spline_given(v, t->n, knot, KNOTS, &knots, NULL);
	}
	if (st == PD_OK)
		st = curve_fit(t, &knots, v, x, &m);
	if (st == PD_OK)
		st = pd_spline_nested(&knots, m, COLUMNS, 1, PD_KENWARD_ROGER,
		                      room, &f, NULL);
	pd_status one = st;

	if (one == PD_OK)
		one = pd_spline_contrast(&knots, &f, 2.5, 7.5, 0.95, &e, NULL);
	sim_estimate(&out[0], one, &e, truth);
	for (size_t i = 0; i < GRID; i++)
		grid[i] = 1 + 0.4 * (double)i;
	if (st == PD_OK)
		st = pd_spline_curve(&knots, &f, NULL, 5, grid, GRID, 0.95,
		                     point, &band, NULL);
	for (size_t i = 0; st == PD_OK && i < GRID; i++) {
		double d = spline_height(grid[i]) - spline_height(5);

		hit &= point[i].low_all <= d + 1e-12 &&
			point[i].high_all >= d - 1e-12;
	}
	out[1] = (sim_answer){ st, hit, NAN, 0 };
	pd_nested_free(m);
}

/* ---- readings ----------------------------------------------------------- */

enum { READINGS = 90 };

static void readings(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                     sim_answer *out)
{
	const sim_plan *plan = cell->with;
	size_t units = plan->patients, n = 3 * units;
	double x[READINGS], y[READINGS];
	int32_t unit[READINGS];
	double between = 0.1, within = plan->sd[2];
	pd_limits_repeated l = { 0 };
	pd_repeat_many r = { 0 };

	(void)arena;
	for (size_t u = 0, i = 0; u < units; u++) {
		double middle = plan->sd[0] * pd_stream_normal(s);
		double d = 0.05 + between * pd_stream_normal(s);

		for (int k = 0; k < 3; k++, i++) {
			unit[i] = (int32_t)u;
			x[i] = middle + d + within * pd_stream_normal(s);
			y[i] = middle + within * pd_stream_normal(s);
		}
	}
	pd_status st = pd_agree_linked(x, y, unit, n, units, 1.96, 0.95, &l,
	                               NULL);

	sim_interval(&out[0], st, l.limits.high_from, l.limits.high_to,
	             0.05 + 1.96 * sqrt(between * between +
	                                2 * within * within));
	st = pd_agree_repeat_many(y, unit, n, units, 0.95, &r, NULL);
	double a = plan->sd[0] * plan->sd[0], b = within * within;

	sim_estimate(&out[1], st, &r.same, a / (a + b));
	sim_interval(&out[2], st, r.sw_low, r.sw_high, within);
}

/* ---- a change of level -------------------------------------------------- */

static void level_change(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                         sim_answer *out)
{
	const sim_plan *plan = cell->with;
	pd_step_search how = { .edge = 3, .draws = 199,
	                       .seed = pd_stream_bits(s), .level = 0.95 };
	double x[40], row[40];
	pd_step step = { 0 };

	(void)arena;
	for (int i = 0; i < 24; i++)
		x[i] = plan->extra * (i >= 14) + 0.3 * pd_stream_normal(s);
	pd_status st = pd_step_find(x, 24, &how, row, &step, NULL);

	sim_interval(&out[0], st, step.low, step.high, plan->extra);
	sim_claim(&out[1], st, row[13] > 0.05);
	sim_estimate(&out[2], st, &step.step, plan->extra);
}

/* ---- printed summaries -------------------------------------------------- */

static pd_status printed(size_t n, double mean, double sd, pd_stream *s,
                         pd_printed *out)
{
	double v[60];

	for (size_t i = 0; i < n; i++)
		v[i] = exp(mean + sd * pd_stream_normal(s));
	pd_summary p = pd_summarise(v, n);

	return pd_printed_mean_sd(p.mean, p.sd, n, out, NULL);
}

static void from_print(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                       sim_answer *out)
{
	const sim_plan *plan = cell->with;
	pd_printed a, b;
	pd_estimate e = { 0 };

	(void)arena;
	pd_status st = printed(plan->patients, sim_effect, plan->sd[0], s, &a);

	if (st == PD_OK)
		st = printed(plan->patients, 0, plan->sd[0], s, &b);
	if (st == PD_OK)
		st = pd_printed_ratio(&a, &b, 0.95, &e, NULL);
	sim_estimate(&out[0], st, &e, sim_effect);
}

/* ---- power -------------------------------------------------------------- */

/* Two draws a patient, one an arm: the formula for pairs is exact. */
static void simulated(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                      sim_answer *out)
{
	const sim_plan *given = cell->with;
	pd_sim_plan plan = { .alternate = PD_SIM_ALIQUOT,
	                     .ratio = exp(given->extra), .alpha = 0.05,
	                     .method = PD_SATTERTHWAITE, .trials = 200,
	                     .threads = 1, .seed = pd_stream_bits(s) };
	pd_trial trial = { .kind = PD_TRIAL_PAIRS, .effect = given->extra,
	                   .sd = 0.3 * sqrt(2), .alpha = 0.05, .sides = 2 };
	pd_sim_power p = { 0 };

	(void)arena;
	plan.n[PD_SIM_PATIENT] = given->patients;
	plan.n[PD_SIM_ALIQUOT] = 2;
	plan.sd[PD_SIM_PATIENT] = 0.9;
	plan.sd[PD_SIM_ALIQUOT] = 0.3;
	pd_status st = pd_power_simulate_mixed(&plan, &p, NULL);

	sim_interval(&out[0], st, p.low, p.high,
	             given->extra == 0 ? 0.05
	             : pd_power_t(&trial, (double)given->patients));
}

static const sim_plan spline_20 = { .patients = 20, .cases_low = 1,
	.cases_high = 1, .rows_low = 4, .rows_high = 4,
	.sd = { 0.45, 0, 0.2 } };
static const sim_plan read_10 = { .patients = 10, .sd = { 0.5, 0, 0.15 } },
	read_30 = { .patients = 30, .sd = { 0.5, 0, 0.15 } };
static const sim_plan step_big = { .extra = 0.6 }, step_small = { .extra = 0 };
static const sim_plan print_15 = { .patients = 15, .sd = { 0.5, 0, 0 } },
	print_50 = { .patients = 50, .sd = { 0.5, 0, 0 } };
static const sim_plan null_20 = { .patients = 20 },
	power_20 = { .patients = 20, .extra = 0.25 };

#define CURVE { { "7.5 against 2.5 mL", SIM_NEAR, 0.95, 0, NULL },         \
                { "band over all doses", SIM_LEAST, 0.95, 0, NULL } }
static const char careful[] =
	"the interval of a limit is put together from those of its parts, and "
	"comes out wide with so few units";
#define READ(limit, why) {                                                 \
               { "upper limit of agreement", SIM_NEAR, 0.95, limit, why }, \
               { "share between units", SIM_NEAR, 0.95, 0, NULL },         \
               { "sd within units", SIM_NEAR, 0.95, 0, NULL } }
#define STEP { { "step, time unknown", SIM_LEAST, 0.95, 0, NULL },         \
               { "set of times", SIM_LEAST, 0.95, 0, NULL },               \
               { "step as if time were known", SIM_SHOWN, 0.95, 0, NULL } }
#define PRINT { { "ratio from means and sds", SIM_NEAR, 0.95, 0, NULL } }
#define POWER { { "limits of simulated power", SIM_LEAST, 0.95, 0, NULL } }

static const sim_cell cells[] = {
	{ "20 patients, four doses, spline", splined, &spline_20, 1200, 0, 2,
	  CURVE },
	{ "10 units read three times", readings, &read_10, 1500, 0, 3,
	  READ(0.9736, careful) },
	{ "30 units read three times", readings, &read_30, 1500, 0, 3,
	  READ(0, NULL) },
	{ "24 values, a step of two sd", level_change, &step_big, 1000, 0, 3,
	  STEP },
	{ "24 values, no step", level_change, &step_small, 1000, 0, 3, STEP },
	{ "two printed groups of 15", from_print, &print_15, 2000, 0, 1,
	  PRINT },
	{ "two printed groups of 50", from_print, &print_50, 2000, 0, 1,
	  PRINT },
	{ "power of 20 pairs, no effect", simulated, &null_20, 0, 0, 1,
	  POWER },
	{ "power of 20 pairs", simulated, &power_20, 0, 0, 1, POWER },
};
const sim_list sim_curves = SIM_LIST(cells);
