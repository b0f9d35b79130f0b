/*
 * latex_text.h - text made fit for LaTeX: no character of it can be markup.
 * Inside the report room.
 */
#ifndef PERDRAW_REPORT_LATEX_TEXT_H
#define PERDRAW_REPORT_LATEX_TEXT_H

#include "base/buf.h"

/*
 * Append clean text (clean.h) for running text and table cells, in any font
 * encoding of pdfLaTeX with UTF-8 and in LuaLaTeX. What the usual fonts lack
 * becomes \perdrawchar{hexadecimal}, which pd_latex_macros defines.
 */
void pd_latex_add(pd_buf *out, const char *text);

/* Definitions the text needs; harmless when there already. */
extern const char pd_latex_macros[];

#endif
