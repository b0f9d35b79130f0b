/*
 * compose_claim.h - what the files of the claim report share (inside the
 * report room only).
 */
#ifndef PERDRAW_REPORT_COMPOSE_CLAIM_H
#define PERDRAW_REPORT_COMPOSE_CLAIM_H

#include "base/claim.h"
#include "report/compose_parts.h"

/* All: text of the document; NULL where there is nothing to say. */
const char *pd_claim_ratio_text(pd_doc *d, const pd_claim_ratio *r, double level,
                                bool with_level);
const char *pd_claim_count(pd_doc *d, double n);
const char *pd_claim_money(pd_doc *d, double x);
const char *pd_claim_cost_text(pd_doc *d, const pd_claim_answer *a,
                               const pd_claim_cost *c);

/* What the comparator is beside ordinary practice, over all method versions
 * and readings that could be judged. */
typedef enum pd_claim_strength {
	PD_CLAIM_NOT_JUDGED, PD_CLAIM_WEAK, PD_CLAIM_DEPENDS, PD_CLAIM_FAIR,
	PD_CLAIM_OPEN
} pd_claim_strength;
pd_claim_strength pd_claim_comparator(const pd_claim_answer *a, size_t *n_weak,
                                      size_t *n_judged);

/* compose_claim_words.c: the first page. */
void pd_claim_summary(pd_doc *d, const pd_claim_answer *a);
/* compose_claim_tables.c: the sections behind it. */
void pd_claim_print_section(pd_doc *d, const pd_claim_answer *a);
void pd_claim_usual_section(pd_doc *d, const pd_claim_answer *a);
void pd_claim_here_section(pd_doc *d, const pd_claim_answer *a);
/* compose_claim_trial.c */
void pd_claim_study_section(pd_doc *d, const pd_claim_answer *a);
void pd_claim_trial_section(pd_doc *d, const pd_claim_answer *a);
void pd_claim_cost_section(pd_doc *d, const pd_claim_answer *a);

#endif
