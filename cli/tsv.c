/* tsv.c - see tsv.h. */
#include "tsv.h"

#include <math.h>

static const char *verdict_words(const pd_answer *a, pd_verdict v)
{
	bool not_a_choice = a->not_a_choice;

	switch (v) {
	case PD_BETTER:
		return a->events ? "more events"
		       : not_a_choice ? "higher" : "better";
	case PD_WORSE:
		return a->events ? "fewer events"
		       : not_a_choice ? "lower" : "worse";
	case PD_NO_MATTER:
		return "no difference that matters";
	case PD_NOT_SETTLED:
		return "not settled";
	case PD_NO_ANSWER:
		break;
	}
	return "no answer";
}

/* Tabs and line ends would break the table. */
static void add_text(pd_buf *to, const char *text)
{
	for (; text && *text; text++)
		pd_buf_char(to, (unsigned char)*text < 0x20 ? ' ' : *text);
}

static void add_number(pd_buf *to, double x)
{
	pd_buf_char(to, '\t');
	if (isfinite(x))
		pd_buf_print(to, "%.17g", x);
}

static void add_start(pd_buf *to, const pd_answer *a, const char *effect)
{
	add_text(to, a->name);
	pd_buf_char(to, '\t');
	add_text(to, effect);
}

void tsv_write(const pd_review *review, pd_buf *to)
{
	pd_buf_add(to, "question\teffect\tvalue\tlow\thigh\tp\tp_adjusted\t"
	               "verdict\n");
	for (size_t i = 0; i < review->n_answers; i++) {
		const pd_answer *a = &review->answer[i];

		if (a->refusal || a->n_effects == 0) {
			add_start(to, a, "");
			pd_buf_add(to, "\t\t\t\t\t\tno answer\n");
			continue;
		}
		for (size_t k = 0; k < a->n_effects; k++) {
			const pd_effect *e = &a->effect[k];

			add_start(to, a, e->label);
			add_number(to, e->value);
			add_number(to, e->low);
			add_number(to, e->high);
			add_number(to, e->log.p);
			add_number(to, e->p_adjusted);
			pd_buf_char(to, '\t');
			pd_buf_add(to, verdict_words(a, e->verdict));
			if (a->unsupported && e->verdict == PD_NO_MATTER)
				pd_buf_add(to, " (unsupported)");
			pd_buf_char(to, '\n');
		}
	}
}
