/*
 * clinic.h - the demo clinic: its words, its true effects, its records.
 * Everything here is invented. effects.c holds the one table of true effects;
 * visits.c decides who is drawn from and how; marrow.c gives every pull its
 * true content; lab.c counts it, with the laboratory's errors; write.c prints
 * files; truth.c says what each question of demo.plan ought to find.
 */
#ifndef DEMO_CLINIC_H
#define DEMO_CLINIC_H

#include "random.h"
#include <stddef.h>
#include <stdio.h>

enum { N_OPERATORS = 4, MAX_SITES = 8, MAX_PULLS = 3, N_DISHES = 3 };
enum { FIRST_YEAR = 2017, N_YEARS = 9 };

/* What is simulated. CFU-F per mL is TNC times colony prevalence, MNC is TNC
 * times the mononuclear fraction. */
typedef enum measure {
	M_TNC, M_PREVALENCE, M_CD34, M_MNC_SHARE, M_VIABILITY, N_MEASURES
} measure;

typedef enum landmark {
	POSTERIOR_CREST, ANTERIOR_CREST, PROXIMAL_TIBIA, CALCANEUS, N_LANDMARKS
} landmark;

typedef enum move {
	MOVE_NONE, MOVE_ROTATE, MOVE_WITHDRAW, MOVE_ADVANCE, MOVE_REDIRECT,
	MOVE_NEW_HOLE, N_MOVES
} move;

/* True effects of one measure. All on the natural log scale, for viability in
 * percentage points. Random parts are standard deviations, each of its own
 * level of the tree. */
typedef struct effects {
	double centre;            /* 5 mL, 10 mL syringe, man of 50, mid-2021 */
	double patient, occasion, side, site, pull, assay;
	double age_10y, female, bmi_5, year, hour_to_lab;
	double log_ml, log_syringe;
	double operator_[N_OPERATORS]; /* sum to zero                    */
	double landmark_[N_LANDMARKS];
	double closed_tip;        /* against open-end              */
	double close_neighbour;   /* an earlier hole under 15 mm away */
	double new_lab;           /* second method version, not first */
	double moved[N_MOVES];    /* pull 2 or 3 after this move; that of   */
	                          /* MOVE_NONE: see demo_same_hole instead  */
} effects;

extern const effects demo_effects[N_MEASURES];
extern const double demo_dish_size;   /* negative binomial size of a dish */

/* Log ratio of pull number `no` (1, 2, 3) to the first at one hole when the
 * needle is not moved and pulls are of equal volume: the yield of the hole
 * follows the power law volume^b, so pull k gives k^b - (k-1)^b. */
double demo_same_hole(measure m, int no);
/* Log-scale volume exponent b of a yield: 1 + the sum of the slopes. */
double demo_yield_power(measure m);

typedef struct demo_patient {
	char id[16];
	int female, birth_year, birth_day; /* day of the year, 0 .. 364 */
	int birth_year_known;
	double bmi;
	int bmi_known;
	double effect[N_MEASURES];
	int last_day;                      /* of the latest case        */
} demo_patient;

typedef struct demo_pull {
	int no, move, anticoagulant, style, minutes;
	double ml, acid_ml;  /* drawn; anticoagulant in the syringe      */
	double true_[N_MEASURES]; /* undiluted; not logs                 */
	/* as the laboratory reported; NaN blank                         */
	double tnc, mnc, viability, hct, rbc, platelets, plated;
	int dish[N_DISHES];  /* colonies, or a DISH_ state               */
	double cd34;
	int cd34_asked;
} demo_pull;

enum {
	DISH_BLANK = -1, DISH_TNTC = -2, DISH_FAILED = -3,
	DISH_NOT_ORDERED = -4
};

typedef struct demo_site {
	int right, in_side, landmark, closed_tip, distance_mm, gauge, adverse;
	int adverse_known, pain;           /* pain -1: not asked         */
	double syringe_ml;
	int n_pulls;
	demo_pull pull[MAX_PULLS];
} demo_site;

typedef struct demo_case {
	int number, day;                   /* days since 1970-01-01      */
	const demo_patient *patient;
	int age_y, operator_, new_lab, hand_count, new_flow, closed_tip;
	double blood_wbc, blood_rbc, blood_hct; /* NaN: not taken        */
	int pooled;                        /* 0 no, 1 whole case, 2 a side */
	int cfu_ordered, cfu_failed, counted;
	int n_sites;
	demo_site site[MAX_SITES];
} demo_case;

/* visits.c: draws a case for a patient on a day (who, how). */
int demo_day(int year, int month, int mday); /* days since 1970-01-01    */
void demo_date(int day, int *year, int *month, int *mday);
double demo_year(int day);                    /* decimal year            */
void demo_patient_make(demo_rng *r, demo_patient *p, int number, int day);
void demo_visit(demo_rng *r, demo_case *c, int number, int day,
                const demo_patient *p);
/* marrow.c: what is truly in every pull. */
void demo_marrow(demo_rng *r, demo_case *c);
/* lab.c: what was counted. */
void demo_lab(demo_rng *r, demo_case *c);

typedef struct demo_pool {
	double ml, fluid_ml;               /* marrow; marrow + anticoagulant */
	double tnc, mnc, viability, plated;
	int dish[N_DISHES];
} demo_pool;
/* Pool of one side (0 left, 1 right) or of the case (-1). */
void demo_lab_pool(demo_rng *r, const demo_case *c, int side, demo_pool *out);

/* write.c */
extern const char *const demo_operator[N_OPERATORS];
extern const char *const demo_landmark[N_LANDMARKS];
void demo_write_header(FILE *f);
void demo_write_case(FILE *f, const demo_case *c);
void demo_write_cd34_header(FILE *f);
void demo_write_cd34(FILE *f, const demo_case *c);
void demo_write_pool_header(FILE *f);
void demo_write_pools(FILE *f, demo_rng *r, const demo_case *c);
/* The same rows as demo_write_case in the clinic's own dialect (local.map). */
void demo_write_local_header(FILE *f);
void demo_write_local(FILE *f, const demo_case *c);
/* bad.c */
void demo_write_bad(FILE *f);
void demo_write_bad_key(FILE *f); /* line, code, what: tab-separated */
/* truth.c: tab-separated, and the table of TRUTH.md. */
void demo_write_truth(FILE *f);
void demo_write_truth_table(FILE *f);
/* Stored truth of a question with one effect; NaN for an unknown name. */
double demo_truth(const char *question);
/* simulate.c: simulates `cases` fresh cases and compares what was stored as
 * simulated with what comes out. 0: all agree within four standard errors. */
int demo_check_truth(FILE *f, uint64_t seed, int cases);

#endif
