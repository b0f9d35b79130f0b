/*
 * figure.h - a drawing that knows nothing of its output: a scene of marks in
 * a plane of its own (x to the right, y down, one unit near one CSS pixel),
 * and the axes that turn data into places. svg.c writes a scene; another
 * output would be another writer. Colours are roles ("inks"), never values.
 *
 * Everything lives in the arena the scene was made in. A failed allocation
 * marks the scene and later marks do nothing; the maker checks once.
 */
#ifndef PERDRAW_REPORT_FIGURE_H
#define PERDRAW_REPORT_FIGURE_H

#include "base/answer.h"
#include "base/arena.h"

typedef enum pd_ink {
	PD_INK_TEXT,
	PD_INK_MUTED,
	PD_INK_AXIS,
	PD_INK_GRID,
	PD_INK_BAND,
	PD_INK_GAIN,
	PD_INK_LOSS,
	PD_INK_SAME,
	PD_INK_OPEN,
	PD_INK_DATA,
	PD_INK_FIT,
	PD_INK_FIT_BAND,
	PD_INK_PAGE,
	PD_N_INKS
} pd_ink;

typedef enum pd_mark_kind {
	PD_MARK_LINES, /* n / 2 separate strokes, a pair of places each     */
	PD_MARK_CHAIN, /* one stroke through n places                       */
	PD_MARK_AREA,  /* a filled outline through n places                 */
	PD_MARK_DOTS,  /* n round dots of diameter `size`                   */
	PD_MARK_TEXT   /* `text` at one place, `size` high                  */
} pd_mark_kind;

typedef enum pd_anchor { PD_START, PD_MIDDLE, PD_END } pd_anchor;

typedef struct pd_mark {
	pd_mark_kind kind;
	pd_ink ink;
	size_t n;
	const double *xy; /* 2 n numbers: x, y, x, y ...                    */
	double size;      /* stroke width, dot diameter or text height      */
	bool hollow, dashed, strong;
	pd_anchor anchor;
	double turn; /* text: degrees clockwise                        */
	const char *text;
} pd_mark;

typedef struct pd_scene {
	pd_arena *arena;
	double width, height;
	size_t n_marks, room;
	pd_mark *mark;
	bool failed;
} pd_scene;

pd_scene *pd_scene_new(pd_arena *arena, double width, double height);
void pd_scene_line(pd_scene *s, pd_ink ink, double width, bool dashed,
                   double x0, double y0, double x1, double y1);
void pd_scene_lines(pd_scene *s, pd_ink ink, double width, size_t n,
                    const double *xy);
void pd_scene_chain(pd_scene *s, pd_ink ink, double width, size_t n,
                    const double *xy);
void pd_scene_area(pd_scene *s, pd_ink ink, size_t n, const double *xy);
void pd_scene_box(pd_scene *s, pd_ink ink, double x0, double y0, double x1,
                  double y1);
void pd_scene_dots(pd_scene *s, pd_ink ink, double diameter, size_t n,
                   const double *xy);
void pd_scene_text(pd_scene *s, pd_ink ink, double height, pd_anchor anchor,
                   bool strong, double x, double y, const char *text);
/* Upright text turned a quarter to the left, for a value axis. */
void pd_scene_side_text(pd_scene *s, pd_ink ink, double height, double x,
                        double y, const char *text);
/* Text in lines no longer than `width`, the first at y, each `step` below;
 * returns the number of lines. Draws nothing with a NULL scene; text NULL is one
 * that memory did not suffice for: the scene is marked. */
size_t pd_scene_wrapped(pd_scene *s, pd_ink ink, double height,
                        pd_anchor anchor, bool strong, double x, double y,
                        double step, double width, const char *text);
/* Width text will take, for the sans-serif metrics the writers ask for. */
double pd_text_width(const char *text, double height);
/* The text, or as much of it as `width` holds with dots after it. */
const char *pd_scene_fitted(pd_scene *s, const char *text, double height,
                            double width);
/* The head of an arrow whose point lies at x, y and looks along (dx, dy), one
 * of which is -1 or 1 and the other 0: something goes on past an axis. */
void pd_scene_arrow(pd_scene *s, pd_ink ink, double x, double y, double dx,
                    double dy);

/* The sign of a verdict: a triangle up or down, a filled square, a hollow
 * diamond; and its ink (neutral: what nobody chooses is no gain or loss). */
void pd_scene_sign(pd_scene *s, pd_verdict v, pd_ink ink, double x, double y,
                   double radius);
pd_ink pd_verdict_ink(pd_verdict v, bool neutral);
/* The same of an answer's effect; open where a failed control unsupports it. */
pd_ink pd_effect_ink(const pd_answer *a, const pd_effect *e);
/* The limits of a margin on the printed scale; NaN without one. */
void pd_margin_limits(const pd_answer *a, double *low, double *high);

typedef struct pd_axis {
	bool log;
	double from, to;        /* data                                       */
	double place, place_to; /* where `from` and `to` lie                  */
} pd_axis;

/* Place of x, held inside the axis; log axes send x <= 0 to the low end. */
double pd_axis_at(const pd_axis *a, double x);
/* An axis over [low, high] with a little room; equal limits are widened. */
pd_axis pd_axis_over(bool log, double low, double high, double place,
                     double place_to);
enum { PD_MOST_TICKS = 12 };
/* Round values inside the axis, ascending; 1-2-5 steps (linear), 1-2-5 or
 * powers of ten (log). Returns how many (2 to PD_MOST_TICKS where possible). */
size_t pd_axis_ticks(const pd_axis *a, double tick[PD_MOST_TICKS]);

/* Rows of intervals on one axis: a forest. */
typedef struct pd_bar {
	const char *label;  /* "Q3  10 mL against 50 mL"                  */
	const char *number; /* value and interval as printed              */
	const char *less, *more; /* what lies to the left, to the right */
	const char *words; /* the verdict in words                       */
	double value, low, high; /* NaN value: nothing drawn, words only */
	double margin_low, margin_high; /* NaN: none */
	pd_verdict verdict;
	bool neutral;     /* not a choice: higher/lower                 */
	bool unsupported; /* drawn as open: a control failed            */
} pd_bar;

typedef struct pd_bars {
	bool log;
	double from, to, null;
	size_t n_ticks;
	double tick[PD_MOST_TICKS];
	const char *axis_words; /* "ratio, first arm over second"             */
	size_t n;
	pd_bar *bar;
} pd_bars;

/* Range and ticks for the bars: ratios .25 to 4, in powers of two further
 * out only as far as the values themselves need (0.0625 to 16 at most). */
void pd_bars_scale(pd_bars *b);
/* narrow: labels above the bars, for a phone. NULL when memory runs out. */
pd_scene *pd_figure_forest(pd_arena *arena, const pd_bars *b, bool narrow);

/* What the drawing of one question needs beside the answer. */
typedef struct pd_figure_words {
	const char *value_axis; /* "CFU-F per mL"                             */
	const char *x_axis;     /* slope: parameter and unit                  */
	const char *first, *second; /* pairs: the arms                        */
	const char *ratio_axis; /* "2 over 1" or "2 less 1"                   */
} pd_figure_words;

/*
 * The figures of data, each for a page (440 wide or more) and, narrow, for a
 * phone or one column of paper (300 wide), with text of the same height.
 */
/* Pairs joined by lines, and their ratios (differences) with the effect. */
pd_scene *pd_figure_pairs(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w, bool narrow);
/* Points by level with centre and interval; narrow: a row a level. */
pd_scene *pd_figure_levels(pd_arena *arena, const pd_answer *a,
                           const pd_figure_words *w, bool narrow);
/* Points, fitted line and its band, and how the results lie along it. */
pd_scene *pd_figure_slope(pd_arena *arena, const pd_answer *a,
                          const pd_figure_words *w, bool narrow);
/* Two panels over the quarters: TNC and CFU-F, with intervals and notes. */
pd_scene *pd_figure_trend(pd_arena *arena, const pd_trend *t, size_t n,
                          bool narrow);

#endif
