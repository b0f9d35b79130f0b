/*
 * ink.h - the colours behind the roles of a drawing, written once for every
 * writer: the page's style sheet, the drawing that stands alone, the printed
 * page (inside the report room only). From the Okabe-Ito palette (Okabe & Ito
 * 2008, a set told apart with any colour vision), darkened or lightened.
 *
 * What holds, and tests/check_inks.c computes from these very values: text
 * reaches a contrast of 4.5:1 on its ground, marks that carry meaning 3:1
 * (WCAG 2.2, success criteria 1.4.3 and 1.4.11), in both schemes and with the
 * sheerness below. The pale grounds reach neither; their edges do.
 */
#ifndef PERDRAW_REPORT_INK_H
#define PERDRAW_REPORT_INK_H

#include "report/figure.h"

/* In the order of pd_ink: name, variable and class of the style sheet, light,
 * dark. */
#define PD_INK_LIST(X)                                                        \
	X(TEXT, "ink", "i-text", "#1c2430", "#e9e6df")                        \
	X(MUTED, "muted", "i-muted", "#556070", "#aab3c0")                    \
	X(AXIS, "axis", "i-axis", "#2b3442", "#cfd6df")                       \
	X(GRID, "grid", "i-grid", "#d9dde3", "#333c48")                       \
	X(BAND, "band", "i-band", "#e9e4d3", "#3a3a2c")                       \
	X(GAIN, "gain", "i-gain", "#005f96", "#7cc4f2")                       \
	X(LOSS, "loss", "i-loss", "#a33f00", "#ffa36b")                       \
	X(SAME, "same", "i-same", "#00664a", "#5fd0a8")                       \
	X(OPEN, "open", "i-open", "#574b73", "#cbbde2")                       \
	X(DATA, "data", "i-data", "#4d5867", "#a3afbf")                       \
	X(FIT, "fit", "i-fit", "#111722", "#f4f1ea")                          \
	X(FIT_BAND, "fitband", "i-fitband", "#bcd7ea", "#27475f")             \
	X(PAGE, "page", "i-page", "#faf9f6", "#12161c")

/* Sheer inks let show through what lies below; 1: nothing. */
#define PD_DOTS_SHEER 0.75
#define PD_DATA_LINE_SHEER 0.7
#define PD_FIT_BAND_SHEER 0.6
/* Edges of the two pale grounds, in the ink MUTED: the margin's is dotted. */
#define PD_EDGE_WIDTH 0.8
#define PD_EDGE_GAPS "2 3"
#define PD_DASH_GAPS "5 4"

/* A constant above as text in a style sheet. */
#define PD_INK_WORD_(x) #x
#define PD_INK_WORD(x) PD_INK_WORD_(x)

typedef struct pd_colour {
	double red, green, blue; /* 0 to 1, sRGB as written                   */
} pd_colour;

/* "#rrggbb". A page of paper is white: PD_INK_PAGE of `paper` is. */
const char *pd_ink_hex(pd_ink ink, bool dark, bool paper);
pd_colour pd_ink_colour(pd_ink ink, bool dark, bool paper);
const char *pd_ink_class(pd_ink ink);
/* Sheerness of what the mark strokes or fills. */
double pd_mark_sheer(const pd_mark *m);
/* Does the mark's filled ground get an edge, and a dotted one? */
bool pd_mark_edged(const pd_mark *m);
bool pd_mark_edge_dotted(const pd_mark *m);

#endif
