/* watch.c - the request as a plan, cases, charts, funnel. */
#include "plan/watch_own.h"
#include "base/buf.h"
#include "base/scan.h"
#include "data/query.h"
#include "plan/words.h"

#include <math.h>
#include <string.h>

pd_watch_request pd_watch_usual(const char *outcome, const char *judge)
{
	return (pd_watch_request){ .outcome = outcome, .judge = judge,
		                   .level = 0.95, .shift = 0.5,
		                   .lambda = 0.05, .quarters = 20 };
}

/* The landmark can be held equal where nearly every site has one: cases
 * without it would be left out. */
static const double MOST_SITES = 0.95;

static void see_landmark(void *user, const char *field, const char *words,
                         const char *unit, size_t filled, size_t of)
{
	(void)words;
	(void)unit;
	if (strcmp(field, "landmark") == 0)
		*(bool *)user = filled > 0 &&
		                (double)filled >= MOST_SITES * (double)of;
}

/* What is held equal unless asked otherwise: age is the plan's own column. */
static pd_status hold_equal(pd_store *s, pd_watch_request *r,
                            pd_arena *arena, pd_error *err)
{
	bool landmark = false;

	if (r->adjust)
		return PD_OK;
	if (strstr(r->judge, "per case")) {
		r->adjust = "log total_ml, n_sites";
		return PD_OK;
	}
	pd_status st = pd_store_coverage(s, see_landmark, &landmark, err);

	r->adjust = pd_arena_print(
	    arena, "%s%s", strstr(r->judge, "per site")
	                       ? "log site_ml, site_in_side"
	                       : "log volume_ml, aliquot_no, site_in_side",
	    landmark ? ", landmark" : "");
	return st == PD_OK && !r->adjust ? no_memory(err) : st;
}

/* The request as the text of a plan, so that it meets the same rules. */
static pd_status make_plan(const pd_watch_request *r, pd_arena *arena,
                           pd_plan *out, pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_buf_print(&text, "[plan]\nlevel = %.17g\nseed = %llu\n\n[watch]\n"
	             "title = watch\noutcome = %s\njudge = %s\n"
	             "slope = age_y per 10\nadjust = %s\n", r->level, r->seed,
	             r->outcome, r->judge, r->adjust);
	if (r->where)
		pd_buf_print(&text, "where = %s\n", r->where);
	pd_status st = pd_buf_ok(&text)
	    ? pd_plan_options(arena, pd_buf_text(&text), text.length, out, err)
	    : no_memory(err);

	pd_buf_clear(&text);
	return st;
}

static pd_status head(const pd_watch_request *r, const pd_plan *plan,
                      pd_arena *arena, pd_watch_answer *a, pd_error *err)
{
	const pd_question *q = &plan->question[0];

	a->outcome_words = pd_query_words(q->outcome);
	a->judge_words = pd_words_judge(q);
	a->unit = pd_query_unit(q->outcome, q->judge);
	a->adjusters = pd_arena_print(arena, "age_y, %s", r->adjust);
	a->where_text = q->where_text;
	a->scale = q->scale;
	a->level = r->level;
	a->quarters = r->quarters;
	a->shift = r->shift;
	a->lambda = r->lambda;
	return a->adjusters ? PD_OK : no_memory(err);
}

/* An ISO day as a decimal year; NaN for NULL. */
static pd_status day_of(const char *iso, double *out, pd_error *err)
{
	int32_t day;
	int year, month, date;

	*out = NAN;
	if (!iso)
		return PD_OK;
	if (!pd_scan_date(iso, strlen(iso), &pd_date_iso, &day))
		return pd_fail(err, PD_USAGE, "the baseline's end: found '%s', "
		               "expected a day such as 2024-06-30", iso);
	pd_date_of(day, &year, &month, &date);
	int32_t first = pd_days_of(year, 1, 1);

	*out = year + (day - first) /
	                  (double)(pd_days_of(year + 1, 1, 1) - first);
	return PD_OK;
}

pd_status pd_watch_run(pd_store *s, const pd_watch_request *request,
                       const pd_run_options *options, pd_arena *arena,
                       pd_watch_answer *out, pd_error *err)
{
	pd_plan plan;
	pd_watch_request full = *request;
	struct pd_watch_cases cases;
	double until;
	pd_arena *scratch = pd_arena_new();
	pd_status st = scratch ? hold_equal(s, &full, arena, err)
	                       : no_memory(err);

	memset(out, 0, sizeof *out);
	request = &full;
	if (st == PD_OK)
		st = make_plan(request, arena, &plan, err);
	if (st == PD_OK)
		st = day_of(request->base_until, &until, err);
	if (st == PD_OK)
		st = pd_run_context(s, &plan, options, arena, &out->context,
		                    err);
	out->context.plan_name = NULL; /* asked by options */
	if (st == PD_OK)
		st = head(request, &plan, arena, out, err);
	if (st == PD_OK)
		st = pd_watch_cases_take(s, &plan, until, arena, scratch,
		                         &cases, err);
	if (st == PD_OK)
		out->refusal = cases.refusal;
	if (st == PD_OK && !out->refusal) {
		out->base_until = pd_watch_date(
		    arena, cases.item[cases.n_base - 1].time);
		st = out->base_until ? pd_watch_signals(&cases, arena, scratch,
		                                        out, err)
		                     : no_memory(err);
	}
	if (st == PD_OK && !out->refusal)
		st = pd_watch_funnel(&cases, arena, out, err);
	if (st == PD_OK && strcmp(plan.question[0].outcome, "cfu_f") == 0)
		st = pd_watch_dishes(s, arena, request->level, &out->dishes,
		                     err);
	pd_arena_free(scratch);
	return st;
}
