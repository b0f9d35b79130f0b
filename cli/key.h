/*
 * key.h - makes the secret that turns patient numbers into pseudonyms: 32
 * random bytes as 64 hexadecimal digits and a newline, in a file of its own
 * that only its owner can read.
 */
#ifndef PERDRAW_CLI_KEY_H
#define PERDRAW_CLI_KEY_H

#include "perdraw.h"

/* PD_CANNOT_CREATE when the file is there: a key is never replaced. */
pd_status key_make(const char *path, pd_error *err);

#endif
