/*
 * claim_file.h - a claim file: what a brochure or a paper prints, what the
 * device is called here, and what a fair trial would look like. Sections and
 * keys as in a plan, as strict: see perdraw-claim(1).
 */
#ifndef PERDRAW_PLAN_CLAIM_FILE_H
#define PERDRAW_PLAN_CLAIM_FILE_H

#include "plan/plan.h"

/* What an arm's numbers are. */
typedef enum pd_print_kind {
	PD_PRINT_NONE,
	PD_PRINT_MEAN_SD, PD_PRINT_MEAN_SE,
	PD_PRINT_MEAN_EITHER,        /* "+/-": the print does not say which    */
	PD_PRINT_QUARTILES, PD_PRINT_RANGE,
	PD_PRINT_GEOMETRIC,          /* geometric mean and interval            */
	PD_PRINT_COUNTS              /* colonies on cells plated               */
} pd_print_kind;

/* A number or `X to Y`; low NaN: not given. */
typedef struct pd_print_range {
	double low, high;
} pd_print_range;

typedef struct pd_print_arm {
	const char *name, *judge, *unit, *material;
	size_t line;                 /* of the section, 0: there is none       */
	size_t unit_line, unit_column;
	size_t n;
	double mean, sd, se, plus_minus, median, lower, upper, lowest, largest,
	    geometric_mean, low, high, colonies, cells;
	pd_print_range volume_ml, site_ml, total_ml, n_sites, age_y;
	double price;
	pd_print_kind kind;
	double times;                /* printed number to the outcome's unit   */
} pd_print_arm;

/* "300 % higher", "3 times higher", "1.8-fold", "40 % lower". */
typedef enum pd_wording_kind {
	PD_WORDING_NONE, PD_WORDING_PERCENT, PD_WORDING_TIMES, PD_WORDING_FOLD
} pd_wording_kind;

typedef struct pd_wording {
	pd_wording_kind kind;
	double amount;
	bool less;
	const char *text;
} pd_wording;

typedef struct pd_claim_file {
	pd_plan plan;                /* questions: the effect here, or none    */
	const char *title, *source, *p_text, *paired_text;
	pd_wording wording;
	double ratio, low, high;     /* printed itself                         */
	double p;                    /* NaN: not printed                       */
	bool p_below;                /* "< 0.01"                               */
	size_t n;                    /* patients of a paired study             */
	bool paired;
	pd_print_range correlation;
	double print_level;          /* of printed intervals, 0.95             */
	pd_print_arm arm[2];         /* device, comparator                     */
	pd_question *question;       /* outcome, judge, margin, and of [clinic]
	                                where; compare when `asks`             */
	bool asks;
	const char *refusal;         /* units, judge or materials do not match */
	const char *elsewhere;       /* why this clinic's draws cannot be held
	                                beside it, or NULL                     */
	const char *currency;
	double units_per_case, ml_per_case, alike;
	size_t sites_per_side, pulls_per_site, patients;
	double power;
} pd_claim_file;

/* Everything lives in the arena. PD_PLAN with the place, what was found and
 * what was expected. */
pd_status pd_claim_parse(pd_arena *arena, const char *text, size_t size,
                         const char *name, pd_claim_file *out, pd_error *err);
pd_status pd_claim_read(pd_arena *arena, const char *path, pd_claim_file *out,
                        pd_error *err);

/* The words of `wording`; false: not understood. */
bool pd_claim_wording(const char *text, pd_wording *out);
/* The ratios the words can mean, the literal one first; returns how many. */
size_t pd_claim_meanings(const pd_wording *w, double out[2]);

#endif
