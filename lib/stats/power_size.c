/*
 * power_size.c - how many patients a simulated trial needs.
 */
#include "stats/power_simulate.h"

#include <math.h>

struct search {
	pd_simulate *simulate;
	pd_sim_plan plan;
	double power;
	pd_sim_size *out;
};

/* Power at n patients into *enough; the best sizes so far are kept. A size at
 * which nothing can be fitted is not enough. */
static pd_status try_size(struct search *s, size_t n, int *enough,
                          pd_error *err)
{
	pd_sim_power at;
	pd_status st;

	s->plan.n[PD_SIM_PATIENT] = n;
	st = s->simulate(&s->plan, &at, err);
	if (st != PD_OK && st != PD_REFUSED)
		return st;
	s->out->tried++;
	*enough = at.power >= s->power;
	if (*enough) {
		s->out->patients = n;
		s->out->at = at;
	} else {
		s->out->before = n;
		s->out->power_before = at.power;
	}
	return PD_OK;
}

/* Doubling from the first size until it is enough. */
static pd_status widen(struct search *s, size_t n, size_t most, pd_error *err)
{
	int enough = 0;
	pd_status st = try_size(s, n, &enough, err);

	while (st == PD_OK && !enough && n < most) {
		n = n > most / 2 ? most : 2 * n;
		st = try_size(s, n, &enough, err);
	}
	if (st == PD_OK && !enough)
		return pd_fail(err, PD_REFUSED, "%zu patients give a power of "
		               "%.3g, short of %g", n, s->out->power_before,
		               s->power);
	return st;
}

pd_status pd_size_simulate(pd_simulate *simulate, const pd_sim_plan *plan,
                           double power, size_t most, pd_sim_size *out,
                           pd_error *err)
{
	size_t step = plan->alternate == PD_SIM_PATIENT ? 2 : 1;
	size_t first = plan->n[PD_SIM_PATIENT];
	struct search s = { simulate, *plan, power, out };
	pd_status st;

	*out = (pd_sim_size){ .power_before = NAN };
	first = (first < 2 ? 2 : first) + first % step;
	most -= most % step;
	if (!(power > plan->alpha && power < 1))
		return pd_fail(err, PD_DATA, "power asked for must be between "
		               "the level of the test, %g, and 1, got %g",
		               plan->alpha, power);
	if (most < first)
		return pd_fail(err, PD_DATA, "the most patients must be at "
		               "least the first size, %zu, got %zu", first,
		               most);
	st = widen(&s, first, most, err);
	while (st == PD_OK && out->before &&
	       out->patients - out->before > step) {
		size_t half = (out->patients - out->before) / 2;
		int enough;

		st = try_size(&s, out->before + (half < step ? step
		                                 : half - half % step),
		              &enough, err);
	}
	return st;
}
