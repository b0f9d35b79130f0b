/*
 * listing.h - findings as lines: FILE:LINE:COLUMN: level: code: found ...,
 * expected ... Shared by `load` (fresh findings) and `findings` (stored ones).
 */
#ifndef PERDRAW_CLI_LISTING_H
#define PERDRAW_CLI_LISTING_H

#include "perdraw.h"

#include <stdio.h>

enum { LISTING_MOST = 50 };

/* One line; line or column 0 are left out. */
void listing_line(const char *file, size_t line, size_t column,
                  const char *level, const char *code, const char *found,
                  const char *expected, FILE *to);
/* Errors first up to LISTING_MOST lines unless `all`, then how many more
 * there are. Notes and warnings are left out when only_errors. */
void listing_findings(const pd_findings *list, const char *file, bool all,
                      bool only_errors, FILE *to);

#endif
