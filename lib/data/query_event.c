/*
 * query_event.c - adverse events as an outcome: what was recorded at the sites
 * of a unit, no more. A blank field is not "no event".
 */
#include "data/query_own.h"
#include "data/vocab.h"

#include <math.h>
#include <stdlib.h>

pd_status q_event_mask(const pd_query_request *r, unsigned *mask,
                       pd_error *err)
{
	*mask = r->n_events ? 0 : ~1u;
	for (size_t k = 0; k < r->n_events; k++) {
		int code = pd_vocab_code(PD_F_ADVERSE, r->events[k]);

		if (code <= 0)
			return pd_fail(err, PD_USAGE, "'%s' is no adverse event",
			               r->events[k]);
		*mask |= 1u << code;
	}
	return PD_OK;
}

/* What is known of sites from..to-1. */
static void judge(const struct q_tree *t, uint32_t from, uint32_t to,
                  unsigned mask, struct q_row *row)
{
	bool known = false, event = false;

	for (uint32_t k = from; k < to; k++) {
		int code = t->site[k].adverse;

		if (code < 0) {
			row->lacks = 1;
			continue;
		}
		known = true;
		event = event || mask >> code & 1;
	}
	row->state = known ? Q_MEASURED : Q_BLANK;
	row->low = row->high = known ? (double)event : (double)NAN;
}

static struct q_row blank(uint32_t c, uint32_t site, double ml)
{
	return (struct q_row){ .case_ = c, .site = site, .aliquot = NOWHERE,
		               .colonies = NAN, .plated = NAN, .counted = NAN,
		               .worth = NAN, .ml = ml, .method = -1,
		               .undiluted = true };
}

pd_status q_event_rows(const struct q_tree *t, unsigned mask, pd_grain grain,
                       struct q_rows *out, pd_error *err)
{
	size_t n = grain == PD_BY_SITE ? t->n_sites : t->n_cases;

	*out = (struct q_rows){ malloc((n + 1) * sizeof *out->item), 0, n };
	if (!out->item)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < t->n_cases; i++) {
		uint32_t c = t->order[i];
		const struct q_case *it = &t->case_[c];
		uint32_t end = it->first_site + it->n_sites;

		if (grain == PD_BY_CASE) {
			struct q_row *row = &out->item[out->n++];

			*row = blank(c, NOWHERE, it->total_ml);
			judge(t, it->first_site, end, mask, row);
			continue;
		}
		for (uint32_t k = it->first_site; k < end; k++) {
			struct q_row *row = &out->item[out->n++];

			*row = blank(c, k, t->site[k].ml);
			judge(t, k, k + 1, mask, row);
		}
	}
	return PD_OK;
}
