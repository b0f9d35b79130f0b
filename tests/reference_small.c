/*
 * reference_small.c - checks of the methods without a model.
 */
#include "reference.h"

int reference_small(const struct check *c, double *got)
{
	(void)c;
	(void)got;
	return 0;
}
