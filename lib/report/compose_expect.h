/*
 * compose_expect.h - the parts of the document of expected yields (inside the
 * report room only).
 *
 *   compose_expect.c         lead, the patient, the map, harm
 *   compose_expect_tables.c  yields, what more adds, what it rests on
 */
#ifndef PERDRAW_REPORT_COMPOSE_EXPECT_H
#define PERDRAW_REPORT_COMPOSE_EXPECT_H

#include "base/expect.h"
#include "report/compose_parts.h"

/* A yield to three significant digits, NULL for NaN; with its unit: "5 000
 * CFU-F", "900 x10^6 cells". */
const char *pd_expect_yield(pd_doc *d, double x);
const char *pd_expect_amount(pd_doc *d, const pd_expect_answer *a, double x);
/* Of 100 such patients: "82", "fewer than 1", "more than 99". */
const char *pd_expect_of_100(pd_doc *d, double chance);
/* The same as short as in a map: "82", "<1", ">99". */
const char *pd_expect_cell_chance(pd_doc *d, const pd_expect_cell *c);
/* "75 to 88", of 100. */
const char *pd_expect_limits(pd_doc *d, const pd_expect_cell *c);
/* "4 sites of 5 mL". */
const char *pd_expect_sites(pd_doc *d, const pd_expect_cell *c);
/* Share of an estimated blood volume of 70 mL/kg, in per cent; NaN. */
double pd_expect_blood(const pd_expect_answer *a, double ml);

void pd_expect_chances(pd_doc *d, const pd_expect_answer *a);
void pd_expect_yields(pd_doc *d, const pd_expect_answer *a);
void pd_expect_shared(pd_doc *d, const pd_expect_answer *a);
void pd_expect_adds(pd_doc *d, const pd_expect_answer *a);
void pd_expect_not_seen(pd_doc *d, const pd_expect_answer *a);
void pd_expect_rests(pd_doc *d, const pd_expect_answer *a);
void pd_expect_checked(pd_doc *d, const pd_expect_answer *a);

#endif
