/*
 * expect_cells.c - the map: every number of sites with every mL a site, as a
 * layout of pulls on one or two sides, and what a case of it yields.
 *
 * Sites go to the sides by turns, so that a side holds half of them; the mL of
 * a site is drawn in equal pulls. The same side, site and pull meet the same
 * random numbers in every cell (stats/total.h), so that neighbours differ by
 * what is changed and not by chance.
 */
#include "plan/expect_own.h"

#include <math.h>
#include <string.h>

enum { DRAWS = 20000, OUTER = 400, INNER = 1500 };

/* The rows of the law, and the cells drawn with them. */
struct map {
	struct pd_expect_work *w;
	size_t n_rows, room;
	double *x;               /* room * p                                   */
	struct { size_t order, pull; double ml; } *key;
	size_t n_cells;
	pd_expect_cell **cell;
	pd_total_layout *layout;
};

/* Row of a pull, made when it is the first of its kind. */
static size_t row_of(struct map *m, size_t order, size_t pull, double ml)
{
	for (size_t i = 0; i < m->n_rows; i++)
		if (m->key[i].order == order && m->key[i].pull == pull &&
		    !(m->key[i].ml < ml) && !(m->key[i].ml > ml))
			return i;
	m->key[m->n_rows].order = order;
	m->key[m->n_rows].pull = pull;
	m->key[m->n_rows].ml = ml;
	pd_expect_row(m->w, order, pull, ml, m->x + m->n_rows * m->w->design.p);
	return m->n_rows++;
}

/* Sides that `sites` sites are on; site i (from 0) is number order_of. */
static size_t sides_of(const pd_expect_answer *a, size_t sites)
{
	return a->sides < sites ? a->sides : sites;
}

static pd_status lay_out(struct map *m, pd_expect_cell *c, pd_error *err)
{
	const pd_expect_answer *a = m->w->a;
	size_t sides = sides_of(a, c->sites), k = 0;
	double ml = c->site_ml / (double)a->pulls;
	pd_total_pull *p = PD_NEW(m->w->scratch, pd_total_pull,
	                          c->sites * a->pulls + 1);

	if (!p)
		return no_memory(err);
	for (size_t i = 0; i < c->sites; i++)
		for (size_t j = 0; j < a->pulls; j++, k++) {
			size_t order = i / sides, side = i % sides;

			p[k].row = row_of(m, order + 1, j + 1, ml);
			p[k].side = side;
			p[k].site = 2 * order + side;
			p[k].slot = p[k].site * a->pulls + j;
		}
	m->layout[m->n_cells] = (pd_total_layout){ k, p };
	m->cell[m->n_cells++] = c;
	return PD_OK;
}

/* Mean of a case of so many sites; NaN where it was not seen. */
static double mean_of(struct map *m, size_t sites, double site_ml,
                      pd_status *st, pd_error *err)
{
	struct pd_expect_work *w = m->w;
	pd_expect_cell c = { .sites = sites, .site_ml = site_ml,
		             .total_ml = (double)sites * site_ml };
	pd_arena_mark mark = pd_arena_here(w->scratch);
	double mean = NAN;

	*st = pd_expect_cell_seen(w, &c, err);
	if (*st == PD_OK && !c.refused) {
		size_t n = m->n_cells;

		*st = lay_out(m, &c, err);
		if (*st == PD_OK) {
			w->law.x = m->x;
			w->law.n_rows = m->n_rows;
			mean = pd_total_mean(&w->law, &m->layout[n]);
			m->n_cells = n;
		}
	}
	pd_arena_rewind(w->scratch, mark);
	return mean;
}

static pd_status take_means(struct map *m, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < m->n_cells; k++) {
		pd_expect_cell *c = m->cell[k];

		c->mean = pd_total_mean(&m->w->law, &m->layout[k]);
		c->next_site = mean_of(m, c->sites + 1, c->site_ml, &st, err) -
		               c->mean;
		if (st == PD_OK)
			c->next_ml = mean_of(m, c->sites, c->site_ml + 1, &st,
			                     err) - c->mean;
	}
	return st;
}

static double limit(struct map *m, const double *t, size_t n, double q)
{
	double se, at = pd_total_quantile(t, n, q, &se);

	m->w->a->limit_se = fmax(m->w->a->limit_se, se / at);
	return at;
}

static void read_cell(struct map *m, pd_expect_cell *c, double *t, size_t n)
{
	pd_expect_answer *a = m->w->a;
	size_t reach = 0;

	for (size_t r = 0; r < n; r++)
		reach += t[r] >= a->target;
	pd_total_sort(t, n);
	c->median = limit(m, t, n, 0.5);
	c->low_80 = limit(m, t, n, 0.1);
	c->high_80 = limit(m, t, n, 0.9);
	c->low = limit(m, t, n, (1 - a->level) / 2);
	c->high = limit(m, t, n, (1 + a->level) / 2);
	if (isnan(a->target))
		return;
	c->chance = (double)reach / (double)n;
	a->chance_se = fmax(a->chance_se, sqrt(c->chance * (1 - c->chance) /
	                                       (double)n));
}

/* Limits of the chances, moved by what the inner cases miss of the chance
 * itself, which far more draws gave. */
static pd_status take_chances(struct map *m, pd_error *err)
{
	struct pd_expect_work *w = m->w;
	pd_total_share *s = PD_NEW(w->scratch, pd_total_share, m->n_cells + 1);

	if (isnan(w->a->target))
		return PD_OK;
	if (!s)
		return no_memory(err);
	pd_status st = pd_total_chance(&w->law, m->layout, m->n_cells,
	                               w->a->target, OUTER, INNER,
	                               w->plan->seed, w->a->level, s, err);

	for (size_t k = 0; st == PD_OK && k < m->n_cells; k++) {
		pd_expect_cell *c = m->cell[k];
		double off = c->chance - s[k].mean;

		c->chance_low = fmin(fmax(s[k].low + off, 0), c->chance);
		c->chance_high = fmax(fmin(s[k].high + off, 1), c->chance);
	}
	return st;
}

static pd_status draw(struct map *m, pd_error *err)
{
	struct pd_expect_work *w = m->w;
	size_t n = w->ask->draws ? w->ask->draws : DRAWS;
	double *t = PD_NEW(w->scratch, double, m->n_cells * n + 1);

	if (!t)
		return no_memory(err);
	w->a->draws = n;
	w->law.x = m->x;
	w->law.n_rows = m->n_rows;
	pd_status st = pd_total_draw(&w->law, m->layout, m->n_cells, n,
	                             w->plan->seed, t, err);

	for (size_t k = 0; st == PD_OK && k < m->n_cells; k++)
		read_cell(m, m->cell[k], t + k * n, n);
	if (st == PD_OK)
		st = take_chances(m, err);
	return st == PD_OK ? take_means(m, err) : st;
}

static pd_status add_cell(struct map *m, pd_expect_cell *c, size_t sites,
                          double site_ml, pd_error *err)
{
	*c = (pd_expect_cell){ .sites = sites, .site_ml = site_ml,
		               .total_ml = (double)sites * site_ml,
		               .mean = NAN, .median = NAN, .low_80 = NAN,
		               .high_80 = NAN, .low = NAN, .high = NAN,
		               .chance = NAN, .chance_low = NAN,
		               .chance_high = NAN, .next_site = NAN,
		               .next_ml = NAN };
	pd_status st = pd_expect_cell_seen(m->w, c, err);

	return st == PD_OK && !c->refused ? lay_out(m, c, err) : st;
}

static pd_status make(struct map *m, pd_error *err)
{
	struct pd_expect_work *w = m->w;
	const pd_expect_answer *a = w->a;
	size_t cells = a->n_across * a->n_down + a->n_across + 1;

	/* every cell's own pulls, and those of its two neighbours */
	m->room = 3 * cells * (PD_EXPECT_SITES + 1) * a->pulls;
	m->x = PD_NEW(w->scratch, double, m->room * w->design.p);
	m->key = pd_arena_alloc(w->scratch, m->room, sizeof *m->key);
	m->cell = PD_NEW(w->scratch, pd_expect_cell *, cells);
	m->layout = PD_NEW(w->scratch, pd_total_layout, cells);
	return m->x && m->key && m->cell && m->layout ? PD_OK : no_memory(err);
}

static const char *nothing_seen(struct pd_expect_work *w)
{
	const pd_expect_answer *a = w->a;

	return pd_arena_print(w->arena, "none of these numbers of sites and mL "
	                      "was seen; the first: %s",
	                      a->n_shared ? a->shared[0].refused
	                                  : a->cell[0].refused);
}

pd_status pd_expect_cells(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;
	struct map m = { .w = w };
	pd_status st = make(&m, err);

	for (size_t j = 0; st == PD_OK && j < a->n_down; j++)
		for (size_t i = 0; st == PD_OK && i < a->n_across; i++)
			st = add_cell(&m, &a->cell[j * a->n_across + i],
			              a->across[i], a->down[j], err);
	for (size_t i = 0; st == PD_OK && !isnan(a->given_ml) &&
	                   i < a->n_across; i++)
		st = add_cell(&m, &a->shared[a->n_shared++], a->across[i],
		              a->given_ml / (double)a->across[i], err);
	if (st != PD_OK)
		return st;
	if (m.n_cells)
		return draw(&m, err);
	a->refusal = nothing_seen(w);
	return a->refusal ? PD_OK : no_memory(err);
}
