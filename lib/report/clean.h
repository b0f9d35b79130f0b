/*
 * clean.h - text from anywhere made fit to show. Every character a writer
 * puts out passes here: broken UTF-8 and what does not show or turns writing
 * around (base/glyph.h) become U+FFFD; tab, line feed and carriage return
 * become a space.
 */
#ifndef PERDRAW_REPORT_CLEAN_H
#define PERDRAW_REPORT_CLEAN_H

#include "base/buf.h"
#include <stdint.h>

/* The next character to show, *p moved past it; 0 at the end. */
uint32_t pd_clean_next(const char **p);
/* Append a character as UTF-8. */
void pd_clean_put(pd_buf *out, uint32_t c);
/* Append clean text: fit for a terminal. */
void pd_clean_add(pd_buf *out, const char *text);
/* Append clean text with & < > " ' as references: fit for HTML and SVG,
 * between tags and inside a quoted attribute. */
void pd_clean_add_html(pd_buf *out, const char *text);
/* Columns a terminal gives one character: 0 (combining), 1 or 2 (wide). */
unsigned pd_clean_columns(uint32_t c);
/* Columns of the text once cleaned. */
size_t pd_clean_width(const char *text);

#endif
