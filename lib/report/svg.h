/*
 * svg.h - a scene as SVG with role img, title and desc and real text: inside a
 * page, coloured by class so that the page's style sheet rules, or as a file of
 * its own, on white, its light colours written at every mark so that readers
 * without style sheets show them too.
 */
#ifndef PERDRAW_REPORT_SVG_H
#define PERDRAW_REPORT_SVG_H

#include "base/buf.h"
#include "report/figure.h"

/* `id` makes the ids of title and desc unique in the page; `kind` is an extra
 * class ("page", "page full", "narrow"). */
void pd_svg_write(const pd_scene *s, const char *id, const char *kind,
                  const char *title, const char *desc, pd_buf *out);
/* A whole file. language: of the words, "en". */
void pd_svg_write_file(const pd_scene *s, const char *language,
                       const char *title, const char *desc, pd_buf *out);

#endif
