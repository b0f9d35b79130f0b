/*
 * json_text.h - JSON strings and numbers, for every form that holds JSON.
 * Inside the report room.
 */
#ifndef PERDRAW_REPORT_JSON_TEXT_H
#define PERDRAW_REPORT_JSON_TEXT_H

#include "base/buf.h"

/* A string in quotes, clean (clean.h) and escaped by RFC 8259; what could end
 * an HTML script or a JavaScript line is escaped too. NULL: null. */
void pd_json_string(pd_buf *out, const char *text);
/* "name": , a comma before it unless it follows '{'. */
void pd_json_key(pd_buf *out, const char *name);
/* A double, as few digits as bring it back; null when it is not finite. */
void pd_json_number(pd_buf *out, double x);

#endif
