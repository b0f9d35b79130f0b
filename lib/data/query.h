/*
 * query.h - clean rows out of the store, as a frame of one grain.
 */
#ifndef PERDRAW_DATA_QUERY_H
#define PERDRAW_DATA_QUERY_H

#include "base/frame.h"
#include "data/store.h"

typedef enum pd_grain { PD_BY_ALIQUOT, PD_BY_SITE, PD_BY_CASE } pd_grain;

/*
 * Columns a frame can carry; `grain` is the finest that has them (they also
 * exist at coarser grains only where every row below agrees, or summed where
 * said).
 *  every grain   patient, case (factors, always present), case_date (real, decimal year),
 *                date (real, days), quarter (factor "2025 Q3"), sex, age_y, bmi, operator, repeat_case
 *                (0 first case of the patient, 1 later), n_sites, total_ml,
 *                blood_wbc..., method_version (factor, of the judged outcome), material
 *  site          side, site (factors unique over the database, always present at
 *                site and aliquot grain: side = case+side, site = case+side+site_no),
 *                side_word (left/right), site_no, landmark, distance_mm, needle_gauge, needle_geometry,
 *                needle, adverse_event, pain_score, site_in_side (rank of site_no
 *                within the side), ml_before_side (mL drawn from earlier sites of the side),
 *                site_ml (summed), n_aliquots
 *  aliquot       aliquot_no, volume_ml, syringe_ml, move, anticoagulant,
 *                anticoagulant_ml, pull_style, time_to_lab_min, needle_moved
 *                (1 once a move other than to a new hole is recorded at the
 *                pull or an earlier one of its hole, else 0)
 * At case grain landmark, syringe_ml, needle_geometry, move ... hold the common
 * value of all rows of the case, missing where they differ.
 *
 * The judged outcome (request.outcome: tnc, mnc, viability, cd34, cd271, cfu_f,
 * hct, rbc, platelets; request.judge: concentration, prevalence, yield,
 * percent) comes as
 *   low, high   real; the value lies in [low, high]. Equal where measured;
 *               [0, limit] below detection; [0, one colony's worth] for zero
 *               colonies (one colony / cells plated, times TNC for a
 *               concentration); [limit, Inf] above range; for TNTC
 *               [ceiling's worth, Inf] with the largest count seen in that
 *               method version as ceiling; a percentage ends at 100, not Inf.
 *               NaN where there is no result.
 *   (blood_share: the share of nucleated cells that came with blood, in per
 *               cent by blood.h, from a sample's red and nucleated cells and
 *               the case's same-day blood count; above 100 is not cut)
 *   state       factor: measured, zero, below detection, above range,
 *               too many to count, failed culture, not ordered, blank
 *   colonies, plated  real, for cfu_f: total colonies over countable dishes
 *               and total cells on those dishes
 *   counted, worth  real, for cfu_f where the value rests on one count: the
 *               colonies seen on all dishes that held a culture (for TNTC
 *               the fewest there can have been) and what one colony is worth
 *               in the judged unit; value = counted * worth. NaN where the
 *               value is a rate without dishes, a limit or a sum of results
 *   ml          real: the volume the result stands for
 *   undiluted   real: 1 where the anticoagulant's volume is recorded for all of
 *               it or there was none or a rinse, 0 where not (the result is then
 *               taken as it was measured), NaN without a result
 *   lacking     factor, of blood_share: what is not recorded of what it takes,
 *               where it could not be computed
 * Outcome adverse_event, judge risk, at site and case grain: low = high = 1
 * where an event (of request.events, NULL: any) was recorded at any site of
 * the unit, 0 where the field is filled at some site and no such event; NaN
 * where at none. in_part: 1 where the field is blank at some site, else 0.
 * Concentrations are of undiluted marrow: measured * (mL + anticoagulant mL) /
 * mL where the anticoagulant volume is known. Yield = measured concentration
 * * (mL + anticoagulant mL) = undiluted * mL.
 * A row a result at aliquot grain (pools left out and counted); at site and
 * case grain yield is the sum over results that cover every mL drawn exactly
 * once, other units are left out and counted.
 * Only material aspirate unless request.material says otherwise.
 */
typedef struct pd_query_request {
	const char *outcome, *judge;
	pd_grain grain;
	const char *material;          /* NULL: "aspirate"                     */
	const char *const *columns;    /* n_columns extra columns by name      */
	size_t n_columns;
	const char *const *events;     /* adverse events counted: n_events words */
	size_t n_events;               /* of the vocabulary; 0: any but none   */
} pd_query_request;

/* Flow of what was recorded and what this frame holds. */
typedef struct pd_query_flow {
	size_t recorded_rows, recorded_sites, recorded_cases, recorded_patients;
	size_t pooled_out;       /* results left out because they are pools     */
	size_t incomplete_out;   /* units left out: not every mL covered once   */
	size_t other_material;   /* results of another material                 */
} pd_query_flow;

/* The caller frees *out with pd_frame_free. PD_USAGE for an unknown name,
 * with the known names in the message. Rows come in key order (patient, case
 * date, case, side, site, aliquot): the same store gives the same frame. */
pd_status pd_query_frame(pd_store *s, const pd_query_request *request,
                         pd_frame **out, pd_query_flow *flow, pd_error *err);

/* true when `name` can be asked for at that grain; *kind is filled then. */
int pd_query_has(const char *name, pd_grain grain, pd_kind *kind);
/* The k-th name that can be asked for at that grain; NULL past the last. */
const char *pd_query_name(size_t k, pd_grain grain);
/* The words a column's level is one of, NULL-ended; NULL: any words. */
const char *const *pd_query_levels(const char *name);
/* Words for a column or outcome and its unit, for reports; NULL if unknown. */
const char *pd_query_words(const char *name);
const char *pd_query_unit(const char *outcome, const char *judge);

/* Quarter table of the review; the caller's arrays of n. */
typedef struct pd_harm { size_t n_cases, n_events; } pd_harm;
/* Cases with the adverse-event field filled at any site; events among them. */
pd_status pd_query_harm(pd_store *s, pd_harm *out, pd_error *err);

/*
 * Every colony culture with a dish that did not fail (of either material, of
 * single pulls and of pools), method versions by name, their cases by date:
 * the counted dishes, and how many held a culture without a number (too many
 * to count, a limit). version is borrowed until the next one; day: of the
 * case, since 1970; INT32_MIN where the case has no date.
 */
enum { PD_QUERY_DISHES = 6 };
typedef struct pd_query_culture {
	const char *version;
	int32_t day;
	size_t n, n_cut;
	double count[PD_QUERY_DISHES];
} pd_query_culture;
typedef pd_status pd_query_see_culture(void *user, const pd_query_culture *c,
                                       pd_error *err);
pd_status pd_query_cultures(pd_store *s, pd_query_see_culture *see,
                            void *user, pd_error *err);

#endif
