/*
 * joint_own.h - inside joint*.c: a law taken apart, and the means over
 * lattices its chances are. Letters: Z = L y, y independent normals; row i of
 * L ends in some column; rows are sorted by that column, so those that bound
 * y_j once y_0 .. y_(j-1) are known stand together.
 */
#ifndef PERDRAW_STATS_JOINT_OWN_H
#define PERDRAW_STATS_JOINT_OWN_H

#include "stats/joint.h"

#include <stdint.h>

enum { PD_JOINT_LATTICES = 4, PD_JOINT_NODES = 400 };

struct pd_joint {
	size_t k, rank;
	double *row;           /* k * rank: L, rows sorted, each over its last */
	double *reach;         /* k: 1 over that last element                */
	size_t *start;         /* rank + 1: rows that bound y_j              */
	double df;
	int sides;
	double *ln_s, *slope;  /* of ln S by the normal score, at the nodes  */
};

/* Normal score of node i of the table of S. */
double pd_joint_score(size_t i);

/* A walk over lattices: lattice 0 .. PD_JOINT_LATTICES - 1 is the caller's to
 * choose before each mean. */
struct pd_cube {
	const pd_joint *j;
	size_t lattice, dimensions;
	double *x, *y, *shift;  /* d, rank, SHIFTS * d                        */
	uint32_t *at, *step;    /* d                                          */
	double points, error;   /* so far; of the last mean                   */
};

pd_status pd_cube_open(struct pd_cube *q, const pd_joint *j, pd_error *err);
void pd_cube_close(struct pd_cube *q);
/* P(M > c) on the present lattice; q->error: half a 99 % interval. */
double pd_cube_mean(struct pd_cube *q, double c);

#endif
