/*
 * sweep.h - every quantile function of the library, there and back over the
 * range it is used in.
 */
#ifndef PERDRAW_TESTS_SWEEP_H
#define PERDRAW_TESTS_SWEEP_H

#include <stddef.h>

/* Prints a line a law; `full` takes about a hundred times as many points. */
void sim_sweep(int full, size_t *passed, size_t *failed);

#endif
