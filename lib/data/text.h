/*
 * text.h - a file's bytes as UTF-8 text: byte order mark, encoding, damage.
 */
#ifndef PERDRAW_DATA_TEXT_H
#define PERDRAW_DATA_TEXT_H

#include "data/finding.h"
#include <stdbool.h>

typedef enum pd_encoding {
	PD_UTF_8, PD_LATIN_1, PD_WINDOWS_1252
} pd_encoding;

typedef struct pd_text {
	const char *data;  /* UTF-8 without byte order mark                    */
	size_t size;
	char *owned;       /* to free; NULL when data lies in the caller's bytes */
	bool usable;       /* false: UTF-16 and the like, nothing to read      */
} pd_text;

/* Findings: utf16, bom, nul-byte, not-utf8 (the first of each line, fifty at
 * most). Only lack of memory fails. */
pd_status pd_text_init(pd_text *t, const char *bytes, size_t size,
                       pd_encoding encoding, pd_findings *findings,
                       pd_error *err);
void pd_text_clear(pd_text *t);

#endif
