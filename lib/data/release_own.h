/*
 * release_own.h - what the rooms behind release.h share.
 *
 *   release_policy.c   what becomes of each field, and the columns of a table
 *   release_code.c     random codes
 *   release_read.c     the store's rows, brought to what may be told
 *   release_cells.c    small groups of patients found and blanked
 *   release_rows.c     rows of the tables in the order of the codes
 *   release_look.c     what stands alone and is left for somebody to look at
 *   release_count.c    groups counted again from written bytes
 *   release.c          the way through them; the key, the note in the chain
 */
#ifndef PERDRAW_DATA_RELEASE_OWN_H
#define PERDRAW_DATA_RELEASE_OWN_H

#include "data/query_own.h"
#include "data/release.h"

enum { RL_OUTCOMES = 16, RL_CODE = 12 /* a letter, ten signs, NUL */ };

enum rl_kind {
	RL_PATIENT, RL_CASE, RL_SAMPLE, RL_OPERATOR, RL_DEVICE, RL_METHOD,
	RL_SOURCE, RL_KINDS
};

typedef char rl_code[RL_CODE];

/* Of a case, as it may be told; blank where not known or not to be told. */
enum { RL_BLANK = 255, RL_NO_YEAR = 0 };
struct rl_case {
	uint8_t age, bmi; /* band or years (release_policy.c)                */
	uint16_t year, landmarks; /* a bit a landmark                        */
	uint16_t visit;           /* rank by date among the patient's, 0: not
	                             known                                   */
	int32_t days;             /* since the first visit, -1: not known    */
};

struct rl_assay {
	int64_t id;
	uint64_t states;
	double value[RL_OUTCOMES], plated, days, threshold;
	uint32_t sample, source;  /* positions                               */
};

/* Adverse events: the codes of the vocabulary, then this one. */
enum { RL_EVENT = 8 };

struct pd_release_work {
	pd_store *s;
	pd_arena *arena;
	const struct q_tree *t;
	pd_release_request ask;
	pd_release told;
	unsigned char secret[32];
	rl_code *code[RL_KINDS];
	size_t n_codes[RL_KINDS];
	struct rl_case *case_;
	uint8_t *sex;             /* a patient, RL_BLANK                     */
	int8_t *adverse;          /* a site, -1 blank                        */
	struct rl_assay *assay;
	size_t n_assays;
	int64_t *sample_id;       /* of each sample                          */
	size_t n_samples, n_sources;
	const char **source_name;
	int *column_id[PD_RELEASE_TABLES];
};

/* ---- release_policy.c ---- */

enum rl_column {
	RL_C_PATIENT, RL_C_CASE, RL_C_VISIT, RL_C_DAYS, RL_C_YEAR, RL_C_SEX,
	RL_C_AGE, RL_C_BMI, RL_C_OPERATOR, RL_C_BLOOD_WBC, RL_C_BLOOD_RBC,
	RL_C_BLOOD_HCT, RL_C_SIDE, RL_C_SITE_NO, RL_C_LANDMARK, RL_C_DISTANCE,
	RL_C_GAUGE, RL_C_GEOMETRY, RL_C_NEEDLE, RL_C_ADVERSE, RL_C_PAIN,
	RL_C_ALIQUOT_NO, RL_C_VOLUME, RL_C_SYRINGE, RL_C_MOVE,
	RL_C_ANTICOAGULANT, RL_C_ANTICOAG_ML, RL_C_STYLE, RL_C_TIME_TO_LAB,
	RL_C_SAMPLE, RL_C_POOL, RL_C_MATERIAL, RL_C_METHOD, RL_C_SOURCE,
	RL_C_OUTCOME, RL_C_VALUE, RL_C_MARK, RL_C_UNIT, RL_C_PLATED,
	RL_C_CULTURE_DAYS, RL_C_THRESHOLD,
	RL_C_RESULT, /* + outcome: its value, in the wide table              */
	RL_C_RESULT_MARK = RL_C_RESULT + RL_OUTCOMES,
	RL_C_END = RL_C_RESULT_MARK + RL_OUTCOMES
};

const char *rl_age_word(const pd_release_work *w, unsigned age);
const char *rl_bmi_word(unsigned bmi);
/* 0: blank; else a mark's word. */
const char *rl_mark(uint64_t states, int outcome, double value);
/* Band or year of a value in years; RL_BLANK where it is not known. */
uint8_t rl_age_of(const pd_release_request *ask, double age);
uint8_t rl_bmi_of(double bmi);
/* Both tables' columns into w->told.table. false: no memory. */
bool rl_columns_make(pd_release_work *w);
/* What became of each field. false: no memory. */
bool rl_fates_make(pd_release_work *w, const size_t left[6]);
/* PD_REFUSED where a name that would go out as it is should not. */
pd_status rl_names_check(const pd_release_work *w, pd_error *err);

/* ---- release_code.c ---- */

/* A letter and ten signs for each of n; all different. */
pd_status rl_codes_draw(const unsigned char secret[32], enum rl_kind kind,
                        size_t n, rl_code *to, pd_error *err);
/* The secret all codes come from: of the seed, or new. */
pd_status rl_secret(const pd_release_request *ask, unsigned char to[32],
                    pd_error *err);

/* ---- release_read.c ---- */

pd_status rl_read(pd_release_work *w, pd_error *err);

/* ---- release_cells.c ---- */

pd_status rl_cells_blank(pd_release_work *w, pd_error *err);

/* ---- release_look.c ---- */

bool rl_notices_make(pd_release_work *w);

#endif
