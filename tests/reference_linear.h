/*
 * reference_linear.h - what the files of the regression checks share.
 */
#ifndef PERDRAW_TESTS_REFERENCE_LINEAR_H
#define PERDRAW_TESTS_REFERENCE_LINEAR_H

#include "reference.h"

/* A quantity's name and its value; NULL ends the list. */
struct reference_named {
	const char *name;
	double value;
};
/* 1 when the quantity is in the list. */
int reference_pick(const char *quantity, const struct reference_named *list,
                   double *got);

reference_handler reference_nonlinear; /* tests/reference_nonlinear.c */

#endif
