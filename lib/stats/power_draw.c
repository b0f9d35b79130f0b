/*
 * power_draw.c - the rows of a simulated trial: who is inside whom, which arm,
 * and what came out.
 */
#include "stats/power_own.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_ROWS = 1000000 };

/* ---- layout ------------------------------------------------------------- */

static size_t inside(const pd_sim_plan *p, int level)
{
	return p->n[level] ? p->n[level] : 1;
}

/* Levels the rows can tell apart: more groups than the level kept before and
 * fewer than rows. */
static void choose_levels(struct pd_sim_layout *l)
{
	size_t before = 1;

	for (int k = PD_SIM_PATIENT; k < PD_SIM_ALIQUOT; k++)
		if (l->n_units[k] > before && l->n_units[k] < l->n) {
			l->fitted[l->depth++] = (pd_sim_level)k;
			before = l->n_units[k];
		}
}

/* Codes from the innermost place outward, and the arm from their parity. */
static void give_codes(struct pd_sim_layout *l)
{
	const pd_sim_plan *p = l->plan;

	for (size_t i = 0; i < l->n; i++) {
		size_t code = i, places = 0;

		for (int k = PD_SIM_ALIQUOT; k >= 0; k--) {
			l->unit[k][i] = (int32_t)code;
			if (k <= (int)p->alternate)
				places += code % inside(p, k);
			code /= inside(p, k);
		}
		l->arm[i] = places % 2;
	}
}

pd_status pd_sim_layout_make(const pd_sim_plan *plan,
                             struct pd_sim_layout *out, pd_error *err)
{
	size_t in_arm = 0;

	*out = (struct pd_sim_layout){ .plan = plan, .n = 1 };
	out->n_dishes = plan->n_dishes ? plan->n_dishes : 1;
	for (int k = 0; k < PD_SIM_LEVELS; k++) {
		if (inside(plan, k) > MOST_ROWS / out->n)
			return pd_fail(err, PD_DATA, "at most %d aliquots are "
			               "simulated", MOST_ROWS);
		out->n *= inside(plan, k);
		out->n_units[k] = out->n;
	}
	out->arm = calloc(out->n, 1);
	for (int k = 0; k < PD_SIM_LEVELS; k++)
		out->unit[k] = calloc(out->n, sizeof *out->unit[k]);
	for (int k = 0; k < PD_SIM_LEVELS; k++)
		if (!out->unit[k] || !out->arm)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	give_codes(out);
	choose_levels(out);
	for (size_t i = 0; i < out->n; i++)
		in_arm += out->arm[i];
	if (!in_arm || in_arm == out->n)
		return pd_fail(err, PD_DATA, "all %zu aliquots fall in one "
		               "arm: nothing alternates", out->n);
	return PD_OK;
}

void pd_sim_layout_clear(struct pd_sim_layout *l)
{
	free(l->arm);
	for (int k = 0; k < PD_SIM_LEVELS; k++)
		free(l->unit[k]);
	*l = (struct pd_sim_layout){ 0 };
}

/* ---- one trial ---------------------------------------------------------- */

size_t pd_sim_rows_size(const struct pd_sim_layout *l)
{
	return l->n * (4 * sizeof(double) + PD_SIM_LEVELS * sizeof(int32_t));
}

void pd_sim_rows_place(const struct pd_sim_layout *l, void *room,
                       struct pd_sim_rows *out)
{
	double *at = room;
	int32_t *code = (int32_t *)(at + 4 * l->n);

	out->y = at;
	out->x = at + l->n;
	out->offset = at + 3 * l->n;
	for (size_t k = 0; k < PD_SIM_LEVELS; k++)
		out->group[k] = code + k * l->n;
}

/* The sum of the effects of the units that row i is in; a unit's effect is
 * drawn at its first row. */
static double effects(const struct pd_sim_layout *l, size_t i, pd_stream *s,
                      double effect[PD_SIM_LEVELS])
{
	const pd_sim_plan *p = l->plan;
	double sum = 0;

	for (int k = 0; k < PD_SIM_LEVELS; k++) {
		int again = i && l->unit[k][i] == l->unit[k][i - 1];

		if (!again)
			effect[k] = p->sd[k] > 0
			                ? p->sd[k] * pd_stream_normal(s) : 0;
		sum += effect[k];
	}
	return sum;
}

static double log_result(const pd_sim_plan *p, size_t n_dishes, double centre,
                         pd_stream *s)
{
	if (p->sd_dish > 0)
		centre += p->sd_dish / sqrt((double)n_dishes) *
		          pd_stream_normal(s);
	return centre;
}

/* An aliquot's own factor is gamma with mean 1 and variance 1 / theta. */
static double count_result(const pd_sim_plan *p, size_t n_dishes,
                           double centre, pd_stream *s)
{
	double mean = (double)n_dishes * p->colonies * exp(centre);

	if (isfinite(p->theta))
		mean *= pd_stream_gamma(s, p->theta) / p->theta;
	return pd_stream_poisson(s, mean); /* NaN, a failed fit, beyond 1e6 */
}

void pd_sim_draw(const struct pd_sim_layout *l, uint64_t k, int counts,
                 struct pd_sim_rows *out)
{
	const pd_sim_plan *p = l->plan;
	double effect[PD_SIM_LEVELS] = { 0 }, shift = log(p->ratio);
	pd_stream s;
	size_t n = 0;

	pd_stream_init(&s, p->seed, k);
	for (size_t i = 0; i < l->n; i++) {
		double at = effects(l, i, &s, effect) +
		            (l->arm[i] ? shift : 0), y;

		y = counts ? count_result(p, l->n_dishes, at, &s)
		           : log_result(p, l->n_dishes, at, &s);
		if (p->lost > 0 && pd_stream_uniform(&s) < p->lost)
			continue;
		out->y[n] = y;
		out->x[2 * n] = 1;
		out->x[2 * n + 1] = l->arm[i];
		out->offset[n] = log((double)l->n_dishes);
		for (size_t d = 0; d < l->depth; d++)
			out->group[d][n] = l->unit[l->fitted[d]][i];
		n++;
	}
	out->n = n;
}
