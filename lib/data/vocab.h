/*
 * vocab.h - the vocabulary: every field a file may carry, said once.
 * The list makes the enum, the canonical CSV header, the data dictionary, the
 * reader's column table and the map file's field names. A canonical header
 * names its unit; other units come through a map (unit factors: units.h).
 */
#ifndef PERDRAW_DATA_VOCAB_H
#define PERDRAW_DATA_VOCAB_H

#include <stddef.h>

typedef enum pd_field_kind {
	PD_FIELD_TEXT,    /* an identifier or free code                        */
	PD_FIELD_WORD,    /* one of a closed list of words (pd_vocab_words)    */
	PD_FIELD_WHOLE,   /* whole number                                      */
	PD_FIELD_NUMBER,  /* real number                                       */
	PD_FIELD_DATE,    /* ISO date; stored as days since 1970-01-01         */
	PD_FIELD_RESULT,  /* lab result: number or one of the states below     */
	PD_FIELD_POOL     /* which draws a pooled sample holds: `case`, `L`,
	                     `L1`, `L1.2`, joined by `+`                       */
} pd_field_kind;

typedef enum pd_level_of { /* which record of the tree the field belongs to */
	PD_OF_PATIENT, PD_OF_CASE, PD_OF_SITE, PD_OF_ALIQUOT, PD_OF_ASSAY,
	PD_OF_LONG /* only in files with one outcome a row */
} pd_level_of;

/* What stands in a result cell. Blank is PD_BLANK; zero is PD_MEASURED 0. */
typedef enum pd_state {
	PD_MEASURED = 0,
	PD_BELOW = 1,       /* `<2`: below a stated limit                      */
	PD_ABOVE = 2,       /* `>150`: above a stated limit                    */
	PD_UNCOUNTABLE = 3, /* `TNTC`: too many colonies to count, no number   */
	PD_FAILED = 4,      /* `failed`: contaminated or no growth of any cell */
	PD_NOT_ORDERED = 5, /* `not ordered`                                   */
	PD_NOT_DETECTED = 6, /* `ND`: below an unstated limit                  */
	PD_BLANK = 15
} pd_state;

/*  id, canonical header, kind, record, unit (UCUM or ""), words             */
#define PD_FIELD_LIST(X)                                                       \
	X(PATIENT, "patient", TEXT, PATIENT, "", "patient pseudonym")          \
	X(SEX, "sex", WORD, PATIENT, "", "sex")                                \
	X(BIRTH_YEAR, "birth_year", WHOLE, PATIENT, "a", "year of birth")      \
	X(CASE, "case", TEXT, CASE, "", "case (one visit)")                    \
	X(CASE_DATE, "case_date", DATE, CASE, "d", "date of the case")         \
	X(AGE, "age_y", NUMBER, CASE, "a", "age at the case")                  \
	X(BMI, "bmi", NUMBER, CASE, "kg/m2", "body mass index")                \
	X(OPERATOR, "operator", TEXT, CASE, "", "operator code")               \
	X(BLOOD_WBC, "blood_wbc_e9_per_l", NUMBER, CASE, "10*9/L",             \
	  "same-day blood white cells")                                        \
	X(BLOOD_RBC, "blood_rbc_e12_per_l", NUMBER, CASE, "10*12/L",           \
	  "same-day blood red cells")                                          \
	X(BLOOD_HCT, "blood_hct_pct", NUMBER, CASE, "%",                       \
	  "same-day blood haematocrit")                                        \
	X(SIDE, "side", WORD, SITE, "", "side of the body")                    \
	X(SITE_NO, "site_no", WHOLE, SITE, "", "site number in time")          \
	X(LANDMARK, "landmark", WORD, SITE, "", "bone landmark")               \
	X(DISTANCE, "distance_mm", NUMBER, SITE, "mm",                         \
	  "distance to the previous entry")                                    \
	X(GAUGE, "needle_gauge", WHOLE, SITE, "", "needle gauge")              \
	X(GEOMETRY, "needle_geometry", WORD, SITE, "", "needle geometry")      \
	X(NEEDLE, "needle", TEXT, SITE, "", "needle, local name")              \
	X(ADVERSE, "adverse_event", WORD, SITE, "", "adverse event at the site") \
	X(PAIN, "pain_score", NUMBER, SITE, "{score}", "pain score, 0 to 10")  \
	X(ALIQUOT_NO, "aliquot_no", WHOLE, ALIQUOT, "", "pull number at the site") \
	X(VOLUME, "volume_ml", NUMBER, ALIQUOT, "mL", "volume drawn")          \
	X(SYRINGE, "syringe_ml", NUMBER, ALIQUOT, "mL", "syringe size")        \
	X(MOVE, "move", WORD, ALIQUOT, "", "needle move before the pull")      \
	X(ANTICOAGULANT, "anticoagulant", WORD, ALIQUOT, "", "anticoagulant")  \
	X(ANTICOAG_ML, "anticoagulant_ml", NUMBER, ALIQUOT, "mL",              \
	  "anticoagulant volume in the syringe")                               \
	X(PULL_STYLE, "pull_style", WORD, ALIQUOT, "", "pull style")           \
	X(TIME_TO_LAB, "time_to_lab_min", NUMBER, ALIQUOT, "min",              \
	  "time to the laboratory")                                            \
	X(SAMPLE, "sample", TEXT, ASSAY, "", "sample label")                   \
	X(POOL, "pool", POOL, ASSAY, "", "draws in the sample")                \
	X(MATERIAL, "material", WORD, ASSAY, "", "aspirate or concentrate")    \
	X(METHOD_VERSION, "method_version", TEXT, ASSAY, "",                   \
	  "laboratory method version")                                         \
	X(TNC, "tnc_e6_per_ml", RESULT, ASSAY, "10*6/mL",                      \
	  "total nucleated cells")                                             \
	X(MNC, "mnc_e6_per_ml", RESULT, ASSAY, "10*6/mL",                      \
	  "mononuclear cells")                                                 \
	X(VIABILITY, "viability_pct", RESULT, ASSAY, "%", "viability")         \
	X(HCT, "hct_pct", RESULT, ASSAY, "%", "haematocrit of the sample")     \
	X(RBC, "rbc_e12_per_l", RESULT, ASSAY, "10*12/L",                      \
	  "red cells of the sample")                                           \
	X(PLATELETS, "platelets_e9_per_l", RESULT, ASSAY, "10*9/L",            \
	  "platelets of the sample")                                           \
	X(CD34, "cd34_e3_per_ml", RESULT, ASSAY, "10*3/mL", "CD34+ cells")     \
	X(CD271, "cd271_per_ml", RESULT, ASSAY, "{cells}/mL",                  \
	  "CD271bright CD45low cells")                                         \
	X(CFU_F, "cfu_f_per_ml", RESULT, ASSAY, "[CFU]/mL",                    \
	  "CFU-F concentration as reported by the lab")                        \
	X(CFU_F_E6, "cfu_f_per_e6", RESULT, ASSAY, "[CFU]/10*6",               \
	  "CFU-F prevalence as reported by the lab")                           \
	X(CELLS_PLATED, "cells_plated", NUMBER, ASSAY, "{cells}",              \
	  "nucleated cells plated a dish")                                     \
	X(DISH_1, "dish_1", RESULT, ASSAY, "[CFU]", "colonies, dish 1")        \
	X(DISH_2, "dish_2", RESULT, ASSAY, "[CFU]", "colonies, dish 2")        \
	X(DISH_3, "dish_3", RESULT, ASSAY, "[CFU]", "colonies, dish 3")        \
	X(DISH_4, "dish_4", RESULT, ASSAY, "[CFU]", "colonies, dish 4")        \
	X(DISH_5, "dish_5", RESULT, ASSAY, "[CFU]", "colonies, dish 5")        \
	X(DISH_6, "dish_6", RESULT, ASSAY, "[CFU]", "colonies, dish 6")        \
	X(CULTURE_DAYS, "culture_days", NUMBER, ASSAY, "d", "days in culture") \
	X(THRESHOLD, "colony_threshold", NUMBER, ASSAY, "{cells}",             \
	  "smallest colony counted")                                           \
	X(OUTCOME, "outcome", WORD, LONG, "", "outcome of this row")           \
	X(VALUE, "value", RESULT, LONG, "", "value of the outcome")            \
	X(UNIT, "unit", TEXT, LONG, "", "unit of the value")

typedef enum pd_field {
#define X(id, header, kind, of, unit, words) PD_F_##id,
	PD_FIELD_LIST(X)
#undef X
	PD_N_FIELDS
} pd_field;

typedef struct pd_field_info {
	const char *header;
	pd_field_kind kind;
	pd_level_of of;
	const char *unit, *words;
} pd_field_info;

const pd_field_info *pd_field_about(pd_field f);
/* PD_N_FIELDS when no field has that canonical header. */
pd_field pd_field_by_header(const char *header);

/*
 * Canonical words of a WORD field, NULL-ended; NULL for other kinds.
 *   sex             female, male, other
 *   side            left, right
 *   landmark        posterior iliac crest, anterior iliac crest,
 *                   proximal tibia, distal femur, calcaneus, vertebral body,
 *                   proximal humerus, sternum
 *   needle_geometry open-end, end-hole with side-holes, closed-tip side-hole
 *   move            none, rotate, advance, withdraw, redirect, new hole
 *   anticoagulant   none, heparin, heparin rinse, ACD-A, CPD, citrate, EDTA
 *   pull_style      sharp, slow, continuous, intermittent
 *   adverse_event   none, bleeding, haematoma, infection, nerve symptoms,
 *                   persistent pain, faint, other
 *   material        aspirate, concentrate
 *   outcome         the RESULT fields' short names: tnc, mnc, viability, ...
 */
const char *const *pd_vocab_words(pd_field f);
/* Code of a canonical word or common trade synonym (PSIS, ASIS, L, R, F, M;
 * case folded), -1 when unknown. */
int pd_vocab_code(pd_field f, const char *word);

/*
 * Words of PD_F_OUTCOME and the fields they stand for: tnc, mnc, viability,
 * hct, rbc, platelets, cd34, cd271, cfu_f (per mL), cfu_f_per_e6 (per 10^6
 * nucleated cells), dish_1 .. dish_6; in the order of the fields.
 * PD_N_FIELDS and -1 where there is none.
 */
pd_field pd_outcome_field(int code);
int pd_outcome_code(pd_field f);

#endif
