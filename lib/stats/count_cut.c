/*
 * count_cut.c - power series of a count cut off above.
 */
#include "stats/count_cut.h"

#include <math.h>

enum { TERMS = PD_CUT_TERMS, KEPT = 256, BELOW = 64 }; /* of base */
/* Of the scale on which L bends. The nearest zero of P(Y >= y) in the complex
 * plane is 1.5 or more of it away, a place at most half a step. */
static const double STEP = 0.3;
/* Largest exponent by which an error in h may grow over half a step, or h
 * itself fall off. */
static const double GROWTH = 3;
/* The base lies this many scales below ln y, or as near to it as may be. */
static const double LOWEST = 4;

int pd_cut_new(pd_arena *arena, size_t y, double theta, pd_cut *out)
{
	*out = (pd_cut){ .y = (double)y };
	out->node = PD_NEW(arena, pd_cut_node, KEPT);
	if (out->node)
		pd_cut_set(out, theta);
	return out->node != NULL;
}

void pd_cut_set(pd_cut *c, double theta)
{
	c->step = STEP * fmin(1, sqrt(1 / c->y + 1 / theta));
	c->base = c->top = NAN;
	c->turn++;
}

double pd_cut_lowest(const pd_cut *c)
{
	return floor((log(c->y) - LOWEST * c->step / STEP) / c->step);
}

pd_cut_node *pd_cut_node_of(const pd_cut *c, double place)
{
	double slot = fmod(place, KEPT);

	return c->node + (size_t)(slot < 0 ? slot + KEPT : slot);
}

pd_cut_node *pd_cut_near(const pd_cut *c, double e, double *place)
{
	pd_cut_node *node;

	*place = nearbyint(e / c->step);
	if (!(*place >= c->base - BELOW && *place < c->base - BELOW + KEPT))
		return NULL;
	node = pd_cut_node_of(c, *place);
	if (node->turn != c->turn)
		node->turn = 0;
	return node;
}

/* Term k of the product of two series. */
static double product(const double *x, const double *y, size_t k)
{
	double sum = 0;

	for (size_t i = 0; i <= k; i++)
		sum += x[i] * y[k - i];
	return sum;
}

static int all_finite(const pd_cut_node *node)
{
	for (size_t k = 0; k < TERMS; k++)
		if (!isfinite(node->l[k]) || !isfinite(node->t[k]) ||
		    !isfinite(node->tt[k]))
			return 0;
	return 1;
}

void pd_cut_make(const pd_cut *c, double place, const pd_cut_start *from,
                 pd_cut_node *out)
{
	double kept[TERMS], share[TERMS], g[TERMS], a[TERMS], h[TERMS];
	double less[TERMS];  /* a - h      */
	double va[TERMS];    /* v a        */
	double turn[TERMS];  /* v - kept   */
	double u[TERMS], uu[TERMS], w[TERMS]; /* uu: u^2 + w */
	double per = 0;      /* g over v: y + theta; 0: Poisson */

	kept[0] = from->kept;
	share[0] = from->share;
	g[0] = from->y * from->share + from->mu * from->kept;
	if (from->share > 0)
		per = g[0] / from->share;
	a[0] = from->e;
	h[0] = from->sum.h;
	u[0] = from->t - from->sum.t;
	w[0] = from->tt - from->sum.tt;
	out->l[0] = from->sum.l;
	out->t[0] = from->sum.t;
	out->tt[0] = from->sum.tt;
	for (size_t k = 0; k + 1 < TERMS; k++) {
		double next = (double)(k + 1), hu = 0, hw = 0;

		less[k] = a[k] - h[k];
		share[k + 1] = per > 0 ? product(share, kept, k) / next : 0;
		kept[k + 1] = -share[k + 1];
		if (per > 0) {
			turn[k] = share[k] - kept[k];
			va[k] = product(share, a, k);
			uu[k] = product(u, u, k) + w[k];
			hu = product(h, u, k);
			hw = product(h, uu, k);
		}
		g[k + 1] = per > 0 ? per * share[k + 1] : g[k] / next;
		a[k + 1] = -g[k + 1];
		if (per > 0) {
			u[k + 1] = (va[k] - hu) / next;
			w[k + 1] = (product(va, turn, k) - hw) / next;
		}
		out->l[k + 1] = h[k] / next;
		out->t[k + 1] = hu / next;
		out->tt[k + 1] = hw / next;
		h[k + 1] = product(h, less, k) / next;
	}
	out->at = place;
	out->turn = c->turn;
	out->steep = !(0.5 * c->step * fabs(a[0]) <= GROWTH);
	out->fit = 0.5 * c->step * h[0] <= GROWTH && all_finite(out);
}

int pd_cut_at(const pd_cut *c, const pd_cut_node *node, double e,
              pd_cut_value *out)
{
	double x = e - node->at * c->step;
	pd_cut_value sum = { 0, 0, 0, 0 };

	for (size_t k = TERMS; k-- > 0;) {
		sum.h = sum.h * x + sum.l; /* the slope of what l is so far */
		sum.l = sum.l * x + node->l[k];
		sum.t = sum.t * x + node->t[k];
		sum.tt = sum.tt * x + node->tt[k];
	}
	*out = sum;
	return node->fit;
}
