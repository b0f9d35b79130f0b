/*
 * targets.h - what reads bytes from outside, each behind one function that
 * takes any bytes. A target aborts where the room breaks its word: an error
 * without words, a place outside the file, rows unaccounted for, a number that
 * is none. Shared by the fuzzer (`make fuzz`, entry.c) and by check_fuzz.c,
 * which walks the seeds and some thousand changes of them.
 */
#ifndef PERDRAW_TESTS_FUZZ_TARGETS_H
#define PERDRAW_TESTS_FUZZ_TARGETS_H

#include "base/status.h"

#include <stddef.h>
#include <stdint.h>

/* A map and a CSV file, parted by a line "----"; without one: no map. */
int fuzz_table(const uint8_t *data, size_t size);
int fuzz_plan(const uint8_t *data, size_t size);
int fuzz_claim(const uint8_t *data, size_t size);
/* Printed ratios, as `pool` reads them. */
int fuzz_printed(const uint8_t *data, size_t size);
int fuzz_number(const uint8_t *data, size_t size);
/* A database file, opened as a stranger's and read. */
int fuzz_store(const uint8_t *data, size_t size);

/* Abort with words unless `good`. */
void fuzz_wants(int good, const char *words);
/* An error has words, and its place lies inside the text. */
void fuzz_error(const pd_error *err, const uint8_t *data, size_t size);
/* The bytes in a file in memory; its path, good until the next call. */
const char *fuzz_file(const uint8_t *data, size_t size);

#endif
