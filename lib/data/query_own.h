/*
 * query_own.h - what the rooms behind query.h share.
 *
 *   query_tree.c     the draws, read once and kept while the store is the same
 *   query_result.c   one outcome's results as intervals
 *   query_unit.c     results brought to the grain asked for
 *   query_event.c    adverse events at the grain asked for
 *   query_culture.c  dishes of colony cultures, one culture at a time
 *   query_column.c   the columns a frame can carry
 *   query.c          the frame
 */
#ifndef PERDRAW_DATA_QUERY_OWN_H
#define PERDRAW_DATA_QUERY_OWN_H

#include "base/arena.h"
#include "data/db.h"
#include "data/query.h"

#include <stdint.h>

enum { NOWHERE = UINT32_MAX };

/* Records in the order of their keys; blank numbers NaN, blank codes -1. */
struct q_patient {
	int64_t id;
	const char *label;
	int8_t sex;
	double birth_year;
	uint32_t n_cases;
};

struct q_case {
	int64_t id;
	const char *label;
	uint32_t patient, first_site, n_sites, first_aliquot, n_aliquots;
	double date, age, bmi, blood_wbc, blood_rbc, blood_hct, total_ml;
	int32_t operator_;
	bool repeat;
};

struct q_site {
	int64_t id;
	uint32_t case_, first_aliquot, n_aliquots;
	double distance, gauge, pain, ml, ml_before;
	int32_t needle;
	int8_t landmark, geometry, adverse;
	uint8_t side, no, in_side;
};

struct q_aliquot {
	int64_t id;
	double ml, syringe, anticoagulant_ml, time_to_lab;
	int8_t move, anticoagulant, style;
	uint32_t site;
};

struct q_member {
	int64_t sample;
	uint32_t aliquot;
};

enum { Q_OPERATORS, Q_DEVICES, Q_METHODS, Q_NAMES };

struct q_tree {
	pd_arena *arena;
	struct q_patient *patient;
	struct q_case *case_;
	struct q_site *site;
	struct q_aliquot *aliquot;
	struct q_member *member;
	size_t n_patients, n_cases, n_sites, n_aliquots, n_members;
	uint32_t *order;              /* cases by patient, date, label      */
	const char **name[Q_NAMES];   /* by their number                    */
	size_t n_names[Q_NAMES];
};

/* The store's draws; kept with the store until its data change. Inside the
 * caller's read transaction. */
pd_status q_tree_get(pd_store *s, const struct q_tree **out, pd_error *err);
/* Position of a draw by key, NOWHERE when there is none. */
uint32_t q_tree_aliquot(const struct q_tree *t, int64_t id);

typedef enum q_state {
	Q_MEASURED, Q_ZERO, Q_BELOW, Q_ABOVE, Q_UNCOUNTABLE, Q_FAILED,
	Q_NOT_ORDERED, Q_BLANK, Q_N_STATES
} q_state;

/* The worst of two states: an open end before a limit before a number. */
uint8_t q_worse(uint8_t a, uint8_t b);

typedef enum q_judge {
	Q_CONCENTRATION, Q_PREVALENCE, Q_YIELD, Q_PERCENT, Q_RISK, Q_N_JUDGES
} q_judge;

/* Places that are no field of an assay. */
enum { Q_COLONIES = 8, Q_BLOOD_SHARE, Q_EVENT };

/* What a share of blood cannot be computed without; bits of `lacks`. */
enum { Q_LACKS_BLOOD = 1, Q_LACKS_RED = 2, Q_LACKS_TNC = 4, Q_LACKS_ALL = 8 };

struct q_outcome {
	const char *name, *words;
	int place;                    /* of its result field, 0 tnc         */
	const char *unit[Q_N_JUDGES]; /* by judge, NULL: not judged so      */
	double per_e6;                /* value / TNC * this = per 10^6 cells */
	bool by_cells;                /* shares of several samples are
	                                 weighted by cells, not by mL       */
};

const struct q_outcome *q_outcome_find(const char *name);
/* A q_judge, -1 when the word is none. */
int q_judge_find(const char *name);

/* One stated result: value as the sample was measured (a concentration, a
 * prevalence or a share), before anticoagulant and mL. */
struct q_result {
	int64_t id;
	double low, high, colonies, plated;
	double counted, worth;        /* see query.h                        */
	double tnc;                   /* of the sample, NaN where not known */
	uint8_t state;
	uint8_t lacks;                /* of a share of blood                */
};

struct q_results {
	struct q_result *item;
	size_t n, room;
};

/* All stated results of an outcome, every material, in order of key. The
 * caller frees out->item. */
pd_status q_results_read(pd_store *s, const struct q_outcome *o, q_judge judge,
                         struct q_results *out, pd_error *err);

/* One row of the frame to be. */
struct q_row {
	uint32_t case_, site, aliquot; /* NOWHERE where coarser            */
	double low, high, colonies, plated, counted, worth, ml;
	int32_t method;               /* -1: none or several                */
	uint8_t state;
	uint8_t lacks;                /* of a share of blood; of an event 1
	                                 where a site's field is blank      */
	bool undiluted;               /* the anticoagulant's mL was known,
	                                 or there was none                  */
};

struct q_rows {
	struct q_row *item;
	size_t n, room;
};

pd_status q_rows_make(const struct q_tree *t, const struct q_results *results,
                      const struct q_outcome *o, q_judge judge,
                      pd_grain grain, int material, struct q_rows *out,
                      pd_query_flow *flow, pd_error *err);

/*
 * query_event.c: adverse events of sites or cases, a row each. mask: bit k set
 * where word k of the vocabulary counts; from pd_query_request. PD_USAGE: a
 * word that is no event.
 */
pd_status q_event_mask(const pd_query_request *r, unsigned *mask,
                       pd_error *err);
pd_status q_event_rows(const struct q_tree *t, unsigned mask, pd_grain grain,
                       struct q_rows *out, pd_error *err);

/* A column of the frame: filled from the tree. */
pd_status q_column_fill(const struct q_tree *t, const struct q_rows *rows,
                        const char *name, pd_grain grain, pd_frame *f,
                        pd_error *err);
const char *q_column_words(const char *name);
/* Age as written down, or the middle of the year it must lie in. */
double q_case_age(const struct q_tree *t, const struct q_case *c);
/* All names at a grain, joined by commas, into buf. */
void q_column_names(pd_grain grain, char *buf, size_t size);

#endif
