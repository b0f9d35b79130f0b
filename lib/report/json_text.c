/* json_text.c - see json_text.h. */
#include "report/json_text.h"
#include "report/clean.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

void pd_json_string(pd_buf *out, const char *text)
{
	if (!text) {
		pd_buf_add(out, "null");
		return;
	}
	pd_buf_char(out, '"');
	for (uint32_t c; (c = pd_clean_next(&text));) {
		if (c == '"' || c == '\\') {
			pd_buf_char(out, '\\');
			pd_clean_put(out, c);
		} else if (c == '<' || c == '>' || c == '&') {
			pd_buf_print(out, "\\u%04x", (unsigned)c);
		} else {
			pd_clean_put(out, c);
		}
	}
	pd_buf_char(out, '"');
}

void pd_json_key(pd_buf *out, const char *name)
{
	char last = out->length ? out->data[out->length - 1] : '{';

	if (last != '{' && last != '[')
		pd_buf_add(out, ", ");
	pd_json_string(out, name);
	pd_buf_add(out, ": ");
}

void pd_json_number(pd_buf *out, double x)
{
	char text[40];

	if (!isfinite(x)) {
		pd_buf_add(out, "null");
		return;
	}
	for (int digits = 1; digits <= 17; digits++) {
		snprintf(text, sizeof text, "%.*g", digits, x);
		if (strtod(text, NULL) == x)
			break;
	}
	for (char *p = text; *p; p++) /* the locale's decimal point */
		if ((*p < '0' || *p > '9') && *p != '-' && *p != '+' &&
		    *p != 'e')
			*p = '.';
	pd_buf_add(out, text);
}
