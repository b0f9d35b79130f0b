/* compose_words.c - see compose_words.h. */
#include "report/compose_words.h"

#include <math.h>
#include <string.h>

const char *pd_say_verdict(const pd_answer *a, pd_verdict v)
{
	switch (v) {
	case PD_BETTER:
		return a->events ? "More events"
		       : a->not_a_choice ? "Higher" : "Better";
	case PD_WORSE:
		return a->events ? "Fewer events"
		       : a->not_a_choice ? "Lower" : "Worse";
	case PD_NO_MATTER:
		return "No difference that matters";
	case PD_NOT_SETTLED:
		return "Not settled";
	case PD_NO_ANSWER:
		break;
	}
	return "Cannot be answered";
}

bool pd_is_unsupported(const pd_answer *a, pd_verdict v)
{
	return a->unsupported && v == PD_NO_MATTER;
}

const char *pd_say_supported(pd_doc *d, const pd_answer *a, pd_verdict v)
{
	const char *words = pd_say_verdict(a, v);

	return pd_is_unsupported(a, v)
	           ? pd_doc_print(d, "%s (unsupported)", words)
	           : words;
}

const char *pd_say_role(pd_role role)
{
	switch (role) {
	case PD_PRIMARY:
		return "primary";
	case PD_SECONDARY:
		return "secondary";
	case PD_EXPLORATORY:
		return "exploratory";
	case PD_CONTROL:
		break;
	}
	return "control";
}

const char *pd_say_parameter(pd_doc *d, const pd_answer *a)
{
	const char *words = a->parameter_words ? a->parameter_words : "";

	return pd_doc_print(d, "%.*s", (int)strcspn(words, ","), words);
}

const char *pd_say_upper(pd_doc *d, const char *text)
{
	char *copy = pd_arena_copy(d->arena, text);

	if (!copy) {
		d->failed = true;
		return "";
	}
	if (copy[0] >= 'a' && copy[0] <= 'z' &&
	    ((copy[1] >= 'a' && copy[1] <= 'z') || copy[1] == ' '))
		copy[0] = (char)(copy[0] - 'a' + 'A');
	return copy;
}

const char *pd_say_beyond(pd_doc *d, const char *sentence, const char *arms)
{
	size_t n = strlen(arms);

	if (!sentence)
		return "";
	if (strncmp(sentence, arms, n) == 0 &&
	    strncmp(sentence + n, "; ", 2) == 0)
		sentence += n + 2;
	return pd_say_upper(d, sentence);
}

const char *pd_say_stop(pd_doc *d, const char *text)
{
	size_t n = strlen(text);

	if (n &&
	    (text[n - 1] == '.' || text[n - 1] == '?' || text[n - 1] == '!'))
		return text;
	return pd_doc_print(d, "%s.", text);
}

const char *pd_say_whole(pd_doc *d, const char *text)
{
	return text ? pd_say_stop(d, pd_say_upper(d, text)) : NULL;
}

/* Does an arm's name need the parameter before it to mean anything? */
static bool is_bare(const char *arm)
{
	return arm[strspn(arm, "0123456789.,+- ")] == '\0';
}

const char *pd_say_arm(pd_doc *d, const pd_answer *a, const char *name)
{
	if (!is_bare(name))
		return name;
	return pd_doc_print(d, "%s %s", pd_say_parameter(d, a), name);
}

/* Words between the arms, by verdict; NULL for a verdict without direction. */
static const char *between(const pd_answer *a, pd_verdict v)
{
	if (a->events && (v == PD_BETTER || v == PD_WORSE))
		return v == PD_BETTER ? "has more events than"
		                      : "has fewer events than";
	if (a->share && (v == PD_BETTER || v == PD_WORSE))
		return v == PD_BETTER ? "reaches the floor more often than"
		                      : "reaches the floor less often than";
	if (v == PD_BETTER)
		return a->not_a_choice ? "higher than" : "gives more than";
	if (v == PD_WORSE)
		return a->not_a_choice ? "lower than" : "gives less than";
	return "against";
}

/* "4 sites give", "1 site gives". */
static bool is_many(const char *arm)
{
	size_t n = strlen(arm);

	return n > 6 && strcmp(arm + n - 6, " sites") == 0;
}

const char *pd_say_arms(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	const char *way = "";

	if (e->first && e->second && is_many(e->first) && !a->share &&
	    !a->not_a_choice &&
	    (e->verdict == PD_BETTER || e->verdict == PD_WORSE))
		return pd_doc_print(d, "%s give %s than %s", e->first,
		                    e->verdict == PD_BETTER ? "more" : "less",
		                    pd_say_arm(d, a, e->second));
	if (e->first && e->second)
		return pd_doc_print(d, "%s %s %s", pd_say_arm(d, a, e->first),
		                    between(a, e->verdict),
		                    pd_say_arm(d, a, e->second));
	if (e->verdict == PD_BETTER)
		way = a->not_a_choice ? "higher " : "more ";
	if (e->verdict == PD_WORSE)
		way = a->not_a_choice ? "lower " : "less ";
	return pd_doc_print(d, "%s: %s%s", pd_say_parameter(d, a), way,
	                    e->label ? e->label : "");
}

const char *pd_say_label(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	if (e->first && e->second)
		return pd_doc_print(d, "%s against %s",
		                    pd_say_arm(d, a, e->first),
		                    pd_say_arm(d, a, e->second));
	return pd_doc_print(d, "%s: %s", pd_say_parameter(d, a),
	                    e->label ? e->label : "");
}

/* "the mean" is nothing one can draw with. */
static bool is_reference(const char *name)
{
	return strncmp(name, "the ", 4) == 0;
}

static const char *side(pd_doc *d, const pd_answer *a, const pd_effect *e,
                        bool more)
{
	if (!e->first || !e->second)
		return pd_doc_print(d, "%s %s", more ? "rises" : "falls",
		                    e->label ? e->label : "");
	if (is_reference(e->second))
		return pd_doc_print(d, "%s %s", more ? "above" : "below",
		                    e->second);
	return pd_doc_print(d, "%s with %s",
	                    a->not_a_choice ? "higher" : "more",
	                    pd_say_arm(d, a, more ? e->first : e->second));
}

const char *pd_say_less(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	return side(d, a, e, false);
}

const char *pd_say_more(pd_doc *d, const pd_answer *a, const pd_effect *e)
{
	return side(d, a, e, true);
}

const char *pd_say_judged(pd_doc *d, const pd_answer *a)
{
	if (!a->outcome_words)
		return a->judge_words;
	if (!a->judge_words)
		return a->outcome_words;
	return pd_doc_print(d, "%s: %s", a->outcome_words, a->judge_words);
}

void pd_margin_add(pd_buf *b, const pd_answer *a)
{
	double low, high;

	pd_margin_limits(a, &low, &high);
	if (a->scale == PD_RATIO) {
		pd_number_fixed(b, low, 2);
		pd_buf_add(b, " to ");
		pd_number_fixed(b, high, 2);
	} else {
		pd_number_short(b, low);
		pd_buf_add(b, " to ");
		pd_number_short(b, high);
	}
}

const char *pd_say_margin(pd_doc *d, const pd_answer *a)
{
	pd_buf b;

	if (!isfinite(a->margin))
		return "no margin was declared, so these data cannot reach "
		       "\"no difference that matters\"";
	pd_buf_init(&b);
	pd_buf_add(&b, a->scale == PD_RATIO ? "a ratio from "
	                                    : "a difference from ");
	pd_margin_add(&b, a);
	if (a->scale != PD_RATIO)
		pd_buf_add(&b, " percentage points");
	pd_buf_add(&b, " does not change practice");
	return pd_doc_take(d, &b);
}

const char *pd_say_looks(pd_doc *d, const pd_answer *a)
{
	const pd_effect *e = &a->effect[0];
	pd_span single = { a->scale == PD_RATIO ? PD_SPAN_RATIO
	                                        : PD_SPAN_DIFFERENCE,
		           e->value, e->single_low, e->single_high, a->level };
	pd_buf b;

	pd_buf_init(&b);
	if (a->looks_planned)
		pd_buf_print(&b, "holds for the %u planned readings together",
		             a->looks_planned);
	else
		pd_buf_add(&b, "holds for any number of readings, as none or "
		               "fewer were planned");
	pd_buf_add(&b, "; it is ");
	pd_number_fixed(&b, a->looks_width, 2);
	pd_buf_add(&b, " times as wide as for a single reading");
	if (a->n_effects == 1) {
		pd_buf_add(&b, ", which would give ");
		pd_number_span(&b, &single, false);
	}
	return pd_doc_take(d, &b);
}

const char *pd_say_level(pd_doc *d, const pd_answer *a)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_level(&b, a->level > 0 && a->level < 1 ? a->level : 0.95);
	return pd_doc_take(d, &b);
}

const char *pd_say_review_level(pd_doc *d, const pd_review *r)
{
	return r->n_answers ? pd_say_level(d, &r->answer[0]) : "95%";
}

const char *pd_say_count(pd_doc *d, size_t n)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_count(&b, n);
	return pd_doc_take(d, &b);
}

const char *pd_say_p(pd_doc *d, double p)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_p(&b, p);
	return pd_doc_take(d, &b);
}

const char *pd_say_fixed(pd_doc *d, double x, int decimals)
{
	pd_buf b;

	if (isnan(x))
		return NULL;
	pd_buf_init(&b);
	pd_number_fixed(&b, x, decimals);
	return pd_doc_take(d, &b);
}

const char *pd_say_short(pd_doc *d, double x)
{
	pd_buf b;

	if (isnan(x))
		return NULL;
	pd_buf_init(&b);
	pd_number_short(&b, x);
	return pd_doc_take(d, &b);
}

const char *pd_say_unit(pd_doc *d, const char *unit)
{
	pd_buf b;

	if (!unit || !*unit)
		return NULL;
	pd_buf_init(&b);
	pd_number_unit(&b, unit);
	return pd_doc_take(d, &b);
}

const char *pd_say_span(pd_doc *d, const pd_answer *a, double value, double low,
                        double high, bool with_level)
{
	pd_span s = { a->scale == PD_RATIO ? PD_SPAN_RATIO : PD_SPAN_DIFFERENCE,
		      value, low, high,
		      a->level > 0 && a->level < 1 ? a->level : 0.95 };
	pd_buf b;

	if (isnan(value) && isnan(low) && isnan(high))
		return NULL;
	pd_buf_init(&b);
	pd_number_span(&b, &s, with_level);
	return pd_doc_take(d, &b);
}

const char *pd_say_centre(pd_doc *d, double value, double low, double high)
{
	pd_span s = { PD_SPAN_MEAN, value, low, high, NAN };
	pd_buf b;

	if (!isfinite(value))
		return NULL;
	pd_buf_init(&b);
	pd_number_span(&b, &s, false);
	return pd_doc_take(d, &b);
}

const char *pd_say_spread(pd_doc *d, const pd_answer *a, size_t i)
{
	double low = a->component_low ? a->component_low[i] : (double)NAN;
	double high = a->component_high ? a->component_high[i] : (double)NAN;

	if (isnan(low) || !isfinite(high))
		return pd_say_short(d, a->component_sd[i]);
	return pd_say_centre(d, a->component_sd[i], low, high);
}

const char *pd_say_shared(pd_doc *d, const pd_answer *a, size_t i)
{
	double icc = a->component_icc ? a->component_icc[i] : (double)NAN;
	double low = a->component_icc_low ? a->component_icc_low[i]
	                                  : (double)NAN;

	if (isnan(icc))
		return NULL;
	if (isnan(low))
		return pd_say_fixed(d, icc, 3);
	return pd_doc_print(d, "%s (%s to %s)", pd_say_fixed(d, icc, 3),
	                    pd_say_fixed(d, low, 3),
	                    pd_say_fixed(d, a->component_icc_high[i], 3));
}

const char *pd_say_shared_head(pd_doc *d, const char *level)
{
	return pd_doc_print(d, "Two of the same correlate (ICC, %s CI)", level);
}

const char *pd_say_harm(pd_doc *d, const pd_review *r)
{
	size_t blank =
	    r->n_cases > r->n_harm_cases ? r->n_cases - r->n_harm_cases : 0;
	pd_buf b;

	pd_buf_init(&b);
	if (r->n_harm_cases == 0) {
		pd_buf_add(&b, "Adverse events at the site: not recorded in "
		               "any case, so what a gain costs the patients is "
		               "not known here.");
		return pd_doc_take(d, &b);
	}
	pd_buf_add(&b, "Adverse events at the site: ");
	pd_number_share(&b, r->n_harm_events, r->n_harm_cases, "cases");
	pd_buf_print(&b, ", exact %s limits ", pd_say_review_level(d, r));
	pd_number_share_limits(&b, r->harm_low, r->harm_high);
	pd_buf_add(&b, "; not recorded in ");
	pd_number_count(&b, blank);
	pd_buf_add(&b, blank == 1 ? " case." : " cases.");
	if (r->n_harm_events == 0)
		pd_buf_add(&b, " None recorded is not the same as none "
		               "possible: read the upper limit.");
	return pd_doc_take(d, &b);
}
