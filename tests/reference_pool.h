/*
 * reference_pool.h - what the files of this handler share.
 */
#ifndef PERDRAW_TESTS_REFERENCE_POOL_H
#define PERDRAW_TESTS_REFERENCE_POOL_H

#include "reference.h"

/* A quantity's name and its value; NULL ends the list. */
struct named_value {
	const char *name;
	double value;
};
int reference_pick(const struct check *c, const struct named_value *list,
                   double *got);

reference_handler reference_agree;   /* tests/reference_agree.c   */
reference_handler reference_control; /* tests/reference_control.c */
reference_handler reference_boot;    /* tests/reference_boot.c    */

#endif
