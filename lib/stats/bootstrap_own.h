/*
 * bootstrap_own.h - inside the bootstrap: the short way of a ratio of totals.
 */
#ifndef PERDRAW_STATS_BOOTSTRAP_OWN_H
#define PERDRAW_STATS_BOOTSTRAP_OWN_H

#include "stats/bootstrap.h"

/* pd_boot_ratio of whole-numbered weights below 2^31: the same bytes. */
double pd_boot_ratio_counts(const uint32_t *count, size_t n,
                            const pd_boot_totals *totals);

/* out[i]: the ratio without unit i. */
void pd_boot_ratio_without(const pd_boot_totals *totals, size_t n,
                           double *out);

#endif
