/*
 * query.c - the frame of one question: rows at the grain asked for, the
 * judged outcome as an interval, and the columns named.
 */
#include "data/query_own.h"
#include "data/sql_text.h"
#include "data/vocab.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *pd_query_words(const char *name)
{
	const struct q_outcome *o = q_outcome_find(name);

	return o ? o->words : q_column_words(name);
}

const char *pd_query_unit(const char *outcome, const char *judge)
{
	const struct q_outcome *o = q_outcome_find(outcome);
	int j = q_judge_find(judge);

	return o && j >= 0 ? o->unit[j] : NULL;
}

static pd_status check(const pd_query_request *r, const struct q_outcome **o,
                       q_judge *judge, int *material, pd_error *err)
{
	int j = q_judge_find(r->judge);

	*o = q_outcome_find(r->outcome);
	*material = r->material ? pd_vocab_code(PD_F_MATERIAL, r->material)
	                        : 0;
	if (!*o)
		return pd_fail(err, PD_USAGE, "no outcome '%s'; there are tnc, "
		               "mnc, viability, hct, rbc, platelets, cd34, "
		               "cd271, cfu_f, blood_share, adverse_event",
		               r->outcome ? r->outcome : "");
	if (j < 0)
		return pd_fail(err, PD_USAGE, "'%s' cannot be judged; there "
		               "are concentration, prevalence, yield, percent, "
		               "risk",
		               r->judge ? r->judge : "");
	if (!(*o)->unit[j])
		return pd_fail(err, PD_USAGE, "outcome '%s' has no %s",
		               r->outcome, r->judge);
	if (*material < 0)
		return pd_fail(err, PD_USAGE, "no material '%s'; there are "
		               "aspirate, concentrate", r->material);
	if (*material && j == Q_YIELD)
		return pd_fail(err, PD_USAGE, "no volume of concentrate is "
		               "recorded, so it has no yield");
	if (j == Q_RISK && r->grain == PD_BY_ALIQUOT)
		return pd_fail(err, PD_USAGE, "an adverse event is recorded at "
		               "a site: a pull has none");
	*judge = (q_judge)j;
	return PD_OK;
}

static bool fill_reals(pd_frame *f, const struct q_rows *rows, bool colonies)
{
	pd_column *low = pd_frame_add_real(f, "low");
	pd_column *high = pd_frame_add_real(f, "high");
	pd_column *ml = pd_frame_add_real(f, "ml");
	pd_column *pure = pd_frame_add_real(f, "undiluted");
	pd_column *n = colonies ? pd_frame_add_real(f, "colonies") : NULL;
	pd_column *on = colonies ? pd_frame_add_real(f, "plated") : NULL;
	pd_column *seen = colonies ? pd_frame_add_real(f, "counted") : NULL;
	pd_column *each = colonies ? pd_frame_add_real(f, "worth") : NULL;

	if (!low || !high || !ml || !pure ||
	    (colonies && (!n || !on || !seen || !each)))
		return false;
	for (size_t i = 0; i < rows->n; i++) {
		const struct q_row *r = &rows->item[i];

		low->real[i] = r->low;
		high->real[i] = r->high;
		ml->real[i] = r->ml;
		pure->real[i] = isnan(r->low) ? (double)NAN : r->undiluted;
		if (colonies) {
			n->real[i] = r->colonies;
			on->real[i] = r->plated;
			seen->real[i] = r->counted;
			each->real[i] = r->worth;
		}
	}
	return true;
}

/* All states are levels, in this order, whether rows have them or not. */
static bool fill_state(pd_frame *f, const struct q_rows *rows)
{
	static const char *const words[Q_N_STATES] = {
		[Q_MEASURED] = "measured", [Q_ZERO] = "zero",
		[Q_BELOW] = "below detection", [Q_ABOVE] = "above range",
		[Q_UNCOUNTABLE] = "too many to count",
		[Q_FAILED] = "failed culture", [Q_NOT_ORDERED] = "not ordered",
		[Q_BLANK] = "blank",
	};
	pd_column *c = pd_frame_add_factor(f, "state");

	for (int k = 0; c && k < Q_N_STATES; k++)
		if (pd_frame_level(f, c, words[k]) < 0)
			return false;
	for (size_t i = 0; c && i < rows->n; i++)
		c->code[i] = rows->item[i].state;
	return c != NULL;
}

/* What a share of blood could not be computed without. */
static bool fill_lacking(pd_frame *f, const struct q_rows *rows)
{
	static const char *const words[] = {
		"nothing", "the same-day blood count", "the sample's red cells",
		"the blood count and the sample's red cells",
		"the sample's nucleated cells",
		"the blood count and the sample's nucleated cells",
		"the sample's red and nucleated cells",
		"the blood count and the sample's cells", "any result",
	};
	pd_column *c = pd_frame_add_factor(f, "lacking");

	for (size_t k = 0; c && k < sizeof words / sizeof *words; k++)
		if (pd_frame_level(f, c, words[k]) < 0)
			return false;
	for (size_t i = 0; c && i < rows->n; i++)
		c->code[i] = rows->item[i].lacks;
	return c != NULL;
}

static bool fill_in_part(pd_frame *f, const struct q_rows *rows)
{
	pd_column *c = pd_frame_add_real(f, "in_part");

	for (size_t i = 0; c && i < rows->n; i++)
		c->real[i] = rows->item[i].lacks;
	return c != NULL;
}

static bool fill_material(pd_frame *f, const struct q_rows *rows, int material)
{
	pd_column *c = pd_frame_add_factor(f, "material");

	if (!c || pd_frame_level(f, c, pd_vocab_words(PD_F_MATERIAL)
	                         [material]) < 0)
		return false;
	for (size_t i = 0; i < rows->n; i++)
		c->code[i] = 0;
	return true;
}

static pd_status fill(const struct q_tree *t, const struct q_rows *rows,
                      const pd_query_request *r, int material, int place,
                      pd_frame *f, pd_error *err)
{
	static const char *const always[] = { "patient", "case", "side",
		                              "site" };
	size_t n = r->grain == PD_BY_CASE ? 2 : 4;
	pd_status st = PD_OK;

	for (size_t k = 0; st == PD_OK && k < n; k++)
		st = q_column_fill(t, rows, always[k], r->grain, f, err);
	if (st == PD_OK &&
	    !(fill_reals(f, rows, place == Q_COLONIES) && fill_state(f, rows) &&
	      (place != Q_BLOOD_SHARE || fill_lacking(f, rows)) &&
	      (place != Q_EVENT || fill_in_part(f, rows)) &&
	      fill_material(f, rows, material)))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t k = 0; st == PD_OK && k < r->n_columns; k++)
		if (!pd_frame_find(f, r->columns[k]))
			st = q_column_fill(t, rows, r->columns[k], r->grain, f,
			                   err);
	return st;
}

static void count_recorded(const struct q_tree *t, const struct q_rows *rows,
                           pd_grain grain, pd_query_flow *flow)
{
	flow->recorded_rows = grain == PD_BY_SITE ? t->n_sites :
	                      grain == PD_BY_CASE ? t->n_cases :
	                      rows->n + flow->pooled_out +
	                      flow->other_material;
	flow->recorded_sites = t->n_sites;
	flow->recorded_cases = t->n_cases;
	flow->recorded_patients = t->n_patients;
}

pd_status pd_query_frame(pd_store *s, const pd_query_request *request,
                         pd_frame **out, pd_query_flow *flow, pd_error *err)
{
	const struct q_outcome *o;
	const struct q_tree *t = NULL;
	struct q_results results = { NULL, 0, 0 };
	struct q_rows rows = { NULL, 0, 0 };
	pd_query_flow counted = { 0 };
	q_judge judge = Q_CONCENTRATION;
	int material = 0;
	unsigned mask = 0;
	pd_frame *f = NULL;
	pd_status st = check(request, &o, &judge, &material, err);
	bool event = st == PD_OK && o->place == Q_EVENT;

	*out = NULL;
	if (event)
		st = q_event_mask(request, &mask, err);
	if (st != PD_OK)
		return st;
	st = pd_db_begin_read(s, err);
	if (st == PD_OK)
		st = q_tree_get(s, &t, err);
	if (st == PD_OK && !event)
		st = q_results_read(s, o, judge, &results, err);
	st = pd_db_end(s, st, err);
	if (st == PD_OK && event)
		st = q_event_rows(t, mask, request->grain, &rows, err);
	else if (st == PD_OK)
		st = q_rows_make(t, &results, o, judge, request->grain,
		                 material, &rows, &counted, err);
	if (st == PD_OK && !(f = pd_frame_new(rows.n)))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = fill(t, &rows, request, material, o->place, f, err);
	if (st == PD_OK) {
		count_recorded(t, &rows, request->grain, &counted);
		*out = f;
		f = NULL;
	}
	if (flow)
		*flow = counted;
	pd_frame_free(f);
	free(rows.item);
	free(results.item);
	return st;
}

pd_status pd_query_harm(pd_store *s, pd_harm *out, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_read_harm, &q, err);

	*out = (pd_harm){ 0, 0 };
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row) {
		out->n_cases = (size_t)sqlite3_column_int64(q, 0);
		out->n_events = (size_t)sqlite3_column_int64(q, 1);
	}
	sqlite3_finalize(q);
	return st;
}
