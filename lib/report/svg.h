/*
 * svg.h - a scene as inline SVG: role img, title and desc, real text, colours
 * by class so that the page's style sheet rules them.
 */
#ifndef PERDRAW_REPORT_SVG_H
#define PERDRAW_REPORT_SVG_H

#include "base/buf.h"
#include "report/figure.h"

/* `id` makes the ids of title and desc unique in the page; `kind` is an extra
 * class ("page", "page full", "narrow"). */
void pd_svg_write(const pd_scene *s, const char *id, const char *kind,
                  const char *title, const char *desc, pd_buf *out);

#endif
