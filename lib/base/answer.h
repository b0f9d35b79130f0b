/*
 * answer.h - what one question came to, in plain structs. The plan room fills
 * them, the report room words and draws them; neither sees the other. Strings
 * and arrays belong to the arena the answer was made in.
 *
 * Scales. An effect on the PD_RATIO scale is held as natural logs in `log`
 * and as ratios in value/low/high; on the PD_DIFFERENCE scale (viability, in
 * percentage points) both hold the difference itself.
 */
#ifndef PERDRAW_BASE_ANSWER_H
#define PERDRAW_BASE_ANSWER_H

#include "base/estimate.h"
#include <stdbool.h>
#include <stddef.h>

typedef enum pd_scale { PD_RATIO, PD_DIFFERENCE } pd_scale;
typedef enum pd_role {
	PD_PRIMARY, PD_SECONDARY, PD_EXPLORATORY, PD_CONTROL
} pd_role;
typedef enum pd_verdict {
	PD_BETTER,      /* interval above no effect, not inside the margin     */
	PD_WORSE,       /* the same below                                      */
	PD_NO_MATTER,   /* whole interval inside the margin                    */
	PD_NOT_SETTLED, /* anything else                                       */
	PD_NO_ANSWER    /* refused: `refusal` of the answer says why           */
} pd_verdict;

/* Did a control question show the effect it is known to have? */
typedef enum pd_control_state {
	PD_CONTROL_NOT_SAID,    /* not a control, or nothing was expected      */
	PD_CONTROL_WORKED, PD_CONTROL_FAILED
} pd_control_state;

/* One contrast of a question. */
typedef struct pd_effect {
	const char *label;         /* "10 mL against 50 mL" or "per doubling"  */
	const char *first, *second; /* arm names; second NULL for a slope      */
	pd_estimate log;           /* on the working scale, see above          */
	double value, low, high;   /* as printed: ratio, or difference         */
	double p_adjusted;         /* after the role's multiplicity rule       */
	double p_margin;           /* two one-sided tests; NaN without margin  */
	double detectable;         /* effect (> 1, or > 0) shown 4 times in 5  */
	pd_verdict verdict;
	const char *sentence;      /* the verdict in one sentence              */
	double single_low, single_high; /* as printed: the interval of a single
	                              reading; NaN unless looks were paid for */
} pd_effect;

/* Data at one level of the compared parameter (or one band of a slope). */
typedef struct pd_level {
	const char *name;
	size_t n_patients, n_cases, n_sites, n_rows;
	double centre, centre_low, centre_high; /* geometric mean (or mean) and
	                             its interval, patients as units           */
	double spread;               /* geometric SD (or SD) between rows      */
	size_t n_zero, n_below, n_above, n_failed; /* states within n_rows and,
	                             for n_failed, beside it                   */
} pd_level;

/* One step of recorded -> usable -> used. */
typedef struct pd_flow {
	const char *step;
	size_t n_rows, n_sites, n_cases, n_patients;
} pd_flow;

/* What an answer rests on, as bits of pd_answer.used: a methods text names
 * these and no others. */
typedef enum pd_used {
	PD_USED_PAIRS = 1,    /* mean of the patients' paired differences      */
	PD_USED_MODEL = 2,    /* nested mixed model                            */
	PD_USED_SPLIT = 4,    /* effect parted inside and between units        */
	PD_USED_LIMITS = 8,   /* results between limits drawn from the model   */
	PD_USED_CURVE = 16,   /* restricted cubic spline                       */
	PD_USED_CALENDAR = 32, /* a calendar slope held equal                  */
	PD_USED_EXACT = 64,   /* shares of events, exact limits                */
	PD_USED_LOGISTIC = 128 /* averaged chances of an event                 */
} pd_used;

/* Which way a line of the sensitivity set goes. */
typedef enum pd_sense_way {
	PD_SENSE_UNADJUSTED, PD_SENSE_SIGNED_RANK, PD_SENSE_RANK_SUM,
	PD_SENSE_FLIPS, PD_SENSE_DRAWN, PD_SENSE_MODEL, PD_SENSE_WEIGHTS,
	PD_SENSE_CALENDAR, PD_SENSE_NO_CALENDAR, PD_SENSE_MEASURED,
	PD_SENSE_ROBUST, PD_SENSE_COUNTS, PD_SENSE_FIRST_CASES,
	PD_SENSE_WITHOUT_OPERATOR, PD_SENSE_EXACT, PD_SENSE_SCORE, PD_N_SENSES
} pd_sense_way;

/* One line of the sensitivity set: the first effect, another way. */
typedef struct pd_sensitivity {
	const char *name;   /* "unadjusted", "rank-based", "without operator A" */
	bool done;          /* false: `note` says why not                      */
	double value, low, high, p; /* as printed; NaN where the method has none */
	const char *note;
	pd_sense_way way;
} pd_sensitivity;

/* One column known beforehand: means, or shares of a word, at both levels, and
 * their difference in standard deviations before and after weighting. */
typedef struct pd_alike {
	const char *name;   /* "age_y", "operator: op-b"                       */
	double first, second, before, after;
} pd_alike;

/* Two levels across patients under overlap weights; [0] the first level. */
typedef struct pd_weighing {
	const char *refusal;     /* NULL: done                                 */
	const char *left_out;    /* rows without an equal at the other level   */
	size_t n_rows[2], n_patients[2];
	double effective[2];     /* rows of equal weight they are worth        */
	pd_estimate effect;      /* first less second, working scale           */
	double evalue, evalue_limit; /* NaN for shares                         */
	size_t n_alike;
	pd_alike *alike;
} pd_weighing;

/* How the rows of a slope lie along its parameter: a cell of it, both ends
 * alike where every value stands for itself, and the line there. */
typedef struct pd_strip {
	double from, to, at;     /* parameter's unit; `at`: its middle         */
	size_t n_rows, n_patients;
	double fitted, low, high; /* NaN: beyond the line's reach              */
} pd_strip;

/* Adverse events at one compared level. A unit (case or site) is recorded
 * where the field is filled at some site of it. */
typedef struct pd_event_level {
	const char *name;
	size_t n_units, n_unit_events; /* all recorded units, events among them */
	size_t n, n_events;      /* patients, each by the first recorded unit  */
	size_t n_blank;          /* patients with no recorded unit             */
	size_t n_in_part;        /* of n - n_events: a site's field is blank   */
	double share, low, high; /* of n, per cent, exact limits               */
	double most;             /* where none was seen: one-sided upper limit */
	double worst;            /* if every unknown was an event              */
} pd_event_level;

typedef struct pd_events {
	const char *units;             /* "cases" or "sites"                   */
	const char *kinds;             /* "bleeding or haematoma", NULL: any   */
	pd_event_level level[2];
	double ratio, ratio_low, ratio_high; /* of the shares                  */
	double worst_low, worst_high;  /* the difference, points, with the
	                                  unknown all on one side or the other */
	bool adjusted;                 /* the effect is; crude: the sensitivity */
	const char *not_adjusted;      /* why not, where adjusting was asked   */
} pd_events;

/* What the figure draws; counts 0 where not applicable. */
typedef struct pd_points {
	/* pairs: the two arms' value of one unit (patient, site ...) */
	size_t n_pairs;
	const double *pair_first, *pair_second;
	/* points by level: group index into answer.level */
	size_t n_points;
	const size_t *point_level;
	const double *point_value;
	/* a slope: x (parameter's unit) and value, fitted line with 95 % band */
	size_t n_xy;
	const double *x, *y;
	size_t n_line;
	const double *line_x, *line_y, *line_low, *line_high;
	size_t n_strip;          /* all rows, ascending                        */
	const pd_strip *strip;
	size_t n_left_out; /* points thinned away, said beside the figure */
} pd_points;

/* One reading of a primary question's first effect, as it was made. */
typedef struct pd_reading {
	const char *date;
	size_t n_patients;
	double value, low, high; /* as printed                                 */
	double information;      /* 1 / se^2, working scale                    */
	double z, bound;         /* estimate, and half the interval, in
	                            standard errors: beyond it an effect shows */
} pd_reading;

typedef struct pd_answer {
	const char *name, *title;     /* plan section name, question in words  */
	pd_role role;
	const char *outcome_words;    /* "colony-forming units (CFU-F)"        */
	const char *judge_words;      /* "concentration, per mL of aspirate"   */
	const char *unit;             /* of level centres: "10^6/mL"           */
	const char *parameter_words;  /* "syringe size, mL"                    */
	bool log_x;                   /* the slope's axis is per doubling      */
	bool not_a_choice;            /* age, date, operator, or red cells as
	                                 the outcome: the words are
	                                 higher/lower, not better/worse        */
	bool share;                   /* of rows that reach a floor            */
	bool adds_burden;             /* a gain here costs the patient more
	                                 entries or more mL: the harm line is
	                                 printed beside it                     */
	pd_control_state control;     /* of a PD_CONTROL question              */
	pd_scale scale;
	double margin;                /* ratio in (0,1), or points > 0; NaN none */
	double level;                 /* of intervals, 0.95                    */
	const char *refusal;          /* NULL, or why there is no answer       */
	size_t n_effects;
	pd_effect *effect;
	size_t n_levels;
	pd_level *levels;
	size_t n_flow;
	pd_flow *flow;
	size_t n_sensitivity;
	pd_sensitivity *sensitivity;
	pd_weighing *weighing;        /* two levels across patients, or NULL   */
	pd_points points;
	const char *method;           /* one sentence: which and why           */
	unsigned used;                /* pd_used, together                     */
	const char *adjusters;        /* words, or NULL                        */
	size_t n_refused;
	const char **refused;         /* methods refused, "name: reason"       */
	size_t n_diagnostics;
	const char **diagnostics;
	size_t n_cautions;
	const char **cautions;
	size_t n_components;          /* variance components of the fit        */
	const char **component_name;
	const double *component_sd;   /* working scale                         */
	const double *component_low, *component_high; /* their limits, NaN
	                                 where there are none                  */
	const double *component_icc;  /* two results that share this and all
	                                 above it correlate so; NaN: shared by
	                                 no two. With limits, NaN: none        */
	const double *component_icc_low, *component_icc_high;
	const char *no_icc_limits;    /* why there are none, or NULL           */
	unsigned n_looks;             /* readings of this question, this one too */
	bool looks_paid;              /* intervals hold for several readings   */
	unsigned looks_planned;       /* 0: for any number of them             */
	double looks_width;           /* times as wide as for a single reading */
	size_t n_readings;            /* of a primary question: those of the
	                                 ledger, oldest first, and this one    */
	pd_reading *reading;
	const char *declared;         /* "margin set before this data", ...    */
	pd_events *events;            /* a share of adverse events, or NULL    */
	size_t n_beside;              /* answers of the review about the same
	                                 levels: gains of events, events of a
	                                 gain; numbers into review.answer      */
	size_t *beside;
	bool unsupported;             /* a control failed: no-difference unsafe */
} pd_answer;

/* One calendar quarter of the review's trend table. */
typedef struct pd_trend {
	const char *quarter;          /* "2025 Q3"                             */
	size_t n_cases, n_patients;
	double tnc, tnc_low, tnc_high;   /* geometric mean 10^6/mL, 95 %       */
	double cfu, cfu_low, cfu_high;   /* CFU-F per mL                       */
	const char *note;             /* "new method version 'lab-b 2'" or NULL */
} pd_trend;

typedef struct pd_review {
	const char *title;            /* "Technique review"                    */
	const char *plan_name, *plan_sha256, *audit_head;
	const char *date;             /* ISO date of the review                */
	const char *first_case, *last_case; /* ISO dates                       */
	const char *version;          /* perdraw version                       */
	unsigned long long seed;
	size_t n_patients, n_cases, n_sites, n_aliquots, n_results;
	size_t n_sources;
	const char **source;          /* "name, rows, sha256 first 12"         */
	size_t n_warnings;            /* open warning findings                 */
	size_t n_harm_cases, n_harm_events; /* cases with site adverse-event
	                                 field filled; events among them       */
	double harm_low, harm_high;   /* exact limits of the share, at the
	                                 level of the answers' intervals       */
	size_t n_answers;
	pd_answer *answer;
	size_t n_tests;               /* effects tested                        */
	const char *multiplicity;     /* sentence                              */
	size_t n_trends;
	pd_trend *trend;
	size_t n_cautions;
	const char **cautions;
	const struct pd_changes *changes; /* base/changes.h; NULL: not asked   */
	size_t n_depletions;          /* outcomes asked about by hole or pull  */
	const struct pd_depletion *depletion; /* base/depletion.h              */
} pd_review;

#endif
