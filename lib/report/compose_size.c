/*
 * compose_size.c - how many a fair comparison needs, as a document.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

#include <math.h>

static const char *number(pd_doc *d, double x)
{
	pd_buf b;

	if (isnan(x))
		return NULL;
	pd_buf_init(&b);
	pd_number_count(&b, (size_t)x);
	return pd_doc_take(d, &b);
}

/* A chance in per cent, one decimal, never rounded up to 100. */
static const char *chance(pd_doc *d, double p)
{
	pd_buf b;

	if (isnan(p))
		return NULL;
	pd_buf_init(&b);
	pd_number_fixed(&b, fmin(floor(1000 * p + 0.5) / 10, 99.9), 1);
	return pd_doc_take(d, &b);
}

/* The chance with one fewer is short of the wish, and stays so when rounded. */
static const char *chance_before(pd_doc *d, const pd_size_answer *a, double p)
{
	double most = ceil(1000 * a->power - 1e-9) / 1000;

	return chance(d, p < a->power && floor(1000 * p + 0.5) / 1000 >= most
	                     ? most - 0.001 : p);
}

static const char *truth_words(pd_doc *d, const pd_size_answer *a, double x)
{
	pd_buf b;

	pd_buf_init(&b);
	if (a->scale == PD_RATIO) {
		pd_number_fixed(&b, x, 2);
	} else {
		pd_number_short(&b, x);
		pd_buf_add(&b, fabs(x - 1) > 0 ? " points" : " point");
	}
	return pd_doc_take(d, &b);
}

static const char *aim_words(pd_doc *d, const pd_size_answer *a)
{
	const char *margin = isnan(a->margin)
	                         ? ""
	                         : truth_words(d, a, a->margin);

	switch (a->aim) {
	case PD_AIM_DIFFERENCE:
		return pd_doc_print(d, "to show that %s and %s differ",
		                    a->first, a->second);
	case PD_AIM_NOT_WORSE:
		return pd_doc_print(d, "to exclude that %s is worse than %s "
		                    "by the margin (%s) or more", a->first,
		                    a->second, margin);
	case PD_AIM_SAME:
		break;
	}
	return pd_doc_print(d, "to show that %s and %s do not differ by the "
	                    "margin (%s) either way", a->first, a->second,
	                    margin);
}

static const char *lead(pd_doc *d, const pd_size_answer *a)
{
	const pd_size_line *l = &a->line[a->main_line];

	if (a->refusal)
		return pd_doc_print(d, "Cannot be sized. Why: %s",
		                    pd_say_stop(d, a->refusal));
	if (isnan(l->n))
		return pd_doc_print(d, "No size is enough %s if the truth is "
		                    "%s: %s", aim_words(d, a),
		                    truth_words(d, a, l->truth),
		                    pd_say_stop(d, l->why_none));
	return pd_doc_print(
	    d, "%s %s are needed %s with a chance of %s%% if the truth is %s; "
	    "with one fewer the chance is %s%%.", number(d, l->n),
	    a->unit_words, aim_words(d, a), chance(d, l->power),
	    truth_words(d, a, l->truth),
	    isnan(l->power_before) ? "not defined"
	                           : chance_before(d, a, l->power_before));
}

static void basis(pd_doc *d, const pd_size_answer *a)
{
	pd_block *list = pd_doc_definitions(d);
	pd_span s = { PD_SPAN_MEAN, a->sd, a->sd_low, a->sd_high, a->level };
	pd_buf b;

	pd_doc_define(d, list, "Judged",
	              pd_doc_print(d, "%s: %s", a->outcome_words,
	                           a->judge_words));
	pd_doc_define(d, list, "Aim", pd_say_upper(d, aim_words(d, a)));
	if (a->refusal)
		return;
	pd_buf_init(&b);
	pd_number_level(&b, a->level);
	pd_buf_add(&b, a->aim == PD_AIM_DIFFERENCE
	                   ? ", both directions"
	                   : ", the interval that has to clear the margin");
	pd_doc_define(d, list, "Level of the interval", pd_doc_take(d, &b));
	pd_buf_init(&b);
	pd_number_span(&b, &s, true);
	pd_doc_define(
	    d, list,
	    a->paired ? "SD of a patient's difference"
	              : "SD of a patient's result",
	    pd_doc_print(d, "%s%s; from %s", pd_doc_take(d, &b),
	                 a->scale == PD_RATIO ? " on the natural log scale"
	                                      : " points",
	                 a->sd_words));
	pd_doc_define(d, list, "In the clinic's records already",
	              pd_doc_print(d, "%s patients%s", number(
	                               d, (double)a->n_have),
	                           a->paired ? " with both" : ""));
	if (!isnan(a->per_year))
		pd_doc_define(d, list, "Patients a year with such a draw",
		              pd_doc_print(d, "%s, over the last two years",
		                           pd_say_short(d, a->per_year)));
}

static void size_table(pd_doc *d, const pd_size_answer *a)
{
	const pd_cell_column column[] = {
		{ a->scale == PD_RATIO ? "If the true ratio is"
		                       : "If the true difference is",
		  NULL, false },
		{ "Needed", a->paired ? "pairs" : "in each group", true },
		{ "Chance", "%", true },
		{ "With one fewer", "%", true },
		{ "Averaged over the spread", "%", true },
		{ "Needed for that average", a->paired ? "pairs"
		                                       : "in each group",
		  true },
	};
	pd_table *t = pd_doc_table(d, "Sizes", 6, column,
	                           "no size is enough, or there is none");

	for (size_t k = 0; k < a->n_lines; k++) {
		const pd_size_line *l = &a->line[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = truth_words(d, a, l->truth);
		cell[1] = number(d, l->n);
		cell[2] = chance(d, l->power);
		cell[3] = chance_before(d, a, l->power_before);
		cell[4] = chance(d, l->assurance);
		cell[5] = number(d, l->n_assured);
	}
	pd_doc_table_note(
	    d, t,
	    "Averaged over the spread: the standard deviation is itself known "
	    "only within its limits; this is the chance averaged over them. "
	    "Plan by it where the records are few.");
}

static void pulls_table(pd_doc *d, const pd_size_answer *a)
{
	const pd_cell_column column[] = {
		{ "Pulls averaged in each arm", NULL, false },
		{ "SD", NULL, true },
		{ "Needed", a->paired ? "pairs" : "in each group", true },
	};
	pd_table *t = pd_doc_table(
	    d,
	    pd_doc_print(d, "More pulls against more patients, if the truth is "
	                 "%s", truth_words(d, a, a->line[a->main_line].truth)),
	    3, column, "no size is enough");

	for (size_t k = 0; k < a->n_pulls; k++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = number(d, (double)a->pulls[k].pulls);
		cell[1] = pd_say_short(d, a->pulls[k].sd);
		cell[2] = number(d, a->pulls[k].n);
	}
	pd_doc_table_note(d, t,
	                  "Every further pull costs the patient marrow and "
	                  "time; it does not take the place of patients.");
}

static void looks_table(pd_doc *d, const pd_size_answer *a)
{
	const pd_cell_column column[] = {
		{ "Planned readings", NULL, false },
		{ "Times as many", NULL, true },
		{ "Needed at most", a->paired ? "pairs" : "in each group",
		  true },
	};
	pd_table *t = pd_doc_table(d, "What reading before the end costs", 3,
	                           column, NULL);

	for (size_t k = 0; k < a->n_looks; k++) {
		const char **cell = pd_doc_row(d, t, NULL);
		pd_buf b;

		if (!cell)
			return;
		pd_buf_init(&b);
		pd_number_fixed(&b, a->looks[k].factor, 2);
		cell[0] = number(d, (double)a->looks[k].looks);
		cell[1] = pd_doc_take(d, &b);
		cell[2] = number(d, a->looks[k].n);
	}
	pd_doc_table_note(d, t,
	                  "The error is spent evenly over equally spaced "
	                  "readings; a trial that is clear early ends early.");
}

static void spread_table(pd_doc *d, const pd_size_answer *a)
{
	const pd_cell_column column[] = {
		{ "Spread", NULL, false },
		{ a->scale == PD_RATIO ? "SD, natural log scale" : "SD", NULL,
		  true },
	};
	pd_table *t = pd_doc_table(d, "Where the clinic's spread comes from", 2,
	                           column, NULL);

	for (size_t k = 0; k < a->n_components; k++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = pd_doc_text(d, a->component_name[k]);
		cell[1] = pd_say_short(d, a->component_sd[k]);
	}
}

static void cautions(pd_doc *d, const pd_size_answer *a)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Before planning by this");

	if (a->paired)
		pd_doc_item(d, box,
		            "Pairs have to be assigned by chance: which side or "
		            "pull gets which way, the order too.");
	else
		pd_doc_item(d, box,
		            "Groups have to be formed by chance; if patients "
		            "can be their own comparison, far fewer are "
		            "needed.");
	pd_doc_item(d, box,
	            "The spread is that of routine draws; a trial with firm "
	            "rules may scatter less, one in several clinics more.");
	pd_doc_item(d, box,
	            "Failed cultures and lost samples come on top: add their "
	            "share.");
	pd_doc_item(d, box,
	            "Cell numbers are not a patient's outcome. A trial with "
	            "patients needs an ethics review and licensed clinicians.");
}

pd_status pd_compose_size(const pd_size_answer *a, pd_doc **out,
                          pd_error *err)
{
	const char *title = a->title ? a->title : a->name;
	pd_doc *d = pd_doc_new("How many are needed", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "How many are needed");
	pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "answer", title);
	pd_doc_paragraph(d, PD_LEAD, pd_say_upper(d, lead(d, a)));
	basis(d, a);
	if (!a->refusal) {
		size_table(d, a);
		cautions(d, a);
		pd_doc_page_end(d);
		pulls_table(d, a);
		if (a->n_looks)
			looks_table(d, a);
		spread_table(d, a);
	}
	pd_part_sources(d, &a->context);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
