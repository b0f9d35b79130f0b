/*
 * paper_units.c - which patients, cases, sites and pulls the rows of a question
 * stand for, by arm: the rows are found again among all draws by their names,
 * and each unit is counted once an arm.
 */
#include "data/query.h"
#include "plan/events.h"
#include "plan/paper_own.h"

#include <math.h>
#include <string.h>

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* --- rows that count ----------------------------------------------------- */

/* keep[rows.n]: rows of units that have both arms. */
static pd_status keep_pairs(const pd_rows *r, const char *within,
                            unsigned char *keep, pd_arena *scratch,
                            pd_error *err)
{
	size_t level = pd_rows_level(r, within);
	unsigned char *seen = level < r->depth ? PD_NEW(scratch, unsigned char,
	                                                r->n_groups[level] + 1)
	                                       : NULL;

	if (!seen)
		return level < r->depth
		           ? no_memory(err)
		           : pd_fail(err, PD_INTERNAL, "pairs inside no level");
	for (size_t i = 0; i < r->n; i++)
		seen[r->group[level][i]] |= (unsigned char)(1 << r->arm[i]);
	for (size_t i = 0; i < r->n; i++)
		keep[i] = seen[r->group[level][i]] == 3;
	return PD_OK;
}

/* --- rows found among the draws ------------------------------------------ */

/* first[code]: where the records of each name of a column start in the draws,
 * NO_ROW for none. */
#define NO_ROW ((size_t)-1)
static size_t *starts(const pd_frame *f, const pd_column *c, pd_arena *scratch)
{
	size_t *first = PD_NEW(scratch, size_t, c->n_levels + 1);

	for (size_t k = 0; first && k < c->n_levels; k++)
		first[k] = NO_ROW;
	for (size_t i = pd_frame_rows(f); first && i-- > 0;)
		if (c->code[i] >= 0)
			first[c->code[i]] = i;
	return first;
}

/* Names of the question's rows and the same among the draws. */
struct names {
	const pd_column *here, *here_no; /* here_no NULL: rows are no pulls   */
	pd_column *there;
	const pd_column *there_no;
	const size_t *first; /* of the draws' names                       */
};

/* Mark the draws of row i of the question: all of its case or site, or its
 * pull. false: it is not among them. */
static bool mark_row(const struct paper_units *u, const struct names *a,
                     size_t i, uint16_t bits, uint16_t *mask)
{
	size_t known = a->there->n_levels, n = pd_frame_rows(u->draws);
	int32_t code = pd_frame_level(u->draws, a->there,
	                              a->here->level[a->here->code[i]]);
	bool found = false;

	if (code < 0 || (size_t)code >= known || a->first[code] == NO_ROW)
		return false;
	for (size_t k = a->first[code]; k < n && a->there->code[k] == code;
	     k++) {
		if (a->here_no && a->there_no->real[k] != a->here_no->real[i])
			continue;
		mask[k] |= bits;
		found = true;
	}
	return found;
}

static pd_status mark(const struct paper_units *u, const unsigned char *keep,
                      uint16_t *mask, pd_arena *scratch, pd_error *err)
{
	const char *name = u->rows.depth > 1 ? "site" : "case";
	struct names a = { .here = pd_frame_find(u->rows.model, name),
		           .there = pd_frame_find(u->draws, name),
		           .there_no = pd_frame_find(u->draws, "aliquot_no") };

	if (!a.here || !a.there || !a.there_no)
		return pd_fail(err, PD_INTERNAL, "rows without a name");
	if (u->rows.depth == PD_ROWS_DEPTH)
		a.here_no = pd_frame_find(u->rows.model, "aliquot_no");
	a.first = starts(u->draws, a.there, scratch);
	if (!a.first)
		return no_memory(err);
	for (size_t i = 0; i < u->rows.n; i++) {
		uint16_t bits = (uint16_t)(1u << u->n_arms);

		if (!keep[i])
			continue;
		if (u->n_arms)
			bits |= (uint16_t)(1u << u->rows.arm[i]);
		if (!mark_row(u, &a, i, bits, mask))
			return pd_fail(err, PD_INTERNAL,
			               "a row without its draw");
	}
	return PD_OK;
}

/* --- units --------------------------------------------------------------- */

static pd_status list_units(struct paper_units *u, pd_paper_level level,
                            size_t arm, const uint16_t *mask, pd_arena *scratch,
                            pd_error *err)
{
	static const char *const name[] = { "patient", "case", "site", "site" };
	const int32_t *code = pd_frame_find(u->draws, name[level])->code;
	const double *no = pd_frame_find(u->draws, "aliquot_no")->real;
	size_t n = pd_frame_rows(u->draws), last = NO_ROW;
	uint32_t *at = PD_NEW(scratch, uint32_t, n + 1);

	if (!at)
		return no_memory(err);
	for (size_t i = 0; i < n; i++) {
		if (!(mask[i] >> arm & 1))
			continue;
		if (last == NO_ROW || code[i] != code[last] ||
		    (level == PD_PAPER_PULL && no[i] != no[last]))
			at[u->n[level][arm]++] = (uint32_t)i;
		last = i;
	}
	u->at[level][arm] = at;
	return PD_OK;
}

static pd_status list_results(struct paper_units *u, size_t arm,
                              const unsigned char *keep, pd_arena *scratch,
                              pd_error *err)
{
	uint32_t *at = PD_NEW(scratch, uint32_t, u->rows.n + 1);

	if (!at)
		return no_memory(err);
	for (size_t i = 0; i < u->rows.n; i++)
		if (keep[i] &&
		    (arm == u->n_arms || u->rows.arm[i] == (int32_t)arm))
			at[u->n[PD_PAPER_RESULT][arm]++] = (uint32_t)i;
	u->at[PD_PAPER_RESULT][arm] = at;
	return PD_OK;
}

static pd_status list_all(struct paper_units *u, const unsigned char *keep,
                          const uint16_t *mask, pd_arena *scratch,
                          pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t arm = 0; st == PD_OK && arm <= u->n_arms; arm++) {
		for (int k = 0; st == PD_OK && k < PD_PAPER_RESULT; k++)
			st = list_units(u, (pd_paper_level)k, arm, mask,
			                scratch, err);
		if (st == PD_OK)
			st = list_results(u, arm, keep, scratch, err);
	}
	return st;
}

/* --- the whole ----------------------------------------------------------- */

static pd_status name_arms(struct paper_units *u, const pd_question *q,
                           pd_arena *arena, pd_paper_table *t, pd_error *err)
{
	const pd_rows *r = &u->rows;

	if (!r->arm) {
		t->no_arms = q->kind == PD_COMPARE_CURVE
		                 ? "a curve has no arms"
		                 : "a slope has no arms";
		return PD_OK;
	}
	if (r->n_arms > PD_PAPER_ARMS) {
		t->no_arms = pd_arena_print(arena,
		                            "%zu levels are more than "
		                            "a table has columns for",
		                            r->n_arms);
		return t->no_arms ? PD_OK : no_memory(err);
	}
	u->n_arms = t->n_arms = r->n_arms;
	t->arm = PD_NEW(arena, const char *, r->n_arms + 1);
	if (!t->arm)
		return no_memory(err);
	for (size_t k = 0; k < r->n_arms; k++)
		t->arm[k] = r->arm_name[k]; /* in the answers' arena */
	return PD_OK;
}

static pd_status take_draws(pd_store *s, struct paper_units *u, pd_error *err)
{
	pd_query_request ask = { .outcome = "tnc",
		                 .judge = "concentration",
		                 .grain = PD_BY_ALIQUOT,
		                 .columns = pd_paper_columns };
	pd_query_flow flow;

	while (pd_paper_columns[ask.n_columns])
		ask.n_columns++;
	return pd_query_frame(s, &ask, &u->draws, &flow, err);
}

pd_status pd_paper_units(pd_store *s, const pd_question *q, bool pairs_only,
                         pd_arena *arena, pd_arena *scratch,
                         struct paper_units *u, pd_paper_table *t,
                         pd_error *err)
{
	unsigned char *keep = NULL;
	uint16_t *mask = NULL;
	pd_status st = pd_rows_take_named(s, q, arena, scratch, &u->rows, err);

	if (st == PD_OK)
		st = take_draws(s, u, err);
	if (st == PD_OK)
		st = name_arms(u, q, arena, t, err);
	if (st == PD_OK) {
		keep = PD_NEW(scratch, unsigned char, u->rows.n + 1);
		mask = PD_NEW(scratch, uint16_t, pd_frame_rows(u->draws) + 1);
		if (!keep || !mask)
			st = no_memory(err);
	}
	if (st == PD_OK) {
		memset(keep, 1, u->rows.n);
		if (pd_rows_of_events(q))
			st = pd_events_keep(q, &u->rows, scratch, keep, err);
		else if (pairs_only)
			st =
			    keep_pairs(&u->rows, q->within, keep, scratch, err);
	}
	if (st == PD_OK)
		st = mark(u, keep, mask, scratch, err);
	return st == PD_OK ? list_all(u, keep, mask, scratch, err) : st;
}

void pd_paper_units_clear(struct paper_units *u)
{
	pd_frame_free(u->draws);
	u->draws = NULL;
	pd_rows_clear(&u->rows);
}
