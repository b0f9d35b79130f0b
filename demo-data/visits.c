/*
 * visits.c - who came when, and how each operator chose to draw. The choices
 * lean on age, operator and calendar, never on what the marrow turned out to
 * be: that is what makes the comparisons confounded but adjustable.
 */
#include "clinic.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* One operator's taste. */
struct taste {
	double older;             /* draw towards older patients, per decade */
	double holes;             /* added to log2 of the number of holes    */
	double pulls[MAX_PULLS];  /* weight of 1, 2, 3 pulls a hole          */
	double moves[5];          /* none, rotate, withdraw, ... as enum move */
	double ml;                /* usual pull, mL                          */
	double big_syringe;       /* chance of 50 mL whatever the volume     */
	double tibia, not_ordered; /* chances                                */
	int close;                /* holes 6 to 12 mm apart                  */
	double acid;              /* chance of ACD-A rather than rinse       */
};

static const struct taste taste[N_OPERATORS] = {
	{ -0.20, 0.00, { .70, .25, .05 }, { .45, .10, .05, .20, .20 },
	  4.0, 0.02, 0.03, 0.15, 0, 0.5 },
	{ 0.00, -0.30, { .25, .50, .25 }, { .25, .05, .05, .10, .55 },
	  6.0, 0.05, 0.04, 0.22, 0, 0.8 },
	{ 0.00, 0.35, { .35, .45, .20 }, { .40, .10, .10, .35, .05 },
	  5.0, 0.05, 0.10, 0.28, 1, 0.3 },
	{ 0.50, 0.05, { .40, .40, .20 }, { .60, .10, .05, .15, .10 },
	  9.0, 0.30, 0.05, 0.40, 0, 0.7 },
};

int demo_day(int year, int month, int mday)
{
	/* Days of the civil calendar, years from March, all in integers. */
	int y = year - (month <= 2), era = y / 400, yoe = y - era * 400;
	int doy = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + mday - 1;
	int doe = yoe * 365 + yoe / 4 - yoe / 100 + doy;

	return era * 146097 + doe - 719468;
}

void demo_date(int day, int *year, int *month, int *mday)
{
	int z = day + 719468, era = z / 146097, doe = z - era * 146097;
	int yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
	int doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
	int mp = (5 * doy + 2) / 153;

	*mday = doy - (153 * mp + 2) / 5 + 1;
	*month = mp < 10 ? mp + 3 : mp - 9;
	*year = yoe + era * 400 + (*month <= 2);
}

double demo_year(int day)
{
	int y, m, d, first;

	demo_date(day, &y, &m, &d);
	first = demo_day(y, 1, 1);
	return y + (double)(day - first) / (demo_day(y + 1, 1, 1) - first);
}

static double clamp(double x, double low, double high)
{
	return x < low ? low : x > high ? high : x;
}

void demo_patient_make(demo_rng *r, demo_patient *p, int number, int day)
{
	double age = clamp(54 + 14 * demo_normal(r), 19.1, 85.9);
	int y, m, d;

	memset(p, 0, sizeof *p);
	snprintf(p->id, sizeof p->id, "P%05d", number);
	demo_date(day - (int)(age * 365.25), &y, &m, &d);
	p->birth_year = y;
	p->birth_day = (m - 1) * 31 + d - 1;
	p->birth_year_known = demo_chance(r, 0.8);
	p->female = demo_chance(r, 0.48);
	p->bmi = clamp(27 + 4.5 * demo_normal(r), 17, 48);
	p->bmi = floor(p->bmi * 10 + 0.5) / 10;
	p->bmi_known = demo_chance(r, 0.92);
	for (int i = 0; i < N_MEASURES; i++)
		p->effect[i] = demo_effects[i].patient * demo_normal(r);
}

static int age_on(const demo_patient *p, int day)
{
	int y, m, d;

	demo_date(day, &y, &m, &d);
	return y - p->birth_year - ((m - 1) * 31 + d - 1 < p->birth_day);
}

static int choose_operator(demo_rng *r, int day, int age)
{
	double weight[N_OPERATORS];

	for (int i = 0; i < N_OPERATORS; i++)
		weight[i] = exp(taste[i].older * (age - 54) / 10);
	if (day < demo_day(2019, 1, 1)) /* joins later */
		weight[1] = 0;
	if (day >= demo_day(2025, 4, 1)) /* has left */
		weight[2] = 0;
	return demo_pick(r, weight, N_OPERATORS);
}

/* The needle changes in the third quarter of 2020; one case in eight still
 * gets the old one afterwards, as stocks are used up. */
static int choose_needle(demo_rng *r, int day)
{
	if (day < demo_day(2020, 7, 1))
		return 0;
	return demo_chance(r, day < demo_day(2020, 10, 1) ? 0.5 : 0.88);
}

static void blood_count(demo_rng *r, demo_case *c)
{
	int taken = demo_chance(r, 0.35);
	double rbc = clamp(4.7 + 0.4 * demo_normal(r), 3.2, 6.2);
	double wbc = 6.4 * exp(0.25 * demo_normal(r));
	double hct = rbc * 9.1 + 0.5 * demo_normal(r);

	c->blood_rbc = taken ? floor(rbc * 100 + 0.5) / 100 : NAN;
	c->blood_wbc = taken ? floor(wbc * 10 + 0.5) / 10 : NAN;
	c->blood_hct = taken ? floor(hct * 10 + 0.5) / 10 : NAN;
}

/* How a whole case is drawn: the same at every hole unless said. */
struct scheme {
	int holes, left_first, on_first, pulls, move;
	int land[2];           /* landmark of the first and of the other side */
	double ml, syringe[2]; /* syringe of the first and of the other side  */
};

static void choose_holes(demo_rng *r, const demo_case *c, struct scheme *s,
                         int paired)
{
	double l = 1.30 + 0.32 * (c->age_y - 54) / 10.0 +
	           taste[c->operator_].holes + 0.5 * demo_normal(r);

	s->holes = (int)clamp(floor(pow(2, l) + 0.5), 1, MAX_SITES);
	if (paired) {
		s->holes += s->holes % 2;
		s->on_first = s->holes / 2;
	} else if (s->holes == 1 || !demo_chance(r, 0.7)) {
		s->on_first = s->holes;
	} else {
		s->on_first = (s->holes + 1) / 2;
	}
	if (s->on_first > 5) /* no more than five holes a side */
		s->on_first = (s->holes + 1) / 2;
}

static double syringe_for(demo_rng *r, double ml, double big)
{
	if (demo_chance(r, big))
		return 50;
	if (ml <= 4.4)
		return demo_chance(r, 0.25) ? 5 : 10;
	if (ml <= 8.8)
		return demo_chance(r, 0.75) ? 10 : 20;
	return ml <= 17 && demo_chance(r, 0.6) ? 20 : 50;
}

static void choose_landmark(demo_rng *r, const demo_case *c, struct scheme *s)
{
	double tibia = taste[c->operator_].tibia, u = demo_uniform(r);

	s->land[0] = s->land[1] = POSTERIOR_CREST;
	if (u < tibia)
		s->land[0] = s->land[1] = PROXIMAL_TIBIA;
	else if (u < tibia + 0.05 && s->on_first < s->holes)
		s->land[1] = PROXIMAL_TIBIA;
	else if (u > 0.91)
		s->land[0] = s->land[1] = ANTERIOR_CREST;
}

static struct scheme choose_scheme(demo_rng *r, const demo_case *c)
{
	const struct taste *t = &taste[c->operator_];
	struct scheme s = { .left_first = demo_chance(r, 0.5) };
	double u = demo_uniform(r);
	int paired = u < 0.13 ? 50 : u < 0.20 ? 30 : 0;

	choose_holes(r, c, &s, paired != 0);
	s.pulls = 1 + demo_pick(r, t->pulls, MAX_PULLS);
	s.move = demo_pick(r, t->moves, 5);
	s.ml = clamp(t->ml * exp(0.45 * demo_normal(r)), 1.2, 20);
	choose_landmark(r, c, &s);
	if (paired) { /* one side with each size, the same volumes */
		int swap = demo_chance(r, 0.5);

		s.land[0] = s.land[1] = POSTERIOR_CREST;
		s.ml = paired == 50 ? clamp(s.ml, 3, 8.5) : clamp(s.ml, 2, 4.2);
		s.syringe[swap] = paired == 50 ? 10 : 5;
		s.syringe[!swap] = paired;
	} else {
		s.syringe[0] = syringe_for(r, s.ml, t->big_syringe);
		s.syringe[1] = s.syringe[0];
	}
	return s;
}

static void draw_pull(demo_rng *r, const demo_case *c, const struct scheme *s,
                      const demo_site *site, int first_of_side, demo_pull *p)
{
	p->ml = s->ml * exp(0.06 * demo_normal(r));
	p->ml = floor(clamp(p->ml, 0.5, site->syringe_ml) * 10 + 0.5) / 10;
	if (p->no > 1)
		p->move = s->move;
	else
		p->move = first_of_side ? MOVE_NONE : MOVE_NEW_HOLE;
	p->anticoagulant = demo_chance(r, taste[c->operator_].acid);
	/* One part ACD-A to nine, to the next half mL, where it fits. */
	if (p->anticoagulant)
		p->acid_ml = ceil(p->ml / 9 * 2) / 2;
	if (p->ml + p->acid_ml > site->syringe_ml) {
		p->anticoagulant = 0;
		p->acid_ml = 0;
	}
}

static void draw_site(demo_rng *r, const demo_case *c, const struct scheme *s,
                      int i, demo_site *site)
{
	int other = i >= s->on_first;

	site->right = s->left_first ? other : !other;
	site->in_side = other ? i - s->on_first + 1 : i + 1;
	site->landmark = s->land[other];
	site->syringe_ml = s->syringe[other];
	site->closed_tip = c->closed_tip;
	site->gauge = demo_chance(r, 0.8) ? 11 : 13;
	site->distance_mm = 0;
	if (site->in_side > 1)
		site->distance_mm = taste[c->operator_].close
		                        ? 6 + demo_below(r, 7)
		                        : 15 + demo_below(r, 21);
	site->adverse_known = demo_chance(r, 0.9);
	site->adverse = demo_chance(r, 0.008) ? 1 + demo_below(r, 5) : 0;
	site->pain = demo_chance(r, 0.8) ? demo_poisson(r, 2.2) : -1;
	if (site->pain > 10)
		site->pain = 10;
	site->n_pulls = s->pulls;
	for (int k = 0; k < site->n_pulls; k++) {
		site->pull[k].no = k + 1;
		draw_pull(r, c, s, site, site->in_side == 1, &site->pull[k]);
	}
}

void demo_visit(demo_rng *r, demo_case *c, int number, int day,
                const demo_patient *p)
{
	struct scheme s;
	int minutes, style;

	memset(c, 0, sizeof *c);
	c->number = number;
	c->day = day;
	c->patient = p;
	c->age_y = age_on(p, day);
	c->operator_ = choose_operator(r, day, c->age_y);
	c->closed_tip = choose_needle(r, day);
	c->new_lab = day >= demo_day(2021, 10, 1);
	c->hand_count = day < demo_day(2018, 1, 1);
	c->new_flow = day >= demo_day(2019, 7, 1);
	blood_count(r, c);
	c->cfu_ordered = !demo_chance(r, taste[c->operator_].not_ordered);
	s = choose_scheme(r, c);
	if (number == 17) { /* the one case from the heel, see lab.c */
		s.holes = s.on_first = s.pulls = 1;
		s.land[0] = CALCANEUS;
	}
	c->n_sites = s.holes;
	for (int i = 0; i < c->n_sites; i++)
		draw_site(r, c, &s, i, &c->site[i]);
	minutes = (int)clamp(70 * exp(0.5 * demo_normal(r)), 15, 300);
	style = demo_below(r, 3);
	for (int i = 0; i < c->n_sites; i++)
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			c->site[i].pull[k].minutes = minutes;
			c->site[i].pull[k].style = style;
		}
	c->pooled = demo_chance(r, 0.05);
	if (c->pooled && s.on_first < s.holes)
		c->pooled = 1 + demo_chance(r, 0.5);
	if (number == 17)
		c->pooled = 0;
}
