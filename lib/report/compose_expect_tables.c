/*
 * compose_expect_tables.c - yields with their intervals, what the next site or
 * mL adds, what was not seen, what the numbers rest on, and how the clinic's
 * own cases came out against them.
 */
#include "report/compose_expect.h"

#include <math.h>
#include <string.h>

static const char *short_words(pd_doc *d, double x)
{
	return pd_say_short(d, x);
}

static const char *between(pd_doc *d, double low, double high)
{
	return isnan(low) ? NULL
	                  : pd_doc_print(d, "%s to %s", pd_expect_yield(d, low),
	                                 pd_expect_yield(d, high));
}

static const char *level_words(pd_doc *d, double level)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_level(&b, level);
	return pd_doc_take(d, &b);
}

/* --- yields -------------------------------------------------------------- */

const char *pd_expect_limits(pd_doc *d, const pd_expect_cell *c)
{
	return pd_doc_print(d, "%zu to %zu", (size_t)(100 * c->chance_low + 0.5),
	                    (size_t)(100 * c->chance_high + 0.5));
}

static void chance_row(pd_doc *d, pd_table *t, const pd_expect_cell *c)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = pd_say_count(d, c->sites);
	cell[1] = short_words(d, c->site_ml);
	cell[2] = short_words(d, c->total_ml);
	cell[3] = pd_expect_of_100(d, c->chance);
	cell[4] = pd_expect_limits(d, c);
}

void pd_expect_chances(pd_doc *d, const pd_expect_answer *a)
{
	const pd_cell_column column[] = {
		{ "Sites", NULL, true },
		{ "mL a site", NULL, true },
		{ "mL in all", NULL, true },
		{ "Of 100 reach it", NULL, true },
		{ pd_doc_print(d, "%s limits of that number",
		               level_words(d, a->level)), NULL, true },
	};
	pd_table *t = pd_doc_table(d, pd_doc_print(
	    d, "How many of 100 would reach %s, and how well that is known",
	    pd_expect_amount(d, a, a->target)), 5, column, NULL);

	for (size_t i = 0; i < a->n_across; i++)
		for (size_t j = 0; j < a->n_down; j++)
			if (!a->cell[j * a->n_across + i].refused)
				chance_row(d, t, &a->cell[j * a->n_across + i]);
	for (size_t i = 0; i < a->n_shared; i++)
		if (!a->shared[i].refused)
			chance_row(d, t, &a->shared[i]);
	pd_doc_table_note(d, t,
	                  "Limits: what the clinic's records leave open about "
	                  "the number itself; with few patients it is hardly "
	                  "known.");
}

static pd_table *yield_table(pd_doc *d, const pd_expect_answer *a,
                             const char *caption)
{
	const char *unit = pd_say_unit(d, a->unit);
	const pd_cell_column column[] = {
		{ "Sites", NULL, true },
		{ "mL a site", NULL, true },
		{ "mL in all", NULL, true },
		{ "Expected (mean)", unit, true },
		{ "Half are above", unit, true },
		{ "80% prediction interval", unit, true },
		{ pd_doc_print(d, "%s prediction interval",
		               level_words(d, a->level)), unit, true },
	};

	return pd_doc_table(d, caption, 7, column, NULL);
}

static void yield_row(pd_doc *d, pd_table *t, const pd_expect_cell *c)
{
	const char **cell = pd_doc_row(d, t, NULL);

	if (!cell)
		return;
	cell[0] = pd_say_count(d, c->sites);
	cell[1] = short_words(d, c->site_ml);
	cell[2] = short_words(d, c->total_ml);
	cell[3] = pd_expect_yield(d, c->mean);
	cell[4] = pd_expect_yield(d, c->median);
	cell[5] = between(d, c->low_80, c->high_80);
	cell[6] = between(d, c->low, c->high);
}

static void drawn_note(pd_doc *d, const pd_expect_answer *a, pd_table *t)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, "From ");
	pd_number_count(&b, a->draws);
	pd_buf_print(&b, " simulated cases of new patients (seed %llu): ",
	             a->context.seed);
	if (!isnan(a->target)) {
		pd_buf_add(&b, "chances are good to ");
		pd_number_short(&b, ceil(1960 * a->chance_se) / 10);
		pd_buf_add(&b, " of 100 and ");
	}
	pd_buf_add(&b, "limits to ");
	pd_number_short(&b, ceil(1960 * a->limit_se) / 10);
	pd_buf_add(&b, "% (1.96 Monte Carlo standard errors, the largest).");
	pd_doc_table_note(d, t, pd_doc_take(d, &b));
}

void pd_expect_yields(pd_doc *d, const pd_expect_answer *a)
{
	pd_table *t = NULL;

	for (size_t i = 0; i < a->n_across; i++)
		for (size_t j = 0; j < a->n_down; j++) {
			const pd_expect_cell *c = &a->cell[j * a->n_across + i];

			if (c->refused)
				continue;
			if (!t)
				t = yield_table(d, a, "Yield of a case of a new "
				                "patient");
			yield_row(d, t, c);
		}
	if (!t)
		return;
	pd_doc_table_note(d, t,
	                  "The intervals are for one new patient: spread "
	                  "between patients, cases, sides, sites and pulls, the "
	                  "laboratory, and what the estimates do not know.");
	drawn_note(d, a, t);
}

void pd_expect_shared(pd_doc *d, const pd_expect_answer *a)
{
	pd_table *t = NULL;

	for (size_t i = 0; i < a->n_shared; i++) {
		const pd_expect_cell *c = &a->shared[i];

		if (c->refused)
			continue;
		if (!t)
			t = yield_table(d, a, pd_doc_print(
			    d, "%s mL in all, shared by more or fewer sites",
			    short_words(d, a->given_ml)));
		yield_row(d, t, c);
	}
	if (t)
		drawn_note(d, a, t);
	else
		pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
		    d, "%s mL shared by these numbers of sites was not seen.",
		    short_words(d, a->given_ml)));
}

/* --- what more adds ------------------------------------------------------ */

/* "1 230 (82 per mL)": what is added, and a mL of it. */
static const char *added(pd_doc *d, double x, double ml)
{
	if (isnan(x))
		return NULL;
	return pd_doc_print(d, "%s (%s a mL)", pd_expect_yield(d, x),
	                    pd_expect_yield(d, x / ml));
}

static void add_row(pd_doc *d, const pd_expect_answer *a, pd_table *t,
                    const pd_expect_cell *c)
{
	const char **cell = pd_doc_row(d, t, NULL);
	size_t k = 0;

	if (!cell)
		return;
	cell[k++] = pd_say_count(d, c->sites);
	cell[k++] = short_words(d, c->site_ml);
	cell[k++] = short_words(d, c->total_ml);
	if (!isnan(a->weight_kg))
		cell[k++] = short_words(d, pd_expect_blood(a, c->total_ml));
	cell[k++] = added(d, c->next_site, c->site_ml);
	cell[k++] = added(d, c->next_ml, (double)c->sites);
	cell[k] = pd_say_count(d, c->n_alike);
}

void pd_expect_adds(pd_doc *d, const pd_expect_answer *a)
{
	const char *unit = pd_say_unit(d, a->unit);
	pd_cell_column column[7] = {
		{ "Sites", NULL, true },
		{ "mL a site", NULL, true },
		{ "mL in all", NULL, true },
	};
	size_t k = 3;
	pd_table *t = NULL;

	if (!isnan(a->weight_kg))
		column[k++] = (pd_cell_column){ "Of the blood", "%",
			                        true };
	column[k++] = (pd_cell_column){ "One more site adds", unit, true };
	column[k++] = (pd_cell_column){ "1 mL more a site adds", unit,
		                        true };
	column[k++] = (pd_cell_column){ "Patients with as much", NULL, true };
	for (size_t i = 0; i < a->n_across; i++)
		for (size_t j = 0; j < a->n_down; j++) {
			const pd_expect_cell *c = &a->cell[j * a->n_across + i];

			if (c->refused)
				continue;
			if (!t)
				t = pd_doc_table(d, "What the next site or the "
				                 "next mL adds, and what is "
				                 "drawn for it", k, column,
				                 "not seen");
			add_row(d, a, t, c);
		}
	if (!t)
		return;
	pd_doc_table_note(d, t,
	                  "Added to the expected yield (the mean over such "
	                  "patients); in brackets what each further mL brings. "
	                  "Where it falls, more drawing brings less. Every site "
	                  "is one more puncture.");
	pd_doc_table_note(d, t,
	                  "Patients with as much: as many sites or more, of as "
	                  "many mL or more on average.");
	if (!isnan(a->weight_kg))
		pd_doc_table_note(
		    d, t, pd_doc_print(d, "Blood volume taken as 70 mL a kg of "
		                       "%s kg: a rule of thumb for adults (common "
		                       "practice, no source), not measured; with "
		                       "obesity there is less, and the share is "
		                       "larger.",
		                       short_words(d, a->weight_kg)));
}

/* --- what was not seen --------------------------------------------------- */

void pd_expect_not_seen(pd_doc *d, const pd_expect_answer *a)
{
	size_t n = a->n_across * a->n_down, all = n + a->n_shared;
	pd_block *list = NULL;

	for (size_t k = 0; k < all; k++) {
		const pd_expect_cell *c = k < n ? &a->cell[k]
		                                : &a->shared[k - n];

		if (!c->refused || c->over)
			continue;
		if (!list) {
			pd_doc_heading(d, 3, NULL, "Not seen, and so not "
			               "foretold");
			list = pd_doc_list(d);
		}
		pd_doc_item(d, list, pd_doc_print(d, "%s: %s.",
		                                  pd_expect_sites(d, c),
		                                  c->refused));
	}
}

/* --- the clinic's own cases ---------------------------------------------- */

static void share_row(pd_doc *d, pd_table *t, const char *name, size_t k,
                      size_t n, double low, double high)
{
	const char **cell = pd_doc_row(d, t, NULL);
	pd_buf b;

	if (!cell)
		return;
	cell[0] = name;
	pd_buf_init(&b);
	pd_number_share(&b, k, n, "cases");
	cell[1] = pd_doc_take(d, &b);
	pd_buf_init(&b);
	pd_number_share_limits(&b, low, high);
	cell[2] = pd_doc_take(d, &b);
}

static const char *off_words(pd_doc *d, const pd_expect_answer *a)
{
	pd_span s = { PD_SPAN_RATIO, exp(a->off.value), exp(a->off.low),
		      exp(a->off.high), 0.95 };
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, "Totals observed were on average ");
	pd_number_span(&b, &s, true);
	pd_buf_add(&b, " times the middle of what was foretold (geometric "
	               "mean); 1 is right.");
	return pd_doc_take(d, &b);
}

void pd_expect_checked(pd_doc *d, const pd_expect_answer *a)
{
	pd_doc_heading(d, 2, "check", "How the clinic's own cases came out");
	if (!a->n_checked) {
		pd_doc_paragraph(d, PD_PLAIN,
		                 "No case has a result of its own for every mL "
		                 "drawn, so the intervals could not be held "
		                 "against whole cases.");
		return;
	}
	pd_doc_paragraph(d, PD_PLAIN, pd_doc_print(
	    d, "%s patients whose every mL has a result of its own (the first "
	    "such case of each) were foretold by the model fitted without them, "
	    "the patients left out %s.%s", pd_say_count(d, a->n_checked),
	    a->parts == a->n_patients
	        ? "one at a time"
	        : pd_doc_print(d, "in %zu parts by turns", a->parts),
	    a->n_unclear ? pd_doc_print(
	                       d, " %zu of them have a result known only "
	                       "between limits and count by the share of that "
	                       "range that lies inside.", a->n_unclear)
	                 : ""));
	const pd_cell_column column[] = {
		{ "Prediction interval", NULL, false },
		{ "Inside it", NULL, true },
		{ "Exact 95% limits", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "The clinic's own cases against the "
	                           "intervals", 3, column, NULL);

	share_row(d, t, "80%", a->n_in_80, a->n_checked, a->in_80_low,
	          a->in_80_high);
	share_row(d, t, level_words(d, a->level), a->n_in, a->n_checked,
	          a->in_low, a->in_high);
	if (!isnan(a->off.value))
		pd_doc_table_note(d, t, off_words(d, a));
}

/* --- what it rests on ---------------------------------------------------- */

static void ratio_row(pd_doc *d, const pd_expect_answer *a, pd_table *t,
                      const char *name, const pd_estimate *e, bool is_log,
                      size_t n)
{
	const char **cell = pd_doc_row(d, t, NULL);
	pd_span s = { PD_SPAN_RATIO, is_log ? exp(e->value) : e->value,
		      is_log ? exp(e->low) : e->low,
		      is_log ? exp(e->high) : e->high, a->level };
	pd_buf b;

	if (!cell)
		return;
	pd_buf_init(&b);
	pd_number_span(&b, &s, false);
	cell[0] = name;
	cell[1] = pd_doc_take(d, &b);
	cell[2] = is_log ? pd_say_p(d, e->p) : NULL;
	cell[3] = pd_say_count(d, n);
}

/* "knots at 41, 55 and 68 years, P of its bend 0.03" */
static const char *curve_words(pd_doc *d, const pd_expect_curve *c,
                               const char *unit, int decimals)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, "knots at ");
	for (size_t k = 0; k < c->k; k++) {
		if (k)
			pd_buf_add(&b, k + 1 < c->k ? ", " : " and ");
		pd_number_fixed(&b, c->knot[k], decimals);
	}
	pd_buf_print(&b, " %s", unit);
	if (!isnan(c->bend_p))
		pd_buf_print(&b, ", P of its bend %s", pd_say_p(d, c->bend_p));
	return pd_doc_take(d, &b);
}

static void effects_table(pd_doc *d, const pd_expect_answer *a)
{
	const pd_cell_column column[] = {
		{ "In the model", NULL, false },
		{ pd_doc_print(d, "Value (%s CI)", level_words(d, a->level)),
		  NULL, true },
		{ "P", NULL, true },
		{ "Patients", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "What the draws say of volume and order", 4,
	                           column, "not asked");

	if (!isnan(a->volume.value))
		ratio_row(d, a, t, "slope of ln yield on ln mL of a pull",
		          &a->volume, false, a->n_patients);
	for (size_t k = 0; k < a->n_orders; k++)
		ratio_row(d, a, t,
		          pd_doc_print(d, "yield of %s against the first, same "
		                       "mL", a->order[k].name),
		          &a->order[k].log_ratio, true,
		          a->order[k].n_patients);
	if (!isnan(a->volume.value))
		pd_doc_table_note(d, t,
		                  "Slope: 1 would be no dilution, 0 that extra "
		                  "mL add nothing.");
	if (a->ml_curve.k)
		pd_doc_table_note(
		    d, t, pd_doc_print(d, "Yields were foretold by a curve of "
		                       "ln mL, not by that one slope: %s.",
		                       curve_words(d, &a->ml_curve, "mL", 1)));
	pd_doc_table_note(
	    d, t, a->age_curve.k
	              ? pd_doc_print(d, "Age is held as a curve: %s.",
	                             curve_words(d, &a->age_curve, "years", 0))
	              : "Age is held as a straight line: for a curve there "
	                "are too few patients or too few ages.");
}

static void spread_table(pd_doc *d, const pd_expect_answer *a)
{
	const pd_cell_column column[] = {
		{ "Spread", NULL, false },
		{ "SD, natural log scale", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "Where the spread of yields comes from", 2,
	                           column, NULL);

	for (size_t k = 0; k < a->n_components; k++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = a->component_name[k];
		cell[1] = short_words(d, a->component_sd[k]);
	}
}

static void flow_table(pd_doc *d, const pd_expect_answer *a)
{
	const pd_cell_column column[] = {
		{ "Step", NULL, false },       { "Results", NULL, true },
		{ "Sites", NULL, true },       { "Cases", NULL, true },
		{ "Patients", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "From recorded to used", 5, column, NULL);

	for (size_t k = 0; k < a->n_flow; k++) {
		const pd_flow *f = &a->flow[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = f->step;
		cell[1] = pd_say_count(d, f->n_rows);
		cell[2] = pd_say_count(d, f->n_sites);
		cell[3] = pd_say_count(d, f->n_cases);
		cell[4] = pd_say_count(d, f->n_patients);
	}
}

void pd_expect_rests(pd_doc *d, const pd_expect_answer *a)
{
	pd_block *list = NULL;

	pd_doc_heading(d, 2, "basis", "What this rests on");
	if (!a->refusal)
		pd_doc_paragraph(
		    d, PD_PLAIN,
		    "Model: ln of the yield of a pull by age, sex, mL of the "
		    "pull, order of the site on its side, order of the pull at "
		    "its site and method version, with random patients, cases, "
		    "sides, sites and pulls. A case is the sum of its pulls. "
		    "Who got how many sites of how many mL was not decided by "
		    "chance: as far as that leaned on what is not recorded, the "
		    "map carries it. Needle, operator and the calendar are held "
		    "equal only where '--adjust' names them.");
	if (a->n_flow)
		flow_table(d, a);
	if (!a->refusal) {
		effects_table(d, a);
		spread_table(d, a);
	}
	for (size_t k = 0; k < a->n_notes; k++) {
		if (!list)
			list = pd_doc_list(d);
		pd_doc_item(d, list, a->note[k]);
	}
}
