/*
 * expect.c - what is asked put as a question of a plan (yield of a pull, at one
 * bone landmark), so that rows are chosen, counted and noted as for every
 * question; then seen, fitted, drawn, checked.
 */
#include "plan/expect_own.h"
#include "data/query.h"
#include "data/vocab.h"
#include "base/near.h"
#include "plan/question.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* --- numbers of an option ------------------------------------------------ */

static pd_status bad_number(const char *option, const char *text, bool whole,
                            double largest, size_t most, pd_error *err)
{
	return pd_fail(err, PD_USAGE,
	               "option '--%s' wants up to %zu %s above 0 and at most "
	               "%g, ascending, parted by blanks, found '%s'", option,
	               most, whole ? "whole numbers" : "numbers", largest,
	               text);
}

pd_status pd_expect_numbers(const char *option, const char *text, bool whole,
                            double largest, size_t most, double *out,
                            size_t *n, pd_error *err)
{
	static const char gap[] = " \t,";
	char word[32];

	*n = 0;
	for (const char *at = text + strspn(text, gap); *at;
	     at += strspn(at, gap)) {
		size_t length = strcspn(at, gap);
		double x;

		if (*n == most || length >= sizeof word)
			return bad_number(option, text, whole, largest, most,
			                  err);
		memcpy(word, at, length);
		word[length] = '\0';
		if (!pd_plan_number(word, &x) || !(x > 0) || x > largest ||
		    (whole && floor(x) < x) || (*n && x <= out[*n - 1]))
			return bad_number(option, text, whole, largest, most,
			                  err);
		out[(*n)++] = x;
		at += length;
	}
	return *n ? PD_OK
	          : bad_number(option, text, whole, largest, most, err);
}

/* --- words --------------------------------------------------------------- */

static pd_status list_words(pd_field f, const char *option, const char *found,
                            pd_arena *arena, pd_error *err)
{
	const char *const *known = pd_vocab_words(f);
	pd_near near = { .given = found };
	const char *all = "";

	for (size_t k = 0; known[k]; k++)
		pd_near_try(&near, known[k]);
	for (size_t k = 0; all && known[k]; k++)
		all = pd_arena_print(arena, "%s%s%s", all, k ? ", " : "",
		                     known[k]);
	return pd_fail(err, PD_USAGE, "option '--%s': no '%s'; there are %s%s",
	               option, found, all ? all : "others",
	               pd_near_words(&near));
}

static pd_status no_yield(const char *outcome, pd_error *err)
{
	static const char *const known[] = { "tnc", "mnc", "cd34", "cd271",
		                             "cfu_f" };
	pd_near near = { .given = outcome };

	for (size_t k = 0; k < sizeof known / sizeof *known; k++)
		pd_near_try(&near, known[k]);
	return pd_fail(err, PD_USAGE, "outcome '%s' has no yield; there are "
	               "tnc, mnc, cd34, cd271, cfu_f%s", outcome,
	               pd_near_words(&near));
}

static pd_status take_words(struct pd_expect_work *w, pd_error *err)
{
	const pd_expect_request *ask = w->ask;
	pd_expect_answer *a = w->a;
	int sex = pd_vocab_code(PD_F_SEX, ask->sex);
	int mark = ask->landmark ? pd_vocab_code(PD_F_LANDMARK, ask->landmark)
	                         : 0;

	if (!pd_query_words(ask->outcome) ||
	    !pd_query_unit(ask->outcome, "yield"))
		return no_yield(ask->outcome, err);
	if (sex < 0)
		return list_words(PD_F_SEX, "sex", ask->sex, w->arena, err);
	if (mark < 0)
		return list_words(PD_F_LANDMARK, "landmark", ask->landmark,
		                  w->arena, err);
	for (const char *c = ask->adjust; c && *c; c++)
		if ((unsigned char)*c < 0x20 || *c == 0x7f || *c == '#')
			return pd_fail(err, PD_USAGE, "option '--adjust' cannot "
			               "hold control characters or '#'");
	a->outcome_words = pd_query_words(ask->outcome);
	a->unit = pd_query_unit(ask->outcome, "yield");
	a->sex = pd_vocab_words(PD_F_SEX)[sex];
	if (ask->landmark)
		a->landmark = pd_vocab_words(PD_F_LANDMARK)[mark];
	return PD_OK;
}

/* --- what most patients had ---------------------------------------------- */

/* Patients with a result at a landmark (code) or, when it is -1, with a
 * syringe of that size at w's landmark. */
static size_t patients_at(const pd_frame *f, int32_t code, double syringe)
{
	const pd_column *mark = pd_frame_find(f, "landmark");
	const pd_column *who = pd_frame_find(f, "patient");
	const pd_column *size = pd_frame_find(f, "syringe_ml");
	const pd_column *low = pd_frame_find(f, "low");
	int32_t last = -1;
	size_t n = 0;

	for (size_t i = 0; i < pd_frame_rows(f); i++)
		if (mark->code[i] == code && who->code[i] != last &&
		    !isnan(low->real[i]) &&
		    (isnan(syringe) ||
		     fabs(size->real[i] - syringe) <= 1e-9 * syringe)) {
			last = who->code[i];
			n++;
		}
	return n;
}

static int32_t usual_landmark(struct pd_expect_work *w, const pd_frame *f)
{
	const pd_column *c = pd_frame_find(f, "landmark");
	size_t most = 0;
	int32_t best = -1;

	for (size_t k = 0; k < c->n_levels; k++) {
		size_t n = w->a->landmark
		               ? strcmp(c->level[k], w->a->landmark) == 0
		               : patients_at(f, (int32_t)k, NAN);

		if (n <= most)
			continue;
		most = n;
		best = (int32_t)k;
	}
	if (best >= 0 && !w->a->landmark)
		w->a->landmark = pd_vocab_words(PD_F_LANDMARK)[pd_vocab_code(
		    PD_F_LANDMARK, c->level[best])];
	return best;
}

/*
 * Syringe sizes go along with mL, so they are held equal wherever every result
 * has one and they differ: held at the size asked for, or that most patients
 * had. Few sizes exist: each row's is counted when it is a new one.
 */
static pd_status usual_syringe(struct pd_expect_work *w, const pd_frame *f,
                               int32_t mark, pd_error *err)
{
	enum { SIZES = 24 };
	const pd_column *at = pd_frame_find(f, "landmark");
	const pd_column *size = pd_frame_find(f, "syringe_ml");
	const pd_column *low = pd_frame_find(f, "low");
	double seen[SIZES], best = NAN, asked = w->ask->syringe_ml;
	pd_expect_answer *a = w->a;
	size_t n = 0, missing = 0, all = 0, most = 0;

	for (size_t i = 0; i < pd_frame_rows(f); i++) {
		double x = size->real[i];
		size_t k = 0;

		if (at->code[i] != mark || isnan(low->real[i]))
			continue;
		all++;
		missing += !(x > 0);
		while (k < n && fabs(seen[k] - x) > 1e-9 * x)
			k++;
		if (x > 0 && k == n && n < SIZES)
			seen[n++] = x;
	}
	for (size_t k = 0; k < n; k++) {
		size_t patients = patients_at(f, mark, seen[k]);

		if (patients > most) {
			most = patients;
			best = seen[k];
		}
	}
	w->holds_syringe = n > 1 && missing == 0;
	if (!isnan(asked) && patients_at(f, mark, asked) < PD_EXPECT_LEAST) {
		a->refusal = pd_arena_print(
		    w->arena, "a syringe of %g mL was not seen in at least %d "
		    "patients", asked, PD_EXPECT_LEAST);
		return a->refusal ? PD_OK : no_memory(err);
	}
	bool named = w->ask->adjust && strstr(w->ask->adjust, "syringe_ml");

	a->syringe_ml = !isnan(asked)         ? asked
	                : !missing || named ? best
	                                      : (double)NAN;
	if (!missing || named || n < 2)
		return PD_OK;
	a->note[a->n_notes++] = pd_arena_print(
	    w->arena, "Syringe sizes differ but are not recorded for %zu of %zu "
	    "results, so they are not held equal; part of what mL seems to do "
	    "may be theirs.", missing, all);
	return a->note[a->n_notes - 1] ? PD_OK : no_memory(err);
}

static pd_status take_usual(struct pd_expect_work *w, pd_store *s,
                            pd_error *err)
{
	static const char *const names[] = { "landmark", "syringe_ml" };
	pd_query_request r = { .outcome = w->ask->outcome, .judge = "yield",
		               .grain = PD_BY_ALIQUOT, .columns = names,
		               .n_columns = 2 };
	pd_frame *f = NULL;
	pd_status st = pd_query_frame(s, &r, &f, NULL, err);

	if (st != PD_OK)
		return st;
	st = usual_syringe(w, f, usual_landmark(w, f), err);
	pd_frame_free(f);
	return st;
}

/* --- the question -------------------------------------------------------- */

static const char *const held[] = {
	"age_y", "sex", "site_in_side", "aliquot_no", "total_ml",
	"method_version", NULL
};
static const char ours[] = "age_y, sex, site_in_side, aliquot_no, total_ml";

bool pd_expect_is_held(const char *name)
{
	for (const char *const *k = held; *k; k++)
		if (strcmp(name, *k) == 0)
			return true;
	return false;
}

/* Ours and the user's adjusters beyond the columns of every model. */
static const char *more_adjusters(struct pd_expect_work *w)
{
	static const char syringe[] = "log syringe_ml";
	const char *all = w->holds_syringe ? ", log syringe_ml" : "";
	const char *at = w->ask->adjust ? w->ask->adjust : "";

	while (all && *at) {
		size_t n = strcspn(at, ",");
		const char *from = at + strspn(at, " \t");
		size_t length = n > (size_t)(from - at)
		                    ? n - (size_t)(from - at)
		                    : 0;
		char *word = pd_arena_copy_n(w->scratch, from, length);

		while (word && length && strchr(" \t", word[length - 1]))
			word[--length] = '\0';
		if (!word)
			return NULL;
		if (!pd_expect_is_held(word) &&
		    !(w->holds_syringe && strcmp(word, syringe) == 0))
			all = pd_arena_print(w->scratch, "%s, %s", all, word);
		at += n + (at[n] == ',');
	}
	return all;
}

static pd_status make_plan(struct pd_expect_work *w, pd_plan *plan,
                           pd_error *err)
{
	const pd_expect_answer *a = w->a;
	const char *more = more_adjusters(w);
	const char *text = more ? pd_arena_print(
	    w->arena,
	    "[plan]\nlevel = %.17g\nseed = %llu\n\n[yield]\ntitle = Yield of "
	    "a pull by mL\noutcome = %s\njudge = yield per pull\nslope = "
	    "volume_ml per doubling\nadjust = %s%s\n%s%s%srole = exploratory\n",
	    a->level, w->ask->seed, w->ask->outcome, ours, more,
	    a->landmark ? "where = landmark is " : "",
	    a->landmark ? a->landmark : "", a->landmark ? "\n" : "") : NULL;

	if (!text)
		return no_memory(err);
	pd_status st = pd_plan_options(w->arena, text, strlen(text), plan, err);

	w->plan = plan;
	w->q = plan->question;
	return st;
}

/* --- rows ---------------------------------------------------------------- */

static const double *reals(const struct pd_expect_work *w, const char *name)
{
	const pd_column *c = pd_frame_find(w->rows.model, name);

	return c && c->kind == PD_REAL ? c->real : NULL;
}

static void newest_version(struct pd_expect_work *w)
{
	const double *date = reals(w, "case_date");
	const pd_column *v = pd_frame_find(w->rows.model, "method_version");
	size_t at = 0;

	w->version = v;
	if (!v || v->n_levels < 2)
		return;
	for (size_t i = 1; i < w->rows.n; i++)
		if (date && !(date[i] < date[at]))
			at = i;
	w->a->version = pd_arena_copy(w->arena, v->level[v->code[at]]);
}

static void take_notes(struct pd_expect_work *w)
{
	const pd_rows *r = &w->rows;
	const char *const all[] = { r->pool_note, r->incomplete_note,
		                    r->zero_note, r->where_note,
		                    r->dilution_note };
	pd_expect_answer *a = w->a;

	for (size_t k = 0; k < sizeof all / sizeof *all; k++)
		if (all[k])
			a->note[a->n_notes++] = all[k];
	a->n_flow = r->n_flow;
	a->flow = PD_NEW(w->arena, pd_flow, r->n_flow + 1);
	if (a->flow)
		memcpy(a->flow, r->flow, r->n_flow * sizeof *a->flow);
}

static pd_status held_words(struct pd_expect_work *w, pd_error *err)
{
	const char *words = NULL;

	for (size_t k = 5; k < w->q->n_adjust; k++) {
		const char *name = pd_query_words(w->q->adjust[k]);
		const pd_column *c = pd_frame_find(
		    w->rows.model, pd_rows_adjuster(w->arena, w->q, k));
		const char *where =
		    strcmp(w->q->adjust[k], "case_date") == 0
		        ? "at the last case"
		    : strcmp(w->q->adjust[k], "syringe_ml") == 0 &&
		            w->q->adjust_log[k]
		        ? pd_arena_print(w->arena, "at %g", w->a->syringe_ml)
		    : c && c->kind == PD_FACTOR ? "in the shares seen"
		                                : "at its mean";

		words = pd_arena_print(w->arena, "%s%s%s %s",
		                       words ? words : "", words ? "; " : "",
		                       name, where);
		if (!words)
			return no_memory(err);
	}
	w->a->held = words;
	return PD_OK;
}

static pd_status take_rows(struct pd_expect_work *w, pd_store *s,
                           pd_error *err)
{
	pd_expect_answer *a = w->a;
	pd_status st = pd_rows_take(s, w->q, w->arena, w->scratch, &w->rows,
	                            err);

	if (st != PD_OK)
		return st;
	take_notes(w);
	if (!a->flow)
		return no_memory(err);
	w->age = reals(w, "age_y");
	w->order = reals(w, "site_in_side");
	w->pull = reals(w, "aliquot_no");
	w->recorded_ml = reals(w, "total_ml");
	w->ml = w->rows.raw;
	w->sex = pd_frame_find(w->rows.model, "sex");
	if (w->rows.n)
		newest_version(w);
	return held_words(w, err);
}

static pd_status enough(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;
	size_t n = w->rows.n ? w->rows.n_groups[0] : 0;

	if (n >= PD_EXPECT_FEWEST)
		return PD_OK;
	a->refusal = pd_arena_print(
	    w->arena, "%zu patient%s %s of single pulls with age, sex and volume "
	    "recorded%s%s; at least %d are needed", n,
	    n == 1 ? " has" : "s have", a->outcome_words,
	    a->landmark ? " at the " : "", a->landmark ? a->landmark : "",
	    PD_EXPECT_FEWEST);
	return a->refusal ? PD_OK : no_memory(err);
}

/* --- all of it ----------------------------------------------------------- */

static pd_status foretell(struct pd_expect_work *w, pd_error *err)
{
	pd_expect_answer *a = w->a;
	pd_status st = pd_expect_see(w, err);

	if (st == PD_OK)
		st = pd_expect_usual(w, err);
	if (st == PD_OK)
		st = pd_expect_patient(w, &a->refusal, err);
	if (st == PD_OK && !a->refusal)
		st = pd_expect_model(w, err);
	if (st == PD_OK && !a->refusal)
		st = pd_expect_cells(w, err);
	return st == PD_OK && !a->refusal ? pd_expect_check(w, err) : st;
}

static pd_status run(struct pd_expect_work *w, pd_store *s,
                     const pd_run_options *options, pd_plan *plan,
                     pd_error *err)
{
	pd_status st = take_words(w, err);

	if (st == PD_OK)
		st = take_usual(w, s, err);
	if (st == PD_OK)
		st = make_plan(w, plan, err);
	if (st == PD_OK)
		st = pd_run_context(s, plan, options, w->arena, &w->a->context,
		                    err);
	if (st == PD_OK)
		st = take_rows(w, s, err);
	if (st == PD_OK && !w->a->refusal)
		st = enough(w, err);
	return st == PD_OK && !w->a->refusal ? foretell(w, err) : st;
}

pd_status pd_expect_run(pd_store *s, const pd_expect_request *request,
                        const pd_run_options *options, pd_arena *arena,
                        pd_expect_answer *out, pd_error *err)
{
	struct pd_expect_work w = { .ask = request, .arena = arena, .a = out };
	pd_plan *plan = PD_NEW(arena, pd_plan, 1);

	memset(out, 0, sizeof *out);
	out->age = request->age_y;
	out->target = request->target;
	out->given_ml = request->total_ml;
	out->weight_kg = request->weight_kg;
	out->level = request->level;
	out->volume.value = NAN;
	pd_base_init();
	w.scratch = pd_arena_new();
	pd_status st = plan && w.scratch ? run(&w, s, options, plan, err)
	                                 : no_memory(err);

	pd_rows_clear(&w.rows);
	pd_frame_free(w.frame);
	pd_arena_free(w.scratch);
	return st;
}
