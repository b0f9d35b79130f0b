/*
 * cell.c - what the simulation cells share: answers held against the truth,
 * counts, and draws of patients, their visits and the rows in them.
 */
#include "cell.h"

#include <math.h>

const double sim_effect = -0.35667494393873245; /* ln 0.7 */

void sim_interval(sim_answer *a, pd_status st, double low, double high,
                  double truth)
{
	a->status = st;
	a->hit = st == PD_OK && low <= truth && truth <= high;
	a->length = high - low;
	a->not_finite = st == PD_OK && (isnan(low) || isnan(high));
}

void sim_estimate(sim_answer *a, pd_status st, const pd_estimate *e,
                  double truth)
{
	if (st == PD_OK)
		sim_interval(a, st, e->low, e->high, truth);
	else
		sim_interval(a, st, 0, 0, truth);
}

void sim_claim(sim_answer *a, pd_status st, int made)
{
	a->status = st;
	a->hit = st == PD_OK && made;
	a->length = NAN;
	a->not_finite = 0;
}

double sim_poisson(pd_stream *s, double mean)
{
	double u = pd_stream_uniform(s), term = exp(-mean), sum = term, k = 0;

	while (u > sum && k < 10000) {
		k++;
		term *= mean / k;
		sum += term;
	}
	return k;
}

double sim_negative_binomial(pd_stream *s, double mean, double theta)
{
	if (!isfinite(theta))
		return sim_poisson(s, mean);
	return sim_poisson(s, mean * pd_stream_chisq(s, 2 * theta) /
	                              (2 * theta));
}

static unsigned between(pd_stream *s, unsigned low, unsigned high)
{
	return low + (unsigned)pd_stream_below(s, high - low + 1);
}

static void add_row(sim_tree *t, const sim_plan *plan, double base,
                    double effect, size_t patient, int arm, pd_stream *s)
{
	size_t i = t->n++;

	t->x[2 * i] = 1;
	t->x[2 * i + 1] = arm;
	t->mean[i] = base + effect * arm;
	t->y[i] = t->mean[i] + plan->sd[2] * pd_stream_normal(s);
	t->patient[i] = (int32_t)patient;
	t->visit[i] = (int32_t)(t->n_cases - 1);
	t->n_arm[arm]++;
}

sim_tree *sim_grow(const sim_plan *plan, pd_stream *s, pd_arena *arena)
{
	sim_tree *t = PD_NEW(arena, sim_tree, 1);

	for (size_t p = 0; t && p < plan->patients; p++) {
		double up = plan->sd[0] * pd_stream_normal(s);
		double effect = sim_effect;
		unsigned cases = between(s, plan->cases_low, plan->cases_high);

		if (plan->slope_sd > 0)
			effect += plan->slope_sd * pd_stream_normal(s);
		for (unsigned c = 0; c < cases; c++) {
			double uc = plan->sd[1] * pd_stream_normal(s);
			unsigned rows = between(s, plan->rows_low,
			                        plan->rows_high);

			t->n_cases++;
			for (unsigned r = 0; r < rows && t->n < SIM_ROWS; r++)
				add_row(t, plan, up + uc, effect, p,
				        (int)((plan->between ? p : r + c) % 2),
				        s);
		}
	}
	return t;
}

void sim_doses(sim_tree *t, double (*height)(double), double *v, pd_stream *s)
{
	for (size_t i = 0; i < t->n; i++) {
		v[i] = 1 + 8 * pd_stream_uniform(s);
		t->y[i] += height(v[i]) - sim_effect * t->x[2 * i + 1];
	}
}
