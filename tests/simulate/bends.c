/*
 * bends.c - simulation cells of a yield that stops growing with the dose,
 * inside the mixed model.
 */
#include "cell.h"

#include "stats/curve_mixed.h"

#include <math.h>

/* Height at a dose of 1 to 9 mL, log scale. */
static double height(double v)
{
	return 0.8 * (1 - exp(-v / 2.5));
}

static double bent(double v)
{
	return 0.3 * fmin(v, 4.5);
}

static void bends(const sim_cell *cell, pd_stream *s, pd_arena *arena,
                  sim_answer *out)
{
	const sim_plan *plan = cell->with;
	int approach = plan->extra > 0;
	sim_tree *t = sim_grow(plan, s, arena);
	double v[SIM_ROWS], one[SIM_ROWS];
	pd_curve_mixed c = { 0 };
	pd_status st = t ? PD_OK : PD_NO_MEMORY;

	if (st == PD_OK) {
		sim_doses(t, approach ? height : bent, v, s);
		for (size_t i = 0; i < t->n; i++)
			one[i] = 1;
		pd_curve_mixed_spec spec = {
			.model = { .n = t->n, .p = 1, .x = one, .y = t->y,
			           .depth = 1 },
			.v = v, .level = 0.95,
			.shape = approach ? PD_CURVE_APPROACH
			                  : PD_CURVE_LEVEL };
		spec.model.group[0] = t->patient;
		st = pd_curve_mixed_fit(arena, &spec, &c, NULL);
	}
	sim_estimate(&out[0], st, &c.turn, approach ? 2.5 : 4.5);
	sim_estimate(&out[1], st, &c.slope, approach ? 0.8 / 2.5 : 0.3);
}

#define DOSED(e, wide) { .patients = 20, .cases_low = 1, .cases_high = 1,  \
	.rows_low = 4, .rows_high = 4, .sd = { 0.45, 0, wide }, .extra = e }
static const sim_plan bend_20 = DOSED(0, 0.2), pace_20 = DOSED(1, 0.1);

static const char curved[] =
	"beside an unknown turn a slope is not normal in so few rows, and its "
	"interval, made straight at the turn found, is a little narrow";
#define TURN(turn, slope, known) {                                         \
	{ turn, SIM_NEAR, 0.95, 0, NULL },                                 \
	{ slope, SIM_NEAR, 0.95, known, curved } }

static const sim_cell cells[] = {
	{ "20 patients, four doses, bend", bends, &bend_20, 1200, 0, 2,
	  TURN("place of the bend", "slope before it", 0.9189) },
	{ "20 patients, four doses, plateau", bends, &pace_20, 1200, 0, 2,
	  TURN("pace to a plateau", "slope at 0", 0.9224) },
};
const sim_list sim_bends = SIM_LIST(cells);
