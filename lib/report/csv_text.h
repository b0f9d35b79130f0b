/*
 * csv_text.h - cells and names of CSV files (RFC 4180), for every form that
 * writes such files. Inside the report room.
 */
#ifndef PERDRAW_REPORT_CSV_TEXT_H
#define PERDRAW_REPORT_CSV_TEXT_H

#include "base/buf.h"

/* A cell, quoted where it must be: NULL writes nothing, an empty text "". A
 * text that a spreadsheet would compute gets an apostrophe before it, a
 * number never does. */
void pd_csv_field(pd_buf *out, const char *text, bool number);
/* A text as a JSON string, the apostrophe included. */
void pd_csv_json(pd_buf *out, const char *text);
/* A file's name as a relative URL (RFC 3986), in quotes. */
void pd_csv_url(pd_buf *out, const char *name);

#endif
