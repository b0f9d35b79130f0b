/*
 * finding.h - something noticed in the data: where, how bad, what, expected.
 * Codes are stable words (docs/findings.md lists them from the rule table).
 */
#ifndef PERDRAW_DATA_FINDING_H
#define PERDRAW_DATA_FINDING_H

#include "base/status.h"
#include <stdint.h>

typedef enum pd_finding_level { PD_NOTE, PD_WARNING, PD_ERROR } pd_finding_level;

typedef struct pd_finding {
	const char *code;          /* "volume-above-syringe"; static text      */
	pd_finding_level level;
	uint32_t line, column;     /* physical, from 1; 0: whole file          */
	const char *found, *expected; /* words; owned by the list              */
} pd_finding;

typedef struct pd_findings pd_findings; /* a growing list with counts */

pd_findings *pd_findings_new(void);
void pd_findings_free(pd_findings *list);
/* Texts are copied. Past 100,000 stored findings only the counts go on. */
pd_status pd_findings_add(pd_findings *list, const char *code,
                          pd_finding_level level, uint32_t line,
                          uint32_t column, const char *found,
                          const char *expected);
size_t pd_findings_count(const pd_findings *list, pd_finding_level level);
size_t pd_findings_stored(const pd_findings *list);
/* In order of line, column, code after pd_findings_sort. */
const pd_finding *pd_findings_at(const pd_findings *list, size_t i);
void pd_findings_sort(pd_findings *list);

#endif
