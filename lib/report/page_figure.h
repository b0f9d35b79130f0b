/*
 * page_figure.h - a scene on a sheet of given width, for a journal's page: PDF
 * (vectors, real text) and PNG (600 dots an inch, the physical size stored), on
 * cairo and pango (inside the report room only). Light colours on white.
 *
 * Text is DejaVu Sans, found by its name and used alone: what the user's own
 * font settings say changes no byte. Its letters are wider than those a scene
 * reckons with (pd_text_width), so they are set narrower: to PD_PAGE_NARROW,
 * and further where one text would be wider than reckoned. A scene is scaled
 * to the sheet's width, but never until its smallest text is above
 * PD_PAGE_MOST_PT; then it stands in the middle. Text below PD_PAGE_TEXT_PT
 * and lines below PD_PAGE_LINE_PT are raised to that.
 */
#ifndef PERDRAW_REPORT_PAGE_FIGURE_H
#define PERDRAW_REPORT_PAGE_FIGURE_H

#include "base/buf.h"
#include "base/status.h"
#include "report/figure.h"

#define PD_PAGE_TEXT_PT 7.0
#define PD_PAGE_MOST_PT 10.0
#define PD_PAGE_LINE_PT 0.5
#define PD_PAGE_NARROW 0.9
enum { PD_PAGE_DPI = 600, PD_PAGE_MOST_MM = 500 };

typedef struct pd_sheet {
	double width_mm;
	const char *title, *description; /* stored in the file                */
	const char *date; /* ISO, stored as the file's date; NULL: 1980-01-01 */
} pd_sheet;

/* The scale and height a scene gets on a sheet of that width, in points. */
typedef struct pd_fit {
	double width_pt, height_pt, scale, left_pt;
	double text_pt; /* smallest text before it is raised, INFINITY: none  */
} pd_fit;
pd_fit pd_page_fit(const pd_scene *s, double width_mm);

/* May figures be written here? PD_USAGE where the library was built without
 * them, PD_NO_INPUT without the font; the words say what to install. */
pd_status pd_page_ready(pd_error *err);
/* PD_DATA when the picture would be higher than PD_PAGE_MOST_MM (PNG). */
pd_status pd_page_pdf(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err);
pd_status pd_page_png(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err);
/* Gives back what cairo and fontconfig keep of fonts for the next drawing. The
 * whole process must have no use of the two in work. */
void pd_page_release(void);

#endif
