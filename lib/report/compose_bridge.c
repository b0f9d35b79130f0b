/*
 * compose_bridge.c - two method versions on the same pulls, as a document.
 */
#include "report/compose.h"
#include "report/compose_parts.h"

#include <math.h>

/* Fewer units drawn anew make limits too narrow (docs/coverage.md). */
enum { MANY_UNITS = 30 };

static const char *span(pd_doc *d, const pd_bridge_answer *a, double value,
                        double low, double high, bool with_level)
{
	pd_span s = { a->scale == PD_RATIO ? PD_SPAN_RATIO : PD_SPAN_DIFFERENCE,
		      value, low, high, a->level };
	pd_buf b;

	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

static const char *mean(pd_doc *d, double value, double low, double high)
{
	pd_span s = { PD_SPAN_MEAN, value, low, high, NAN };
	pd_buf b;

	pd_buf_init(&b);
	pd_number_span(&b, &s, false);
	return pd_doc_take(d, &b);
}

/* A limit of agreement in a sentence: two decimals, as a ratio has. */
static const char *limit(pd_doc *d, const pd_bridge_answer *a, double x)
{
	pd_buf b;

	if (a->scale != PD_RATIO)
		return pd_say_short(d, x);
	pd_buf_init(&b);
	pd_number_fixed(&b, x, 2);
	return pd_doc_take(d, &b);
}

static const char *points(const pd_bridge_answer *a)
{
	return a->scale == PD_RATIO ? "" : " percentage points";
}

/* What the interval of the bias says of the margin. */
static const char *margin_words(const pd_bridge_answer *a)
{
	double low = a->scale == PD_RATIO ? a->margin : -a->margin;
	double high = a->scale == PD_RATIO ? 1 / a->margin : a->margin;

	if (isnan(a->margin))
		return "";
	if (a->bias_low >= low && a->bias_high <= high)
		return a->limit_low >= low && a->limit_high <= high
		    ? " On average and pull by pull the two stay inside the "
		      "margin."
		    : " On average the two stay inside the margin; single pulls "
		      "do not.";
	if (a->bias_low > high || a->bias_high < low)
		return " They differ by more than the margin: results of one "
		       "cannot stand for the other without a factor.";
	return " Whether they stay inside the margin on average is not settled.";
}

static void lead(pd_doc *d, const pd_bridge_answer *a)
{
	if (a->refusal) {
		pd_doc_paragraph(d, PD_LEAD,
		                 pd_doc_print(d, "Cannot be told. Why: %s",
		                              pd_say_stop(d, a->refusal)));
		return;
	}
	pd_doc_paragraph(
	    d, PD_LEAD,
	    a->scale == PD_RATIO
	        ? pd_doc_print(d, "On the same pulls '%s' reads %s times what "
	                       "'%s' reads. A single pull by '%s' lies between "
	                       "%s and %s times the other, 19 times in 20.%s",
	                       a->second, span(d, a, a->bias, a->bias_low,
	                                       a->bias_high, true),
	                       a->first, a->second,
	                       limit(d, a, a->limit_low),
	                       limit(d, a, a->limit_high),
	                       margin_words(a))
	        : pd_doc_print(d, "On the same pulls '%s' reads %s%s more than "
	                       "'%s'. A single pull by '%s' lies between %s and "
	                       "%s points from the other, 19 times in 20.%s",
	                       a->second, span(d, a, a->bias, a->bias_low,
	                                       a->bias_high, true),
	                       points(a), a->first, a->second,
	                       limit(d, a, a->limit_low),
	                       limit(d, a, a->limit_high),
	                       margin_words(a)));
	if (a->trend_p < 0.05)
		pd_doc_paragraph(
		    d, PD_NOTE,
		    pd_doc_print(d, "The difference changes with the level (P = "
		                 "%s): one factor does not serve all; use the "
		                 "factors by level.", pd_say_p(d, a->trend_p)));
}

static void numbers(pd_doc *d, const pd_bridge_answer *a)
{
	const pd_cell_column column[] = {
		{ "Measure", NULL, false },
		{ "Value, with limits", a->scale == PD_RATIO
		                            ? NULL
		                            : "percentage points where a "
		                              "difference",
		  true },
	};
	pd_table *t = pd_doc_table(d, "Agreement", 2, column, "not told");
	const struct {
		const char *name, *value;
	} row[] = {
		{ a->scale == PD_RATIO ? "Bias: second over first"
		                       : "Bias: second less first",
		  span(d, a, a->bias, a->bias_low, a->bias_high, false) },
		{ "Lower limit of agreement",
		  span(d, a, a->limit_low, a->limit_low_from, a->limit_low_to,
		       false) },
		{ "Upper limit of agreement",
		  span(d, a, a->limit_high, a->limit_high_from,
		       a->limit_high_to, false) },
		{ a->scale == PD_RATIO ? "Slope of the logs (1: one factor "
		                         "serves all), Deming's line"
		                       : "Slope, Deming's line",
		  mean(d, a->slope, a->slope_low, a->slope_high) },
		{ "Slope by ranks (Passing and Bablok)",
		  isnan(a->ranks_slope)
		      ? NULL
		      : mean(d, a->ranks_slope, a->ranks_low, a->ranks_high) },
		{ "Concordance (1: the same)",
		  mean(d, a->same, a->same_low, a->same_high) },
		{ "P, difference changes with the level",
		  pd_say_p(d, a->trend_p) },
	};

	for (size_t k = 0; k < sizeof row / sizeof *row; k++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = row[k].name;
		cell[1] = row[k].value;
	}
	pd_doc_table_note(d, t,
	                  "Limits of agreement: bias with 1.96 standard "
	                  "deviations of single pulls; patients are units. "
	                  "Lines and concordance rest on patients' means.");
	if (a->ranks_refusal)
		pd_doc_table_note(d, t,
		                  pd_doc_print(d, "By ranks: %s",
		                               pd_say_stop(d,
		                                           a->ranks_refusal)));
}

static void places(pd_doc *d, const pd_bridge_answer *a)
{
	static const char *const where[] = { "low (1 in 10 is lower)", "middle",
		                             "high (1 in 10 is higher)" };
	const pd_cell_column column[] = {
		{ "Level", NULL, false },
		{ pd_doc_print(d, "Reading by '%s'", a->first),
		  pd_say_unit(d, a->unit), true },
		{ a->scale == PD_RATIO ? "Factor to the second"
		                       : "To add for the second",
		  NULL, true },
	};
	pd_table *t = pd_doc_table(d, "From one version to the other", 3, column,
	                           "not told");

	for (size_t k = 0; k < PD_BRIDGE_PLACES; k++) {
		const pd_bridge_place *p = &a->place[k];
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = where[k];
		cell[1] = pd_say_short(d, p->first);
		cell[2] = span(d, a, p->factor, p->low, p->high, false);
	}
	pd_doc_table_note(d, t,
	                  "From Deming's line; limits by resampling patients.");
	if (a->n_patients < MANY_UNITS)
		pd_doc_table_note(
		    d, t,
		    pd_doc_print(d, "%s patients are few to draw anew: such "
		                 "limits are somewhat too narrow below %d.",
		                 pd_say_count(d, a->n_patients), MANY_UNITS));
}

/* The dots as a slope's figure: bias and limits as its line and band. */
static void figure(pd_doc *d, const pd_bridge_answer *a)
{
	pd_answer *fake = PD_NEW(d->arena, pd_answer, 1);
	double *line = PD_NEW(d->arena, double, 8);
	double low = INFINITY, high = -INFINITY;

	if (!fake || !line) {
		d->failed = true;
		return;
	}
	for (size_t i = 0; i < a->points.n_xy; i++) {
		low = fmin(low, a->points.x[i]);
		high = fmax(high, a->points.x[i]);
	}
	const double drawn[8] = { low,          high,          a->bias,
		                  a->bias,      a->limit_low,  a->limit_low,
		                  a->limit_high, a->limit_high };

	for (int k = 0; k < 8; k++)
		line[k] = drawn[k];
	fake->points = a->points;
	fake->points.n_line = 2;
	fake->points.line_x = line;
	fake->points.line_y = line + 2;
	fake->points.line_low = line + 4;
	fake->points.line_high = line + 6;
	fake->scale = a->scale;
	fake->log_x = a->scale == PD_RATIO;
	fake->level = a->level;
	pd_figure_words w = { .value_axis = a->scale == PD_RATIO
		                                ? "second over first"
		                                : "second less first, points",
		              .x_axis = "middle of both readings" };
	pd_figure *f = pd_doc_figure(
	    d, "Difference along the level",
	    "One dot a pull: across, the middle of both readings; upwards, what "
	    "the second reads of the first. The line is the bias, the band the "
	    "limits of agreement.",
	    pd_figure_slope(d->arena, fake, &w, false),
	    pd_figure_slope(d->arena, fake, &w, true));

	if (f)
		f->table = 1;
}

static void cautions(pd_doc *d, const pd_bridge_answer *a)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Before using a factor");

	pd_doc_item(d, box,
	            pd_doc_print(d, "%s pulls of %s patients were counted by "
	                         "both; %s more had a limit or a zero by either "
	                         "and are not in it.%s",
	                         pd_say_count(d, a->n_pulls),
	                         pd_say_count(d, a->n_patients),
	                         pd_say_count(d, a->n_left_out),
	                         a->n_pulls < 40 ? " Forty are advised." : ""));
	pd_doc_item(d, box,
	            "Agreement says nothing about which of the two is right.");
	pd_doc_item(d, box,
	            "A factor holds between the levels seen and for the pulls "
	            "that were sent to both; the laboratory's own procedures "
	            "decide on its use.");
}

pd_status pd_compose_bridge(const pd_bridge_answer *a, pd_doc **out,
                            pd_error *err)
{
	pd_doc *d = pd_doc_new("Two method versions on the same pulls", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "Two method versions on the same pulls");
	pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "answer",
	               pd_doc_print(d, "%s, %s: '%s' and '%s'",
	                            pd_say_upper(d, a->outcome_words),
	                            a->judge_words, a->first, a->second));
	lead(d, a);
	if (!a->refusal) {
		cautions(d, a);
		pd_doc_page_end(d);
		numbers(d, a);
		figure(d, a);
		places(d, a);
	}
	pd_part_sources(d, &a->context);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
