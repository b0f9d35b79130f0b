/*
 * say.h - words to people on stderr, and text made safe for a terminal:
 * control codes that came with data are shown, never sent.
 */
#ifndef PERDRAW_CLI_SAY_H
#define PERDRAW_CLI_SAY_H

#include "perdraw.h"

#include <stdio.h>

/* "perdraw: ..." and a newline on stderr. */
void say_error(const char *fmt, ...) __attribute__((format(printf, 1, 2)));
/* What a library call left in *err: "FILE:LINE:COL: error: ..." where a place
 * is known, "perdraw: ..." else. Returns the exit status of err->status. */
int say_failure(pd_status st, const pd_error *err);
/*
 * `text` with what does not show or turns writing around, and broken UTF-8
 * bytes, written as escapes (\x1b, \u202e), into `to`.
 */
void say_clean(const char *text, FILE *to);

#endif
