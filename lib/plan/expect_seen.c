/*
 * expect_seen.c - what the clinic has seen: who, how many sites, how deep on a
 * side, how many pulls, of how many mL. A thing counts as seen when at least
 * PD_EXPECT_LEAST patients had it, or had more of it and others less.
 */
#include "plan/expect_own.h"

#include <math.h>
#include <string.h>

/* --- cases out of rows --------------------------------------------------- */

/* The first row of every pull: several method versions may have counted it. */
static pd_status take_leads(struct pd_expect_work *w, pd_error *err)
{
	const pd_rows *r = &w->rows;
	size_t pulls = r->n_groups[4];
	unsigned char *seen = PD_NEW(w->scratch, unsigned char, pulls + 1);

	w->lead = PD_NEW(w->scratch, size_t, r->n + 1);
	if (!seen || !w->lead)
		return no_memory(err);
	for (size_t i = 0; i < r->n; i++)
		if (!seen[r->group[4][i]]) {
			seen[r->group[4][i]] = 1;
			w->lead[w->n_lead++] = i;
		}
	return PD_OK;
}

static void add_pull(const struct pd_expect_work *w, struct pd_expect_case *c,
                     size_t k)
{
	const pd_rows *r = &w->rows;
	size_t i = w->lead[k], before = c->n ? w->lead[k - 1] : 0;

	c->sides += !c->n || r->group[2][i] != r->group[2][before];
	c->sites += !c->n || r->group[3][i] != r->group[3][before];
	c->ml += w->ml[i];
	if ((size_t)w->order[i] > c->deepest)
		c->deepest = (size_t)w->order[i];
	c->n++;
}

/* Rows come in key order, so those of a case stand together. */
static pd_status take_cases(struct pd_expect_work *w, pd_error *err)
{
	const pd_rows *r = &w->rows;
	struct pd_expect_case *c = NULL;

	w->by_case = PD_NEW(w->scratch, struct pd_expect_case, w->n_lead + 1);
	if (!w->by_case)
		return no_memory(err);
	for (size_t k = 0; k < w->n_lead; k++) {
		size_t i = w->lead[k];

		if (k == 0 || r->case_code[i] != r->case_code[w->lead[k - 1]]) {
			c = &w->by_case[w->n_cases++];
			c->patient = r->group[0][i];
			c->first = k;
			c->recorded_ml = w->recorded_ml[i];
		}
		add_pull(w, c, k);
	}
	return PD_OK;
}

/* --- counting patients --------------------------------------------------- */

struct want {
	size_t sites, sides, deepest; /* a case with as many of each          */
	size_t pull;             /* 0: none; a pull of that number ...         */
	double low, high;        /* ... of so many mL; without a pull: mL a
	                            site, the case's mean                      */
};

static int meets(const struct pd_expect_work *w, const struct pd_expect_case *c,
                 const struct want *v)
{
	if (c->sites < v->sites || c->sides < v->sides ||
	    c->deepest < v->deepest)
		return 0;
	if (!v->pull) {
		double ml = c->ml / (double)c->sites;

		return ml >= v->low && ml <= v->high;
	}
	for (size_t k = c->first; k < c->first + c->n; k++) {
		size_t i = w->lead[k];

		if ((size_t)w->pull[i] == v->pull && w->ml[i] >= v->low &&
		    w->ml[i] <= v->high)
			return 1;
	}
	return 0;
}

/* Cases of a patient stand together. */
static size_t patients(const struct pd_expect_work *w, const struct want *v)
{
	size_t n = 0;
	int32_t last = -1;

	for (size_t k = 0; k < w->n_cases; k++) {
		const struct pd_expect_case *c = &w->by_case[k];

		if (c->patient != last && meets(w, c, v)) {
			last = c->patient;
			n++;
		}
	}
	return n;
}

/* Largest number, from 1 up, that enough patients reached. */
static size_t reached(const struct pd_expect_work *w, bool pulls)
{
	size_t top = 1;

	for (;; top++) {
		struct want v = { .low = -INFINITY, .high = INFINITY };

		if (pulls)
			v.pull = top + 1;
		else
			v.deepest = top + 1;
		if (patients(w, &v) < PD_EXPECT_LEAST)
			return top;
	}
}

pd_status pd_expect_see(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;
	pd_status st = take_leads(w, err);

	if (st == PD_OK)
		st = take_cases(w, err);
	if (st != PD_OK)
		return st;
	w->top_order = reached(w, false);
	w->top_pull = reached(w, true);
	a->n_patients = w->rows.n_groups[0];
	a->n_cases = w->n_cases;
	a->n_sites = w->rows.n_groups[3];
	a->n_pulls = w->n_lead;
	a->least = PD_EXPECT_LEAST;
	return PD_OK;
}

/* --- what is usual ------------------------------------------------------- */

/* Number of pulls and mL of every site, in order of rows. */
struct site_use {
	size_t pulls;
	double ml;
};

static size_t site_uses(const struct pd_expect_work *w, struct site_use *use)
{
	size_t n = 0;

	for (size_t k = 0; k < w->n_lead; k++) {
		size_t i = w->lead[k];

		if (k == 0 ||
		    w->rows.group[3][i] != w->rows.group[3][w->lead[k - 1]])
			use[n++] = (struct site_use){ 0, 0 };
		use[n - 1].pulls++;
		use[n - 1].ml += w->ml[i];
	}
	return n;
}

static size_t usual_pulls(const struct pd_expect_work *w,
                          const struct site_use *use, size_t n)
{
	size_t best = 1, most = 0;

	for (size_t k = 1; k <= w->top_pull; k++) {
		size_t count = 0;

		for (size_t i = 0; i < n; i++)
			count += use[i].pulls == k;
		if (count > most) {
			most = count;
			best = k;
		}
	}
	return best;
}

static size_t usual_sides(const struct pd_expect_work *w)
{
	size_t one = 0, two = 0;

	for (size_t k = 0; k < w->n_cases; k++) {
		if (w->by_case[k].sites < 2)
			continue;
		one += w->by_case[k].sides < 2;
		two += w->by_case[k].sides >= 2;
	}
	return two > one ? 2 : 1;
}

static struct want of_sites(const struct pd_expect_answer *a, size_t sites)
{
	size_t sides = a->sides < sites ? a->sides : sites;

	return (struct want){ .sites = sites, .sides = sides,
		              .deepest = (sites + sides - 1) / sides,
		              .low = -INFINITY, .high = INFINITY };
}

static void usual_sites(struct pd_expect_work *w)
{
	pd_expect_answer *a = w->a;

	for (size_t s = 1; s <= 8; s++) {
		struct want v = of_sites(a, s);

		if (s > 1 && patients(w, &v) < PD_EXPECT_LEAST)
			return;
		a->across[a->n_across++] = s;
	}
}

static double to_step(double x)
{
	return x < 5 ? fmax(floor(2 * x + 0.5) / 2, 0.5) : floor(x + 0.5);
}

/* Deciles 1, 3, 5, 7, 9 of what was drawn at sites of so many pulls. */
static pd_status usual_ml(struct pd_expect_work *w, const struct site_use *use,
                          size_t n, pd_error *err)
{
	pd_expect_answer *a = w->a;
	double *ml = PD_NEW(w->scratch, double, n + 1);
	size_t m = 0;

	if (!ml)
		return no_memory(err);
	for (size_t i = 0; i < n; i++)
		if (use[i].pulls == a->pulls)
			ml[m++] = use[i].ml;
	pd_total_sort(ml, m);
	for (int q = 1; m && q <= 9; q += 2) {
		double at = to_step(pd_total_quantile(ml, m, q / 10.0, NULL));

		if (at > (double)a->pulls * a->syringe_ml)
			break;
		if (!a->n_down || at > a->down[a->n_down - 1])
			a->down[a->n_down++] = at;
	}
	if (!a->n_down)
		a->down[a->n_down++] = to_step(w->ml[w->lead[0]]);
	return PD_OK;
}

pd_status pd_expect_usual(struct pd_expect_work *w, pd_error *err)
{
	const pd_expect_request *ask = w->ask;
	pd_expect_answer *a = w->a;
	struct site_use *use = PD_NEW(w->scratch, struct site_use,
	                              w->n_lead + 1);

	if (!use)
		return no_memory(err);
	size_t n = site_uses(w, use);

	a->pulls = ask->pulls ? ask->pulls : usual_pulls(w, use, n);
	a->sides = ask->sides ? ask->sides : usual_sides(w);
	a->n_across = ask->n_sites;
	memcpy(a->across, ask->sites, sizeof a->across);
	if (!ask->n_sites)
		usual_sites(w);
	a->n_down = ask->n_ml;
	memcpy(a->down, ask->ml, sizeof a->down);
	return ask->n_ml ? PD_OK : usual_ml(w, use, n, err);
}

/* --- refusals ------------------------------------------------------------ */

static pd_status words(struct pd_expect_work *w, const char **to,
                       const char *made, pd_error *err)
{
	(void)w;
	*to = made;
	return made ? PD_OK : no_memory(err);
}

/* Patients of that sex; and as young, as old or beyond. */
struct who {
	size_t alike, younger, older;
};

static struct who who(const struct pd_expect_work *w)
{
	struct who n = { 0, 0, 0 };
	int32_t alike = -1, younger = -1, older = -1;

	for (size_t k = 0; k < w->n_cases; k++) {
		const struct pd_expect_case *c = &w->by_case[k];
		size_t i = w->lead[c->first];
		double age = w->age[i];

		if (c->patient != alike &&
		    strcmp(w->sex->level[w->sex->code[i]], w->a->sex) == 0) {
			alike = c->patient;
			n.alike++;
		}
		if (c->patient != younger && age <= w->a->age) {
			younger = c->patient;
			n.younger++;
		}
		if (c->patient != older && age >= w->a->age) {
			older = c->patient;
			n.older++;
		}
	}
	return n;
}

pd_status pd_expect_patient(struct pd_expect_work *w, const char **why,
                            pd_error *err)
{
	const pd_expect_answer *a = w->a;
	struct who n = who(w);

	*why = NULL;
	if (n.alike < PD_EXPECT_LEAST)
		return words(w, why, pd_arena_print(
		    w->arena, "sex '%s' was not seen: %zu such patient%s among "
		    "these draws, at least %d are needed", a->sex, n.alike,
		    n.alike == 1 ? "" : "s", PD_EXPECT_LEAST), err);
	if (n.younger < PD_EXPECT_LEAST)
		return words(w, why, pd_arena_print(
		    w->arena, "age %g was not seen: %zu patient%s of that age "
		    "or younger among these draws, at least %d are needed",
		    a->age, n.younger, n.younger == 1 ? "" : "s",
		    PD_EXPECT_LEAST), err);
	if (n.older < PD_EXPECT_LEAST)
		return words(w, why, pd_arena_print(
		    w->arena, "age %g was not seen: %zu patient%s of that age "
		    "or older among these draws, at least %d are needed",
		    a->age, n.older, n.older == 1 ? "" : "s",
		    PD_EXPECT_LEAST), err);
	return PD_OK;
}

/* Is pull number k of v mL between what was seen? Volumes are read off a
 * syringe: half a per cent is the same. */
static pd_status pull_seen(struct pd_expect_work *w, size_t k, double v,
                           const char **why, pd_error *err)
{
	struct want more = { .pull = k, .low = v * 0.995, .high = INFINITY };
	struct want less = { .pull = k, .low = -INFINITY, .high = v * 1.005 };

	if (v > w->a->syringe_ml * 1.005)
		return words(w, why, pd_arena_print(
		    w->arena, "a pull of %.3g mL does not fit a %g mL syringe",
		    v, w->a->syringe_ml), err);
	if (k > w->top_pull)
		return words(w, why, pd_arena_print(
		    w->arena, "fewer than %d patients had %zu pulls at a site",
		    PD_EXPECT_LEAST, k), err);
	if (patients(w, &more) < PD_EXPECT_LEAST)
		return words(w, why, pd_arena_print(
		    w->arena, "fewer than %d patients had a pull %zu of %.3g mL "
		    "or more", PD_EXPECT_LEAST, k, v), err);
	if (patients(w, &less) < PD_EXPECT_LEAST)
		return words(w, why, pd_arena_print(
		    w->arena, "fewer than %d patients had a pull %zu of %.3g mL "
		    "or less", PD_EXPECT_LEAST, k, v), err);
	return PD_OK;
}

/* So many sites of so many mL, together. */
static pd_status sites_seen(struct pd_expect_work *w, pd_expect_cell *c,
                            pd_error *err)
{
	const pd_expect_answer *a = w->a;
	struct want v = of_sites(a, c->sites), more = v, less = v;
	const char *of = a->sides < 2      ? " on one side"
	                 : c->sites < 2    ? ""
	                                   : " on two sides";
	const char *s = c->sites == 1 ? "" : "s";

	more.low = c->site_ml * 0.995;
	less.high = c->site_ml * 1.005;
	c->n_alike = patients(w, &more);
	if (patients(w, &v) < PD_EXPECT_LEAST)
		return words(w, &c->refused, pd_arena_print(
		    w->arena, "fewer than %d patients had %zu site%s or more%s",
		    PD_EXPECT_LEAST, c->sites, s, of), err);
	if (c->n_alike < PD_EXPECT_LEAST)
		return words(w, &c->refused, pd_arena_print(
		    w->arena, "fewer than %d patients had %zu site%s or more%s "
		    "of %.3g mL or more on average", PD_EXPECT_LEAST, c->sites,
		    s, of, c->site_ml), err);
	if (patients(w, &less) < PD_EXPECT_LEAST)
		return words(w, &c->refused, pd_arena_print(
		    w->arena, "fewer than %d patients had %zu site%s or more%s "
		    "of %.3g mL or less on average", PD_EXPECT_LEAST, c->sites,
		    s, of, c->site_ml), err);
	return PD_OK;
}

pd_status pd_expect_cell_seen(struct pd_expect_work *w, pd_expect_cell *c,
                              pd_error *err)
{
	const pd_expect_answer *a = w->a;
	pd_status st = sites_seen(w, c, err);

	for (size_t k = 1; st == PD_OK && !c->refused && k <= a->pulls; k++)
		st = pull_seen(w, k, c->site_ml / (double)a->pulls, &c->refused,
		               err);
	if (st != PD_OK || c->refused)
		return st;
	c->over = c->total_ml > a->given_ml * 1.000001;
	return c->over ? words(w, &c->refused, pd_arena_print(
	                     w->arena, "above the %g mL given", a->given_ml),
	                     err)
	               : PD_OK;
}
