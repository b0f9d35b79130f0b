/*
 * reference_pool.h - what the files of this handler share.
 */
#ifndef PERDRAW_TESTS_REFERENCE_POOL_H
#define PERDRAW_TESTS_REFERENCE_POOL_H

#include "reference.h"

reference_handler reference_agree;   /* tests/reference_agree.c   */
reference_handler reference_control; /* tests/reference_control.c */
reference_handler reference_boot;    /* tests/reference_boot.c    */

#endif
