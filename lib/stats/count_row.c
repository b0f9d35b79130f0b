/*
 * count_row.c - one count under Poisson and NB2, whole or cut off above.
 */
#include "stats/count_row.h"

#include <math.h>

/* theta / (mu + theta) below which the upper tail is too long to be summed. */
static const double ENDLESS = 1e-4;

/* A growing sum of terms that are not below 0, with what rounding took (Neumaier
 * 1974). */
struct sum {
	double high, low;
};

static void add_to(struct sum *s, double x)
{
	double next = s->high + x;

	s->low += s->high >= x ? (s->high - next) + x : (x - next) + s->high;
	s->high = next;
}

pd_status pd_count_table_new(pd_arena *arena, size_t most,
                             pd_count_table *out, pd_error *err)
{
	struct sum sum = { 0, 0 };

	*out = (pd_count_table){ .most = most };
	out->log_factorial = PD_NEW(arena, double, most + 1);
	out->rise = PD_NEW(arena, double, most + 1);
	out->rise_t = PD_NEW(arena, double, most + 1);
	out->rise_tt = PD_NEW(arena, double, most + 1);
	if (!out->log_factorial || !out->rise || !out->rise_t || !out->rise_tt)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t y = 1; y <= most; y++) {
		add_to(&sum, log((double)y));
		out->log_factorial[y] = sum.high + sum.low;
	}
	pd_count_table_set(out, INFINITY);
	return PD_OK;
}

pd_status pd_count_table_cut(pd_arena *arena, pd_count_table *t,
                             const double *y, const unsigned char *at_least,
                             size_t n, pd_error *err)
{
	for (size_t i = 0; i < n; i++) {
		size_t k = (size_t)y[i];

		if (!at_least[i] || !k || (t->cut && t->cut[k]))
			continue;
		if (!t->cut)
			t->cut = PD_NEW(arena, pd_cut *, t->most + 1);
		if (t->n_cut == PD_COUNT_MOST_CUT)
			return PD_OK;
		if (t->cut)
			t->cut[k] = t->cut_list[t->n_cut] =
			    PD_NEW(arena, pd_cut, 1);
		if (!t->cut || !t->cut[k] ||
		    !pd_cut_new(arena, k, t->theta, t->cut[k]))
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		t->n_cut++;
	}
	return PD_OK;
}

void pd_count_table_set(pd_count_table *t, double theta)
{
	struct sum rise = { 0, 0 };

	if (t->theta == theta)
		return;
	t->theta = theta;
	for (size_t k = 0; k < t->n_cut; k++)
		pd_cut_set(t->cut_list[k], theta);
	for (size_t y = 1; y <= t->most; y++) {
		double k = (double)(y - 1);
		double part = isinf(theta) ? 0 : k / (theta + k);

		add_to(&rise, log1p(k / theta));
		t->rise[y] = rise.high + rise.low;
		t->rise_t[y] = t->rise_t[y - 1] - part;
		t->rise_tt[y] = t->rise_tt[y - 1] + part * (1 - part);
	}
}

/* What the slopes share at one mean; 'kept' = theta / (mu + theta). */
struct mean {
	double mu, theta, share, kept, log_share, theta_log;
};

static struct mean at_mean(const pd_count_table *t, double e)
{
	struct mean m = { .mu = exp(e), .theta = t->theta };
	double r = m.mu / m.theta;

	m.kept = 1 / (1 + r);
	m.share = r * m.kept;
	m.log_share = log1p(r);
	m.theta_log = isinf(m.theta) ? m.mu : m.theta * m.log_share;
	return m;
}

static double value_at(const pd_count_table *t, const struct mean *m,
                       size_t y, double e)
{
	double k = (double)y;

	return t->rise[y] - t->log_factorial[y] + (y ? k * e : 0) -
	       k * m->log_share - m->theta_log;
}

static void whole_row(const pd_count_table *t, const struct mean *m, size_t y,
                      double e, pd_count_slopes *s)
{
	double k = (double)y, turn = m->kept - m->share;
	double held = m->mu * m->kept;          /* theta p          */
	double sum = k * m->share + held;       /* (y + theta) p    */
	double bend = sum * m->kept;            /* (y + theta) p v  */

	s->l = value_at(t, m, y, e);
	s->e = (k - m->mu) * m->kept;
	s->ee = -bend;
	s->eee = -bend * turn;
	s->t = t->rise_t[y] - m->theta_log + sum;
	s->tt = t->rise_tt[y] - m->theta_log + 2 * held - bend;
	s->et = bend - held;
	s->eet = bend * turn - held * m->kept;
}

/* A tail's sum over its first term, with the sums for the slopes in t. */
struct tail {
	double sum, t, tt;
};

static void add_term(struct tail *tail, const struct mean *m, double k,
                     double rise_t, double rise_tt, double weight)
{
	double held = m->mu * m->kept, sum = k * m->share + held;
	double l_t = rise_t - m->theta_log + sum;
	double l_tt = rise_tt - m->theta_log + 2 * held - sum * m->kept;

	tail->sum += weight;
	tail->t += weight * l_t;
	tail->tt += weight * (l_tt + l_t * l_t);
}

/* Counts y, y + 1, ...: terms fall off once past the mean. */
static struct tail upper_tail(const pd_count_table *t, const struct mean *m,
                              size_t y)
{
	struct tail tail = { 0, 0, 0 };
	double rise_t = t->rise_t[y], rise_tt = t->rise_tt[y], w = 1;
	double k = (double)y;
	int plain = isinf(m->theta); /* Poisson: no slopes in t */

	for (;; k++) {
		double part = plain ? 0 : k / (m->theta + k);

		if (!plain)
			add_term(&tail, m, k, rise_t, rise_tt, w);
		else
			tail.sum += w;
		/* p(k+1) / p(k) */
		double ratio = (m->mu * m->kept + k * m->share) / (k + 1);

		if (ratio < 1 && w * (1 + k * k) < 1e-17 * (1 - ratio) *
		                                       tail.sum)
			return tail;
		w *= ratio;
		rise_t -= part;
		rise_tt += part * (1 - part);
	}
}

/* Counts y - 1, y - 2, ..., 0. */
static struct tail lower_tail(const pd_count_table *t, const struct mean *m,
                              size_t y)
{
	struct tail tail = { 0, 0, 0 };
	double w = 1;

	for (size_t k = y; k-- > 0;) {
		double below = (double)k - 1;

		if (isinf(m->theta))
			tail.sum += w;
		else
			add_term(&tail, m, (double)k, t->rise_t[k],
			         t->rise_tt[k], w);
		w *= (double)k / (m->mu * m->kept + below * m->share);
	}
	return tail;
}

/* What 1 less a lower tail may leave before the upper one is summed: the more
 * of it is lost to rounding the shorter that is. */
static double least_left(double kept)
{
	return kept < ENDLESS ? 1e-10 : kept < 0.01 ? 0.01 :
	       kept < 0.05 ? 0.1 : 0.2;
}

/* ln P(Y >= y), y > 0, its slope in e and those in t, by summing a tail;
 * `whole` = ln p(y). */
static void sum_tail(const pd_count_table *t, const struct mean *m, size_t y,
                     double e, double whole, pd_cut_value *s)
{
	double k = (double)y;
	struct tail tail;

	if (k <= m->mu || k * m->kept < 4) {
		double first = exp(value_at(t, m, y - 1, e)), p;

		tail = lower_tail(t, m, y);
		p = 1 - first * tail.sum;
		if (p > least_left(m->kept)) {
			s->l = log1p(-first * tail.sum);
			s->h = k * exp(whole) / p;
			s->t = -first * tail.t / p;
			s->tt = -first * tail.tt / p - s->t * s->t;
			return;
		}
	}
	if (m->kept < ENDLESS) {
		s->l = s->h = s->t = s->tt = NAN; /* the search turns back */
		return;
	}
	tail = upper_tail(t, m, y);
	s->l = whole + log(tail.sum);
	s->h = k / tail.sum;
	s->t = tail.t / tail.sum;
	s->tt = tail.tt / tail.sum - s->t * s->t;
}

/* A series at a place, from the value there or, NULL, from a tail. */
static void make_series(const pd_count_table *t, const pd_cut *c,
                        double place, const pd_cut_value *value,
                        pd_cut_node *node)
{
	double e = place * c->step;
	struct mean m = at_mean(t, e);
	size_t y = (size_t)c->y;
	pd_count_slopes at;
	pd_cut_start from = { .y = c->y, .mu = m.mu, .kept = m.kept,
	                      .share = m.share };

	whole_row(t, &m, y, e, &at);
	from.e = at.e;
	from.t = at.t;
	from.tt = at.tt;
	if (value)
		from.sum = *value;
	else
		sum_tail(t, &m, y, e, at.l, &from.sum);
	pd_cut_make(c, place, &from, node);
}

/* The lowest place from which series go up; INFINITY: none below ln y. */
static void find_base(const pd_count_table *t, pd_cut *c)
{
	double end = log(c->y) / c->step;

	for (double at = pd_cut_lowest(c); at <= end; at++) {
		pd_cut_node *node = pd_cut_node_of(c, at);

		make_series(t, c, at, NULL, node);
		if (node->fit) {
			c->base = c->top = at;
			return;
		}
	}
	c->base = c->top = INFINITY;
}

/* From the highest place known on up to one, or to a steep one before it, each
 * in two halves. */
static void go_up(const pd_count_table *t, pd_cut *c, double place)
{
	while (c->top < place) {
		const pd_cut_node *from = pd_cut_node_of(c, c->top);
		pd_cut_node half;
		pd_cut_value v;

		if (from->steep)
			return;
		pd_cut_at(c, from, (c->top + 0.5) * c->step, &v);
		make_series(t, c, c->top + 0.5, &v, &half);
		c->top++;
		pd_cut_at(c, &half, c->top * c->step, &v);
		make_series(t, c, c->top, &v, pd_cut_node_of(c, c->top));
	}
}

/* The same by the series kept nearby, where there is one. */
static void at_least_value(const pd_count_table *t, const struct mean *m,
                           size_t y, double e, double whole, pd_cut_value *s)
{
	pd_cut *c = t->cut ? t->cut[y] : NULL;
	pd_cut_node *node = NULL;
	double place;

	if (c && isnan(c->base))
		find_base(t, c);
	if (c)
		node = pd_cut_near(c, e, &place);
	if (node && place > c->top)
		go_up(t, c, place);
	if (node && node->turn != c->turn)
		make_series(t, c, place, NULL, node);
	if (!node || !pd_cut_at(c, node, e, s))
		sum_tail(t, m, y, e, whole, s);
}

static void cut_row(const pd_count_table *t, const struct mean *m, size_t y,
                    double e, pd_count_slopes *s)
{
	pd_count_slopes at;
	pd_cut_value sum;
	double h, h_t, q, q_e, q_t;

	if (!y) {
		*s = (pd_count_slopes){ 0 };
		return;
	}
	whole_row(t, m, y, e, &at);
	at_least_value(t, m, y, e, at.l, &sum);
	s->l = sum.l;
	s->t = sum.t;
	s->tt = sum.tt;
	h = sum.h;
	q = at.e - h;
	q_e = at.ee - h * q;
	h_t = h * (at.t - s->t);
	q_t = at.et - h_t;
	s->e = h;
	s->ee = h * q;
	s->eee = h * (q * q + q_e);
	s->et = h_t;
	s->eet = h_t * q + h * q_t;
}

void pd_count_row(const pd_count_table *t, size_t y, int at_least, double e,
                  pd_count_slopes *out)
{
	struct mean m = at_mean(t, e);

	if (!isfinite(m.mu)) /* too far out: the search turns back */
		*out = (pd_count_slopes){ NAN, NAN, NAN, NAN, NAN, NAN, NAN,
		                          NAN };
	else if (at_least)
		cut_row(t, &m, y, e, out);
	else
		whole_row(t, &m, y, e, out);
}

pd_status pd_count_whole(const double *y, size_t n, size_t *whole,
                         size_t *most, pd_error *err)
{
	*most = 0;
	for (size_t i = 0; i < n; i++) {
		if (!(y[i] >= 0 && y[i] <= PD_COUNT_MOST) ||
		    y[i] != floor(y[i]))
			return pd_fail(err, PD_DATA, "row %zu: %g is not a "
			               "count, expected a whole number from 0 "
			               "to %d", i + 1, y[i], PD_COUNT_MOST);
		whole[i] = (size_t)y[i];
		if (whole[i] > *most)
			*most = whole[i];
	}
	return PD_OK;
}
