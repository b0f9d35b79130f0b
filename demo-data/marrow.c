/*
 * marrow.c - what is truly in each pull: the fixed effects of effects.c and
 * one random part for patient, case, side, hole and pull, all additive on the
 * log scale (viability: in points).
 */
#include "clinic.h"

#include <math.h>

static double case_part(const effects *e, const demo_case *c, measure m)
{
	const demo_patient *p = c->patient;
	int new_method = m == M_CD34 ? c->new_flow : c->new_lab;

	return e->centre + p->effect[m] + e->age_10y * (c->age_y - 50) / 10.0 +
	       e->female * p->female + e->bmi_5 * (p->bmi - 27) / 5 +
	       e->year * (demo_year(c->day) - 2021.5) +
	       e->operator_[c->operator_] + e->new_lab * new_method;
}

static double site_part(const effects *e, const demo_site *s)
{
	double x = e->landmark_[s->landmark] + e->closed_tip * s->closed_tip +
	           e->log_syringe * log(s->syringe_ml / 10);

	if (s->in_side > 1 && s->distance_mm < 15)
		x += e->close_neighbour;
	return x;
}

static double pull_part(const effects *e, const demo_pull *p, measure m)
{
	double x = e->log_ml * log(p->ml / 5) +
	           e->hour_to_lab * (p->minutes - 70) / 60.0;

	if (p->no == 1)
		return x;
	if (p->move == MOVE_NONE)
		return x + demo_same_hole(m, p->no);
	return x + e->moved[p->move];
}

static double settle(measure m, double x)
{
	if (m == M_VIABILITY)
		return x > 99.9 ? 99.9 : x;
	x = exp(x);
	return m == M_MNC_SHARE && x > 0.95 ? 0.95 : x;
}

static void one_measure(demo_rng *r, demo_case *c, measure m)
{
	const effects *e = &demo_effects[m];
	double base = case_part(e, c, m) + e->occasion * demo_normal(r);
	double side[2] = { e->side * demo_normal(r), e->side * demo_normal(r) };

	for (int i = 0; i < c->n_sites; i++) {
		demo_site *s = &c->site[i];
		double at_site = base + side[s->right] + site_part(e, s) +
		                 e->site * demo_normal(r);

		for (int k = 0; k < s->n_pulls; k++)
			s->pull[k].true_[m] = settle(
			    m, at_site + pull_part(e, &s->pull[k], m) +
			           e->pull * demo_normal(r));
	}
}

void demo_marrow(demo_rng *r, demo_case *c)
{
	for (int m = 0; m < N_MEASURES; m++)
		one_measure(r, c, (measure)m);
}
