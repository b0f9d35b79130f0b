/*
 * out_text.h - a page of characters: width, emphasis, wrapping (inside the
 * report room only). All text passes the gate of clean.h.
 */
#ifndef PERDRAW_REPORT_OUT_TEXT_H
#define PERDRAW_REPORT_OUT_TEXT_H

#include "report/block.h"

typedef enum pd_weight { PD_NORMAL, PD_STRONG, PD_FAINT, PD_ACCENT } pd_weight;

typedef struct pd_page {
	pd_buf *out;
	size_t width;
	bool colour;
	bool failed;
} pd_page;

/*
 * The next line of *text, at most `width` columns, whole words; a word longer
 * than the width is cut. *text moves past it. False when nothing is left.
 * The line is appended to `line`, clean.
 */
bool pd_page_line(const char **text, size_t width, pd_buf *line);
/* Columns of the longest word. */
size_t pd_page_longest_word(const char *text);
/* `lead` then the text, wrapped; the lead stands after `indent` blanks, and
 * further lines start below the text. The weight is the text's. */
void pd_page_wrapped(pd_page *p, size_t indent, const char *lead,
                     pd_weight weight, const char *text);
void pd_page_weight(pd_page *p, pd_weight weight);
void pd_page_end_weight(pd_page *p, pd_weight weight);
void pd_page_blank(pd_page *p);

void pd_page_table(pd_page *p, const pd_table *t);
void pd_page_bars(pd_page *p, const pd_bars *b);

#endif
