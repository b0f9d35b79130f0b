/*
 * watch_dishes.c - do dishes of one sample agree, by method version and
 * quarter? (docs/methods/dispersion.md)
 */
#include "base/scan.h"
#include "data/query.h"
#include "plan/watch_own.h"
#include "stats/counts.h"
#include "stats/dish_spread.h"
#include "stats/quantile.h"

#include <math.h>
#include <string.h>

static const double FAILS = 0.001; /* as the finding dish-dispersion        */

struct tally {
	pd_arena *arena;
	pd_dish_watch *a;
	size_t room;
	pd_dish_spread quarter, version, all;
	const char *version_name, *quarter_name; /* being filled              */
	int32_t key;             /* of the quarter                             */
};

static void settle(pd_dish_quarter *r, const pd_dish_spread *s, double level)
{
	double n = (double)s->n_samples, k = (double)s->n_failing;

	r->n_samples = s->n_samples;
	r->n_dishes = s->n_dishes;
	r->n_failing = s->n_failing;
	r->cv = 100 * pd_dish_spread_cv(s);
	r->share = 100 * k / n;
	pd_binomial_limits(k, n, level, &r->low, &r->high);
	r->low *= 100;
	r->high *= 100;
}

static pd_status add_row(struct tally *t, const char *quarter,
                         const pd_dish_spread *s, pd_error *err)
{
	pd_dish_watch *a = t->a;

	if (a->n == t->room) {
		size_t room = t->room ? 2 * t->room : 64;
		pd_dish_quarter *more = PD_NEW(t->arena, pd_dish_quarter, room);

		if (!more)
			return no_memory(err);
		if (a->n)
			memcpy(more, a->row, a->n * sizeof *more);
		a->row = more;
		t->room = room;
	}
	a->row[a->n] = (pd_dish_quarter){ .version = t->version_name,
		                          .quarter = quarter };
	settle(&a->row[a->n++], s, a->level);
	return PD_OK;
}

static void join(pd_dish_spread *all, const pd_dish_spread *one)
{
	all->n_samples += one->n_samples;
	all->n_dishes += one->n_dishes;
	all->n_failing += one->n_failing;
	all->beyond += one->beyond;
	all->square += one->square;
}

static pd_status end_quarter(struct tally *t, pd_error *err)
{
	pd_status st = t->quarter.n_samples
	    ? add_row(t, t->quarter_name, &t->quarter, err) : PD_OK;

	join(&t->version, &t->quarter);
	t->a->n_single += t->quarter.n_single;
	t->a->n_empty += t->quarter.n_empty;
	t->quarter = (pd_dish_spread){ 0 };
	return st;
}

static pd_status end_version(struct tally *t, pd_error *err)
{
	pd_status st = end_quarter(t, err);

	if (st == PD_OK && t->version.n_samples) {
		st = add_row(t, NULL, &t->version, err);
		t->a->n_versions++;
	}
	join(&t->all, &t->version);
	t->version = (pd_dish_spread){ 0 };
	return st;
}

/* Quarters since the year 0; INT32_MIN without a date. */
static int32_t key_of(int32_t day)
{
	int year, month, date;

	if (day == INT32_MIN)
		return day;
	pd_date_of(day, &year, &month, &date);
	return 4 * year + (month - 1) / 3;
}

static pd_status begin(struct tally *t, const pd_query_culture *c,
                       int32_t key, pd_error *err)
{
	if (!t->version_name || strcmp(t->version_name, c->version) != 0)
		t->version_name = pd_arena_copy(t->arena, c->version);
	t->key = key;
	t->quarter_name = key == INT32_MIN
	    ? "no date"
	    : pd_arena_print(t->arena, "%d Q%d", key / 4, key % 4 + 1);
	return t->version_name && t->quarter_name ? PD_OK : no_memory(err);
}

static pd_status see(void *user, const pd_query_culture *c, pd_error *err)
{
	struct tally *t = user;
	int32_t key = key_of(c->day);
	pd_status st = PD_OK;
	bool other = !t->version_name ||
	             strcmp(t->version_name, c->version) != 0;

	if (other)
		st = end_version(t, err);
	else if (key != t->key)
		st = end_quarter(t, err);
	if (st == PD_OK && (other || key != t->key))
		st = begin(t, c, key, err);
	if (st != PD_OK)
		return st;
	t->a->n_cut += c->n_cut;
	pd_dish_spread_add(&t->quarter, c->count, c->n, FAILS);
	return PD_OK;
}

/* Quarters with more failing than the others have: Fisher's exact test, one
 * side, shared out over all quarters (Bonferroni). */
static void find_standing_out(pd_dish_watch *a)
{
	for (size_t k = 0; k < a->n; k++)
		a->n_quarters += a->row[k].quarter != NULL;
	for (size_t k = 0; k < a->n; k++) {
		pd_dish_quarter *r = &a->row[k];

		r->stands_out = r->quarter &&
		    pd_hypergeometric_upper((double)r->n_failing,
		                            (double)r->n_samples,
		                            (double)a->n_failing,
		                            (double)a->n_samples) <
		        (1 - a->level) / (double)a->n_quarters;
	}
}

pd_status pd_watch_dishes(pd_store *s, pd_arena *arena, double level,
                          const pd_dish_watch **out, pd_error *err)
{
	pd_dish_watch *a = PD_NEW(arena, pd_dish_watch, 1);
	struct tally t = { .arena = arena, .a = a };
	pd_status st;

	*out = NULL;
	if (!a)
		return no_memory(err);
	*a = (pd_dish_watch){ .level = level, .at = FAILS };
	st = pd_query_cultures(s, see, &t, err);
	if (st == PD_OK)
		st = end_version(&t, err);
	if (st != PD_OK)
		return st;
	a->n_samples = t.all.n_samples;
	a->n_failing = t.all.n_failing;
	a->cv = 100 * pd_dish_spread_cv(&t.all);
	find_standing_out(a);
	a->share = 100 * (double)a->n_failing / (double)a->n_samples;
	pd_binomial_limits((double)a->n_failing, (double)a->n_samples, level,
	                   &a->low, &a->high);
	a->low *= 100;
	a->high *= 100;
	*out = a;
	return PD_OK;
}
