/*
 * reference_linear.h - what the files of the regression checks share.
 */
#ifndef PERDRAW_TESTS_REFERENCE_LINEAR_H
#define PERDRAW_TESTS_REFERENCE_LINEAR_H

#include "reference.h"

reference_handler reference_nonlinear; /* tests/reference_nonlinear.c */

#endif
