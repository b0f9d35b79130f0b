/*
 * count_cut.h - what is known of a count cut off above, near a place where it
 * was summed: power series in e = ln mu.
 *
 * With a count of y or more, L = ln P(Y >= y), p = ln p(y), t = ln theta,
 * a = p_e, v = mu / (mu + theta), kept = 1 - v, g = (y + theta) v:
 *   L_e   = h,           h = y p(y) / P(Y >= y),
 *   h_e   = h (a - h),               a_e = -g kept,     v_e = v kept,
 *   L_te  = h u,         u = p_t - L_t,
 *   u_e   = v a - h u,
 *   L_tte = h (u^2 + w), w = p_tt - L_tt,
 *   w_e   = v a (v - kept) - h (u^2 + w)
 * (Poisson: v = 0, g = mu, kept = 1). The right sides are products, so every
 * coefficient of the series follows from those before it. An error in h grows
 * downwards as exp(-h (e - begin)): far below y, where h is near y and the
 * tail is short, no series is kept. Summing the tail, and the slopes that
 * follow from L, h, L_t, L_tt: count_row.h.
 */
#ifndef PERDRAW_STATS_COUNT_CUT_H
#define PERDRAW_STATS_COUNT_CUT_H

#include <stddef.h>

#include "base/arena.h"

enum { PD_CUT_TERMS = 16 };

/* L, h, L_t and L_tt at one place. */
typedef struct pd_cut_value {
	double l, h, t, tt;
} pd_cut_value;

/* What a series starts from: the value and, of exactly y, these. */
typedef struct pd_cut_start {
	pd_cut_value sum;
	double y, mu, kept, share;       /* share = v                       */
	double e, t, tt;                  /* a, p_t, p_tt                    */
} pd_cut_start;

typedef struct pd_cut_node {
	double l[PD_CUT_TERMS], t[PD_CUT_TERMS], tt[PD_CUT_TERMS];
	double at;      /* place, in steps                                   */
	unsigned turn;  /* the theta it holds for; 0: nothing is kept here   */
	int fit;        /* all terms are finite and exact enough             */
	int steep;      /* h falls so fast upwards that none should follow   */
} pd_cut_node;

/*
 * The series kept of one count, at one theta at a time. From `base` on up each
 * follows from the one below, by way of a series between them: upwards errors
 * in h, u and w shrink as exp(-h d). Below base, and above a steep one, tails
 * are summed.
 */
typedef struct pd_cut {
	double y, step;
	unsigned turn;
	double base, top; /* places; NaN: not looked for yet                 */
	pd_cut_node *node;
} pd_cut;

/* 0 where memory is out. */
int pd_cut_new(pd_arena *arena, size_t y, double theta, pd_cut *out);
/* Forgets all that held for another theta. */
void pd_cut_set(pd_cut *c, double theta);
/* The node that holds a place. */
pd_cut_node *pd_cut_node_of(const pd_cut *c, double place);
/* The node nearest to e, which may not hold it yet (turn 0), and its place;
 * NULL where none is kept of it. Needs a base. */
pd_cut_node *pd_cut_near(const pd_cut *c, double e, double *place);
/* Where the search for a base begins: the tail is short enough there. */
double pd_cut_lowest(const pd_cut *c);
void pd_cut_make(const pd_cut *c, double place, const pd_cut_start *from,
                 pd_cut_node *out);
/* 0 where the node has no series (also where a tail is too long to sum). */
int pd_cut_at(const pd_cut *c, const pd_cut_node *node, double e,
              pd_cut_value *out);

#endif
