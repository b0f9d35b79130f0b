/*
 * power_simulate.c - see power_simulate.h. Every trial writes its own record;
 * records are read in order at the end, so that threads change nothing.
 */
#include "stats/power_simulate.h"
#include "stats/count_mixed.h"
#include "stats/power_own.h"
#include "stats/quantile.h"
#include "stats/summary.h"
#include "stats/threads.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { TRIALS = 2000, MOST_TRIALS = 1000000 };

struct record {
	pd_status status;
	double value, se;
	unsigned char claim, at_zero;
};

typedef pd_status fit_rows(const struct pd_sim_layout *l,
                           const struct pd_sim_rows *rows, pd_estimate *out,
                           unsigned char *at_zero, pd_error *err);

struct simulation {
	struct pd_sim_layout layout;
	int counts;
	fit_rows *fit;
	struct record *record;
};

/* ---- the two analyses --------------------------------------------------- */

static const double arms[] = { 0, 1 };

static pd_status fit_mixed(const struct pd_sim_layout *l,
                           const struct pd_sim_rows *rows, pd_estimate *out,
                           unsigned char *at_zero, pd_error *err)
{
	pd_nested_spec spec = { .n = rows->n, .p = 2, .x = rows->x,
	                        .y = rows->y, .depth = l->depth };
	pd_nested *m = NULL;
	pd_status st;

	for (size_t d = 0; d < l->depth; d++)
		spec.group[d] = rows->group[d];
	st = pd_nested_new(&spec, &m, err);
	if (st == PD_OK)
		st = pd_nested_fit(m, err);
	if (st == PD_OK)
		st = pd_nested_contrast(m, arms, 0.95, l->plan->method, out,
		                        err);
	if (st == PD_OK)
		*at_zero = pd_nested_record(m)->n_at_zero > 0;
	pd_nested_free(m);
	return st;
}

static pd_status fit_counts(const struct pd_sim_layout *l,
                            const struct pd_sim_rows *rows, pd_estimate *out,
                            unsigned char *at_zero, pd_error *err)
{
	pd_arena *arena = pd_arena_new();
	pd_mixed_spec spec = {
		.rows = { .n = rows->n, .p = 2, .x = rows->x, .y = rows->y,
		          .offset = rows->offset,
		          .extra = isfinite(l->plan->theta) },
		.group = rows->group[0],
	};
	pd_mixed_fit fit;
	pd_status st;

	if (!arena)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	st = pd_count_mixed(arena, &spec, &fit, err);
	if (st == PD_OK)
		st = pd_count_mixed_contrast(&fit, arms, 0.95, out, err);
	if (st == PD_OK)
		*at_zero = fit.sd == 0;
	pd_arena_free(arena);
	return st;
}

/* ---- one trial ---------------------------------------------------------- */

static pd_status judge(const pd_sim_plan *p, const pd_estimate *e,
                       unsigned char *claim, pd_error *err)
{
	pd_noninferiority one;
	pd_equivalence two;
	pd_status st = PD_OK;

	switch (p->question) {
	case PD_SIM_SUPERIOR:
		*claim = e->p <= p->alpha;
		break;
	case PD_SIM_NOT_INFERIOR:
		st = pd_noninferiority_of(e, p->margin.low > 0
		                                 ? p->margin.low
		                                 : p->margin.high,
		                          p->alpha, &one, err);
		*claim = st == PD_OK && one.shown;
		break;
	case PD_SIM_EQUIVALENT:
		st = pd_equivalence_of(e, &p->margin, p->alpha, &two, err);
		*claim = st == PD_OK && two.inside;
		break;
	}
	return st;
}

static void one_trial(const struct simulation *s, struct pd_sim_rows *rows,
                      size_t k, struct record *r, pd_error *err)
{
	pd_estimate e = { 0 };

	*r = (struct record){ 0 };
	pd_sim_draw(&s->layout, k, s->counts, rows);
	r->status = s->fit(&s->layout, rows, &e, &r->at_zero, err);
	if (r->status == PD_OK)
		r->status = judge(s->layout.plan, &e, &r->claim, err);
	if (r->status == PD_OK && !(isfinite(e.value) && isfinite(e.se)))
		r->status = pd_fail(err, PD_NUMERIC, "estimate is not finite");
	if (r->status != PD_OK)
		r->claim = r->at_zero = 0;
	r->value = e.value;
	r->se = e.se;
}

static void trials_of(void *with, void *room, size_t from, size_t to)
{
	const struct simulation *s = with;
	struct pd_sim_rows rows;

	pd_sim_rows_place(&s->layout, room, &rows);
	for (size_t k = from; k < to; k++)
		one_trial(s, &rows, k, &s->record[k], NULL);
}

/* ---- what is asked ------------------------------------------------------ */

static pd_status check_spread(const pd_sim_plan *p, pd_error *err)
{
	for (int k = 0; k < PD_SIM_LEVELS; k++)
		if (!(p->sd[k] >= 0 && p->sd[k] <= 10))
			return pd_fail(err, PD_DATA, "standard deviation %d of "
			               "log results must be between 0 and 10, "
			               "got %g", k + 1, p->sd[k]);
	if (!(p->sd_dish >= 0 && p->sd_dish <= 10))
		return pd_fail(err, PD_DATA, "standard deviation between "
		               "dishes must be between 0 and 10, got %g",
		               p->sd_dish);
	if (!(p->ratio > 0 && isfinite(p->ratio)))
		return pd_fail(err, PD_DATA, "true ratio must be above 0, got "
		               "%g", p->ratio);
	if (!(p->lost >= 0 && p->lost < 1))
		return pd_fail(err, PD_DATA, "share of aliquots without a "
		               "result must be from 0 to below 1, got %g",
		               p->lost);
	return PD_OK;
}

static pd_status check_question(const pd_sim_plan *p, pd_error *err)
{
	const pd_estimate any = { .se = 1, .df = 1 };
	pd_noninferiority one;

	if (!((unsigned)p->alternate < PD_SIM_LEVELS))
		return pd_fail(err, PD_DATA, "unknown level %d to alternate "
		               "along", (int)p->alternate);
	switch (p->question) {
	case PD_SIM_SUPERIOR:
		if (p->alpha > 0 && p->alpha < 0.5)
			return PD_OK;
		return pd_fail(err, PD_DATA, "level of the test must be "
		               "between 0 and 0.5, got %g", p->alpha);
	case PD_SIM_NOT_INFERIOR:
		return pd_noninferiority_of(&any, p->margin.low > 0
		                                      ? p->margin.low
		                                      : p->margin.high,
		                            p->alpha, &one, err);
	case PD_SIM_EQUIVALENT:
		return pd_margin_check(&p->margin, p->alpha, err);
	}
	return pd_fail(err, PD_DATA, "unknown question %d", (int)p->question);
}

static pd_status check(const pd_sim_plan *p, pd_error *err)
{
	pd_status st = check_spread(p, err);

	if (st == PD_OK)
		st = check_question(p, err);
	if (st == PD_OK && p->trials > MOST_TRIALS)
		st = pd_fail(err, PD_DATA, "at most %d trials are simulated, "
		             "got %zu", MOST_TRIALS, p->trials);
	if (st == PD_OK && !(p->level >= 0 && p->level < 1))
		st = pd_fail(err, PD_DATA, "level of the power's interval must "
		             "be between 0 and 1, got %g", p->level);
	return st;
}

static pd_status check_mixed(const pd_sim_plan *p, pd_error *err)
{
	if (!(p->sd[PD_SIM_ALIQUOT] > 0 || p->sd_dish > 0))
		return pd_fail(err, PD_DATA, "aliquots or dishes must differ: "
		               "both standard deviations are 0");
	if (p->method != PD_KENWARD_ROGER && p->method != PD_SATTERTHWAITE &&
	    p->method != PD_NORMAL)
		return pd_fail(err, PD_DATA, "unknown rule %d for degrees of "
		               "freedom", (int)p->method);
	return PD_OK;
}

static pd_status check_counts(const struct pd_sim_layout *l, pd_error *err)
{
	const pd_sim_plan *p = l->plan;

	if (!(p->colonies > 0 && p->colonies <= 1e5))
		return pd_fail(err, PD_DATA, "mean count of a dish must be "
		               "above 0 and at most 100000, got %g",
		               p->colonies);
	if (!(p->theta > 0))
		return pd_fail(err, PD_DATA, "theta must be above 0 (INFINITY: "
		               "Poisson), got %g", p->theta);
	for (int k = PD_SIM_CASE; k < PD_SIM_LEVELS; k++)
		if (p->sd[k] > 0)
			return pd_fail(err, PD_DATA, "counts differ between "
			               "patients and by theta alone: standard "
			               "deviation %d must be 0", k + 1);
	if (p->sd_dish > 0)
		return pd_fail(err, PD_DATA, "counts differ between patients "
		               "and by theta alone: that of dishes must be 0");
	if (!l->depth || l->fitted[0] != PD_SIM_PATIENT)
		return pd_fail(err, PD_DATA, "counts need at least 2 patients "
		               "with 2 aliquots each");
	return PD_OK;
}

/* ---- the whole ---------------------------------------------------------- */

static void read_records(const struct record *r, size_t n, double *room,
                         pd_sim_power *out)
{
	pd_summary s;
	size_t m = 0;

	for (size_t k = 0; k < n; k++) {
		out->claims += r[k].claim;
		out->at_zero += r[k].at_zero;
		if (r[k].status != PD_OK) {
			out->failed++;
			continue;
		}
		room[m] = r[k].value;
		room[n + m++] = r[k].se;
	}
	s = pd_summarise(room, m);
	out->mean = s.mean;
	out->sd = s.sd;
	out->mean_se = pd_sum(room + n, m) / (double)m;
}

/* The first failed trial once more, for its words. */
static pd_status explain(const struct simulation *s, size_t n,
                         pd_sim_power *out, pd_error *err)
{
	void *room = calloc(1, pd_sim_rows_size(&s->layout));
	struct pd_sim_rows rows;
	struct record r;
	pd_error inner = { 0 };
	size_t k = 0;

	if (!room)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	while (k < n && s->record[k].status == PD_OK)
		k++;
	pd_sim_rows_place(&s->layout, room, &rows);
	one_trial(s, &rows, k, &r, &inner);
	free(room);
	snprintf(out->why, sizeof out->why, "%.*s",
	         (int)sizeof out->why - 1, inner.text);
	if (s->record[k].status == PD_NO_MEMORY)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}

static pd_status run(struct simulation *s, pd_sim_power *out, pd_error *err)
{
	const pd_sim_plan *p = s->layout.plan;
	size_t n = p->trials ? p->trials : TRIALS;
	double *room = malloc(2 * n * sizeof *room);
	pd_status st = PD_OK;

	*out = (pd_sim_power){ .n_rows = s->layout.n, .trials = n };
	s->record = calloc(n, sizeof *s->record);
	if (!s->record || !room)
		st = pd_fail(err, PD_NO_MEMORY, "no memory for %zu trials", n);
	if (st == PD_OK)
		st = pd_share_out(n, p->threads, pd_sim_rows_size(&s->layout),
		                  trials_of, s, err);
	if (st == PD_OK)
		read_records(s->record, n, room, out);
	if (st == PD_OK && out->failed)
		st = explain(s, n, out, err);
	if (st == PD_OK && out->failed == n)
		st = pd_fail(err, PD_REFUSED, "none of %zu simulated trials "
		             "could be analysed: %s", n, out->why);
	out->power = (double)out->claims / (double)n;
	out->mc_se = sqrt(out->power * (1 - out->power) / (double)n);
	pd_binomial_limits((double)out->claims, (double)n,
	                   p->level > 0 ? p->level : 0.95, &out->low,
	                   &out->high);
	free(s->record);
	free(room);
	return st;
}

static pd_status simulate(const pd_sim_plan *plan, int counts,
                          pd_sim_power *out, pd_error *err)
{
	struct simulation s = { .counts = counts };
	pd_status st = check(plan, err);

	s.fit = counts ? fit_counts : fit_mixed;
	if (st == PD_OK && !counts)
		st = check_mixed(plan, err);
	if (st == PD_OK)
		st = pd_sim_layout_make(plan, &s.layout, err);
	if (st == PD_OK && counts)
		st = check_counts(&s.layout, err);
	if (st == PD_OK)
		st = run(&s, out, err);
	pd_sim_layout_clear(&s.layout);
	return st;
}

pd_status pd_power_simulate_mixed(const pd_sim_plan *plan, pd_sim_power *out,
                                  pd_error *err)
{
	return simulate(plan, 0, out, err);
}

pd_status pd_power_simulate_counts(const pd_sim_plan *plan, pd_sim_power *out,
                                   pd_error *err)
{
	return simulate(plan, 1, out, err);
}
