/*
 * hostile.h - arrays nobody should hand in, and how an answer to them is
 * judged: a status with words, or numbers that are finite but where the
 * header says otherwise.
 */
#ifndef PERDRAW_TESTS_HOSTILE_H
#define PERDRAW_TESTS_HOSTILE_H

#include "base/estimate.h"
#include "base/status.h"

#include <stdint.h>

enum { HOSTILE_MOST = 40, HOSTILE_KINDS = 18 };

/* What a field may be beside finite. */
enum { FINITE = 0, MAY_NAN = 1, MAY_INF = 2 };

extern pd_error hostile_err;
extern const char *hostile_now; /* words for what is being tried          */

/* Fills v[n] after `kind`; 0 where its numbers are all finite. */
int hostile_fill(double *v, size_t n, unsigned kind, uint64_t stream);
const char *hostile_name(unsigned kind);

/* A status other than PD_OK must come with words; returns 1 for PD_OK. */
int hostile_status(const char *room, pd_status st);
/* v is finite, or what `may` allows. */
void hostile_number(const char *room, const char *field, double v, int may);
/* value, se, low, high, df (infinite allowed) and p; `may` for all. */
void hostile_estimate(const char *room, const pd_estimate *e, int may);
/* How many answers were wrong so far; they were printed. */
unsigned hostile_wrong(void);
unsigned hostile_seen(void); /* answers judged                            */

#endif
