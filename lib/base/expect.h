/*
 * expect.h - what a draw may yield, in the clinic's own past draws: plain
 * structs the plan room fills and the report room words.
 */
#ifndef PERDRAW_BASE_EXPECT_H
#define PERDRAW_BASE_EXPECT_H

#include "base/answer.h"
#include "base/estimate.h"

enum { PD_EXPECT_SITES = 10, PD_EXPECT_DEEP = 8 };

/* A case of so many sites of so many mL each. Numbers are NaN where refused. */
typedef struct pd_expect_cell {
	size_t sites;
	double site_ml, total_ml;
	const char *refused;     /* NULL, or what was not seen, in words       */
	bool over;               /* beyond the total volume given              */
	size_t n_alike;          /* patients with that many sites or more, of
	                            that many mL or more on average            */
	double mean;             /* expected yield of a case                   */
	double median;           /* half of such patients are above            */
	double low_80, high_80;  /* 80 % prediction interval                   */
	double low, high;        /* at the answer's level                      */
	double chance;           /* of reaching the target; NaN: no target     */
	double chance_low, chance_high; /* at the answer's level: what the
	                            estimates do not know                      */
	double next_site;        /* mean added by one more such site           */
	double next_ml;          /* mean added by 1 mL more at every site      */
} pd_expect_cell;

/* A later site or pull against the first, the same mL. */
typedef struct pd_expect_order {
	const char *name;        /* "site 3 of a side or later"                */
	size_t n_patients;
	pd_estimate log_ratio;
} pd_expect_order;

/* A restricted cubic spline that was used, its knots at quantiles of the data. */
typedef struct pd_expect_curve {
	size_t k;                /* knots; 0: a straight line                  */
	double knot[7];
	double bend_p;           /* is it curved; NaN: not asked               */
} pd_expect_curve;

typedef struct pd_expect_answer {
	pd_review context;       /* no answers in it                           */
	const char *outcome_words, *unit;
	const char *landmark;    /* NULL: not recorded                         */
	const char *sex, *version; /* version NULL: one only, or not recorded  */
	const char *held;        /* other adjusters and where they are held    */
	double age, target, given_ml, weight_kg, level; /* NaN: not given      */
	double syringe_ml;       /* held at; NaN: size not held                */
	size_t pulls, sides;     /* pulls at a site; sides of the body used    */
	const char *refusal;
	/* what it rests on */
	size_t n_patients, n_cases, n_sites, n_pulls;
	size_t least;            /* patients a thing needs to count as seen    */
	size_t n_flow;
	pd_flow *flow;
	size_t n_notes;
	const char *note[10];
	size_t n_components;
	const char *component_name[6];
	double component_sd[6];  /* log scale                                  */
	pd_estimate volume;      /* log yield by log mL of a pull, one line    */
	pd_expect_curve ml_curve, age_curve; /* knots in mL, years             */
	size_t n_orders;
	pd_expect_order order[12];
	/* the map: cell[j * n_across + i], i sites across, j mL down          */
	size_t n_across, n_down;
	size_t across[PD_EXPECT_SITES];
	double down[PD_EXPECT_DEEP];
	pd_expect_cell cell[PD_EXPECT_SITES * PD_EXPECT_DEEP];
	size_t n_shared;         /* the given volume over across[] sites       */
	pd_expect_cell shared[PD_EXPECT_SITES];
	/* how good the draws are */
	size_t draws;
	double chance_se;        /* Monte Carlo standard error, the largest    */
	double limit_se;         /* of a limit, relative, the largest          */
	/* the clinic's own cases against what the others foretold */
	size_t n_checked, n_in_80, n_in;
	size_t n_unclear;        /* of them, known only between limits: counted
	                            by the share of their range that is inside */
	size_t parts;            /* the patients were left out in so many parts */
	double in_80_low, in_80_high, in_low, in_high; /* exact 95 % limits    */
	pd_estimate off;         /* log of observed over foretold middle       */
} pd_expect_answer;

#endif
