/*
 * claim.h - what a printed claim about a device or a technique is worth in
 * this clinic, in plain structs: the plan room fills them, the report room
 * words them. Ratios are the device's arm over the comparator's. `log` holds
 * natural logs, value/low/high what is printed. NaN: not known.
 */
#ifndef PERDRAW_BASE_CLAIM_H
#define PERDRAW_BASE_CLAIM_H

#include "base/answer.h"

enum {
	PD_CLAIM_READINGS = 24, PD_CLAIM_USUALS = 8, PD_CLAIM_SIZES = 4,
	PD_CLAIM_COSTS = 2, PD_CLAIM_ANSWERS = 3, PD_CLAIM_PARTS = 6
};

/* A ratio as printed, with its log. */
typedef struct pd_claim_ratio {
	pd_estimate log;         /* se NaN: nothing says how uncertain it is   */
	double value, low, high;
	pd_verdict verdict;
} pd_claim_ratio;

/* One thing the print can mean. */
typedef struct pd_claim_reading {
	const char *words;       /* "'+/-' read as SD, correlation 0.5"        */
	pd_claim_ratio claim;
	const char *doubt;       /* what its interval rests on, or NULL        */
	double sd;               /* log scale: of a paired difference, or of one
	                            result; NaN where the print has none      */
	bool sd_borrowed;        /* ... this clinic's own instead              */
	double detectable;       /* smallest ratio > 1 found 4 times in 5      */
	double power_margin;     /* chance to find 1 / margin; NaN: no margin  */
	pd_claim_ratio against;  /* this clinic's effect over the claim        */
} pd_claim_reading;

/* An arm as printed. centre: geometric means in the outcome's unit, one a
 * reading of the print (SD or SE); n_centres 0: no numbers printed. */
typedef struct pd_claim_arm {
	const char *name, *printed, *draw; /* "1,150 +/- 610 CFU-F/mL",
	                            "3 mL a pull, 4 sites"; NULL: not printed  */
	const char *material;
	size_t n;                /* patients, 0: not printed                   */
	size_t n_centres;
	const char *centre_words[2];
	double centre[2], centre_low[2], centre_high[2], log_se[2], df[2];
	double price;            /* a unit, NaN                                */
} pd_claim_arm;

/* This clinic's ordinary practice, one a laboratory method version. */
typedef struct pd_claim_usual {
	const char *version;     /* or "all method versions"                   */
	const char *refusal;
	size_t n_patients, n_cases, n_rows, n_censored;
	pd_estimate log;
	double centre, low, high;         /* geometric mean, patients as units */
	double patient_low, patient_high; /* 5 and 95 % of patients            */
	pd_claim_ratio comparator[2];     /* printed comparator over it, one a
	                                     reading; verdict WORSE: weak      */
	pd_claim_ratio device[2];         /* printed device arm over it        */
	double share_below[2];   /* of patients whose own mean lies below the
	                            comparator's                               */
} pd_claim_usual;

/* The effect here by overlap weights: a second look where arms were not
 * paired. */
typedef struct pd_claim_weighted {
	pd_weighing by;          /* the device is the first level              */
	pd_claim_ratio ratio;
} pd_claim_weighted;

/* A trial of pairs, the two sides of one patient. */
typedef struct pd_claim_size {
	const char *aim;         /* "to find the claimed ratio 1.92"           */
	const char *none;        /* why no size is enough, or NULL             */
	double n, power, n_before, power_before; /* at `power`                 */
	double n_more;           /* at power 0.9                               */
	double n_wide;           /* at the upper limit of the spread           */
} pd_claim_size;

typedef struct pd_claim_patient {
	unsigned number, block;
	bool device_left, left_first;
} pd_claim_patient;

typedef struct pd_claim_trial {
	const char *refusal;
	double power;
	unsigned sites_per_side, pulls_per_site;
	double sd, sd_low, sd_high; /* of the difference of the two sides      */
	size_t n_parts;
	const char *part[PD_CLAIM_PARTS];
	double part_sd[PD_CLAIM_PARTS];
	size_t n_patients, n_rows;
	double sd_result;        /* of one result, all parts together          */
	size_t n_both;           /* cases with both sides drawn alike          */
	double sd_both, sd_both_low, sd_both_high; /* seen between their sides */
	size_t n_sizes;
	pd_claim_size size[PD_CLAIM_SIZES];
	unsigned long long seed;
	size_t n_list;           /* the allocation list                        */
	pd_claim_patient *list;
	const char *list_words;  /* how it was made and how long               */
} pd_claim_trial;

/* What an extra million cells, or thousand colonies, costs. */
typedef struct pd_claim_cost {
	const char *outcome_words, *unit; /* "10^6 nucleated cells"            */
	const char *refusal;
	double ml;               /* drawn a case, this clinic's median         */
	double base, base_low, base_high; /* a case now, in `unit`             */
	double gain, gain_low, gain_high; /* more a case                       */
	double cost, cost_low, cost_high; /* an extra unit; high INFINITY, cost
	                            NaN where the interval holds no gain       */
	bool no_gain;            /* the interval includes none                 */
} pd_claim_cost;

typedef struct pd_claim_answer {
	const char *name;        /* of the file                                */
	const char *title, *source;
	const char *outcome_words, *judge_words, *unit;
	double margin, level;
	bool paired;
	size_t n_patients[2];    /* of the printed study, 0: not printed       */
	const char *refusal;     /* the numbers cannot be held together        */
	pd_claim_arm arm[2];     /* device, comparator                         */
	const char *wording;     /* what the words can mean, or NULL           */
	size_t n_readings;
	pd_claim_reading reading[PD_CLAIM_READINGS];
	bool skewed;             /* a middle far off the centre of its limits  */
	double exact_p;          /* smallest two-sided exact p at that n       */
	/* unequal draws in the two arms, and what the volume alone does here */
	const char *unequal;
	pd_claim_ratio volume;   /* by this clinic's own slope                 */
	const char *volume_words;
	/* (b) */
	const char *usual_rows;  /* "landmark is ..., n_sites is 2"            */
	const char *unmatched;   /* what could not be matched                  */
	double usual_age;        /* the geometric means are for, NaN           */
	size_t n_usuals;
	pd_claim_usual usual[PD_CLAIM_USUALS];
	/* (c): answer[0] the effect here, then what was asked beside it */
	pd_review review;
	bool asked;              /* false: the clinic section asks nothing     */
	const pd_answer *here;   /* answer[0], NULL when not asked or refused  */
	const char *here_refusal;
	pd_claim_weighted weighted;
	bool weighted_tried;
	pd_claim_trial trial;
	const char *currency;
	double price_more;       /* a case: device less comparator             */
	size_t n_costs;
	pd_claim_cost cost[PD_CLAIM_COSTS];
	const char *cost_refusal;
	size_t n_cautions;
	const char *caution[10];
} pd_claim_answer;

#endif
