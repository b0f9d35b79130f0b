/*
 * lab.c - what the laboratory counted: assay error, dishes, limits, blanks,
 * and the few slips of the pen that the loader ought to notice.
 */
#include "clinic.h"

#include <math.h>

enum { TOO_MANY = 150 };

static double assay(demo_rng *r, measure m)
{
	return exp(demo_effects[m].assay * demo_normal(r));
}

static double to_step(double x, double step)
{
	return floor(x / step + 0.5) * step;
}

static int one_dish(demo_rng *r, double mean)
{
	int n = demo_negbin(r, mean, demo_dish_size);

	return n > TOO_MANY ? DISH_TNTC : n;
}

/* Usually three dishes of a million cells (the new laboratory: 1.5); one
 * sample in thirty had too few cells for more than two dishes of 50,000. */
static void dishes(demo_rng *r, const demo_case *c, double per_million,
                   double *plated, int dish[N_DISHES])
{
	int scarce = demo_chance(r, 0.03);
	double rate = per_million * assay(r, M_PREVALENCE);

	*plated = scarce ? 5e4 : c->new_lab ? 1.5e6 : 1e6;
	for (int i = 0; i < N_DISHES; i++) {
		if (!c->cfu_ordered)
			dish[i] = i ? DISH_BLANK : DISH_NOT_ORDERED;
		else if (c->cfu_failed)
			dish[i] = i ? DISH_BLANK : DISH_FAILED;
		else if (scarce && i == 2)
			dish[i] = DISH_BLANK;
		else
			dish[i] = one_dish(r, rate * *plated / 1e6);
	}
	if (!c->cfu_ordered)
		*plated = NAN;
}

static void no_dishes(double *plated, int dish[N_DISHES])
{
	*plated = NAN;
	for (int i = 0; i < N_DISHES; i++)
		dish[i] = DISH_BLANK;
}

static double viability_read(demo_rng *r, const demo_case *c, double truth)
{
	double x = truth + demo_effects[M_VIABILITY].assay * demo_normal(r);

	/* The first year's reader wrote fives and tens. */
	x = to_step(x, c->hand_count ? 5 : 0.1);
	return x > 100 ? 100 : x;
}

/* Red cells, haematocrit, platelets: mostly blood, more so in large pulls. */
static void red_side(demo_rng *r, const demo_case *c, demo_pull *p)
{
	double diluted = p->ml / (p->ml + p->acid_ml);
	double blood = 0.78 + 0.012 * p->ml + 0.04 * demo_normal(r);

	if (blood > 0.985)
		blood = 0.985;
	p->rbc = to_step(c->blood_rbc * blood * diluted, 0.01);
	p->hct = to_step(c->blood_hct * blood * diluted, 0.1);
	/* The old laboratory wrote platelets in fives. */
	p->platelets = to_step(150 * exp(0.3 * demo_normal(r)),
	                       c->new_lab ? 1 : 5);
}

static void one_pull(demo_rng *r, const demo_case *c, demo_pull *p)
{
	double diluted = p->ml / (p->ml + p->acid_ml);
	double tnc = p->true_[M_TNC] * diluted * assay(r, M_TNC);
	double share = p->true_[M_MNC_SHARE] * assay(r, M_MNC_SHARE);

	red_side(r, c, p);
	p->tnc = to_step(tnc, 0.1);
	p->mnc = to_step(tnc * (share > 0.97 ? 0.97 : share), 0.1);
	p->viability = viability_read(r, c, p->true_[M_VIABILITY]);
	p->cd34 = p->true_[M_CD34] * diluted * assay(r, M_CD34);
	if (demo_chance(r, 0.04))
		p->mnc = NAN;
	if (demo_chance(r, 0.05))
		p->viability = NAN;
	dishes(r, c, p->true_[M_PREVALENCE], &p->plated, p->dish);
	if (demo_chance(r, 0.01)) { /* clotted: nothing was counted */
		p->tnc = p->mnc = p->viability = NAN;
		p->rbc = p->hct = p->platelets = NAN;
		no_dishes(&p->plated, p->dish);
	}
}

static void nothing(demo_pull *p)
{
	p->tnc = p->mnc = p->viability = p->rbc = p->hct = NAN;
	p->platelets = NAN;
	no_dishes(&p->plated, p->dish);
}

/* A pool value copied down: one case carries its first pull's counts. */
static void copy_down(demo_case *c)
{
	const demo_pull *from = &c->site[0].pull[0];

	for (int i = 0; i < c->n_sites; i++)
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			c->site[i].pull[k].tnc = from->tnc;
			c->site[i].pull[k].mnc = from->mnc;
		}
}

void demo_lab(demo_rng *r, demo_case *c)
{
	const demo_patient *p = c->patient;
	double poor = -(p->effect[M_TNC] + p->effect[M_PREVALENCE]) /
	              hypot(demo_effects[M_TNC].patient,
	                    demo_effects[M_PREVALENCE].patient);
	int cd34 = demo_chance(r, 0.7);

	/* A culture run fails as a whole, more often in poor marrow. */
	c->cfu_failed = demo_chance(r, 1 / (1 + exp(3.5 - 0.8 * poor)));
	for (int i = 0; i < c->n_sites; i++)
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			demo_pull *q = &c->site[i].pull[k];

			q->cd34_asked = cd34 && !c->pooled;
			one_pull(r, c, q);
			if (c->pooled)
				nothing(q);
		}
	if (c->number == 17) /* cells per uL written where 10^6/mL belong */
		c->site[0].pull[0].tnc = to_step(
		    fmin(c->site[0].pull[0].true_[M_TNC], 8.5) * 1000, 0.1);
	if (!c->pooled && c->number % 2400 == 38 && c->n_sites > 1)
		copy_down(c);
}

void demo_lab_pool(demo_rng *r, const demo_case *c, int side, demo_pool *out)
{
	double cells = 0, colonies = 0, mono = 0, alive = 0;

	*out = (demo_pool){ 0 };
	for (int i = 0; i < c->n_sites; i++) {
		if (side >= 0 && c->site[i].right != side)
			continue;
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			const demo_pull *p = &c->site[i].pull[k];
			double n = p->true_[M_TNC] * p->ml;

			out->ml += p->ml;
			out->fluid_ml += p->ml + p->acid_ml;
			cells += n;
			colonies += n * p->true_[M_PREVALENCE];
			mono += n * p->true_[M_MNC_SHARE];
			alive += n * p->true_[M_VIABILITY];
		}
	}
	if (cells <= 0)
		return;
	out->tnc = to_step(cells / out->fluid_ml * assay(r, M_TNC), 0.1);
	out->mnc = to_step(out->tnc * mono / cells * assay(r, M_MNC_SHARE),
	                   0.1);
	out->viability = viability_read(r, c, alive / cells);
	dishes(r, c, colonies / cells, &out->plated, out->dish);
}
