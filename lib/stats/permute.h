/*
 * permute.h - what the observed difference would be if the labels meant
 * nothing: signs flipped, or two labels dealt out anew, for whole patients and
 * within strata (site, operator, method version) where asked. paired.h has the
 * plain forms for arrays.
 */
#ifndef PERDRAW_STATS_PERMUTE_H
#define PERDRAW_STATS_PERMUTE_H

#include "base/status.h"
#include "stats/paired.h"
#include <stddef.h>
#include <stdint.h>

typedef struct pd_permute_plan {
	size_t n_rows;
	const double *value;     /* n_rows; arm NULL: differences             */
	const int32_t *arm;      /* 0 or 1 a row, one arm a unit; NULL: signs */
	const int32_t *unit;     /* code of each row, 0 .. n_units - 1; NULL: */
	size_t n_units;          /* every row is a unit, n_units not read     */
	const int32_t *stratum;  /* code of each row, 0 .. n_strata - 1, one a
	                            unit; NULL: all alike. Labels only        */
	size_t n_strata;
	size_t draws;            /* 0: 9999; at most 10 million               */
	uint64_t seed;
	unsigned threads;        /* 0: 1; any number gives the same bytes     */
} pd_permute_plan;

typedef struct pd_permutation {
	pd_flip_result flip;
	double statistic;        /* T below                                   */
	size_t n_units, n_idle;  /* idle: in strata with one arm only, or
	                            without rows                              */
	size_t n_strata;         /* that hold both arms                       */
} pd_permutation;

/*
 * Signs: T = sum over units of the sum of their differences; a unit's rows
 * change sign together. All 2^units patterns up to 30 units that have rows.
 * Labels: x_u the mean of a unit's rows, T = sum over units of arm 0 of (x_u -
 * mean of the x of its stratum), which is sum over strata of n0 n1 / (n0 + n1)
 * times the difference of means; within each stratum every deal that keeps
 * the numbers of both arms is alike. All deals when there are at most 2
 * million in all; else `draws`, draw k from stream k of the seed.
 * T compares with a slack of 1e-12 of the sum of |x| (less the mean), so that
 * arrangements equal but for rounding count as equal; p as in paired.h.
 * PD_DATA: a value not finite, a code out of range, a unit whose rows differ
 * in arm or stratum (row named), too many draws; PD_REFUSED: no rows, no
 * difference other than 0, no stratum with both arms, no variation within
 * strata; PD_NUMERIC: sums out of the range of doubles; PD_NO_MEMORY.
 * Source: Fisher (1935), The Design of Experiments, section 21; strata: Good
 * (2005), Permutation, Parametric and Bootstrap Tests of Hypotheses (memory).
 */
pd_status pd_permute(const pd_permute_plan *plan, pd_permutation *out,
                     pd_error *err);

#endif
