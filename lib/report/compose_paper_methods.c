/*
 * compose_paper_methods.c - the statistical methods in words, from the plan and
 * the methods that were chosen: each that was used is named with its source,
 * none that was not.
 */
#include "report/compose_paper.h"
#include "report/compose_words.h"

#include <math.h>
#include <string.h>

/* What the answers of the plan rest on, together. */
struct facts {
	size_t answered, refused, margins;
	size_t role[4], done[4]; /* declared, answered                       */
	unsigned used;
	bool ratio, points, share, yield, diluted, change, differs, each;
	bool looks_planned, looks_any, adjusted, versions;
	bool way[PD_N_SENSES];
	const char *within[4];
	size_t n_within;
};

static void note_within(struct facts *f, const char *within)
{
	for (size_t i = 0; within && i < f->n_within; i++)
		if (strcmp(f->within[i], within) == 0)
			return;
	if (within && f->n_within < 4)
		f->within[f->n_within++] = within;
}

static void note_answer(struct facts *f, const pd_answer *a,
                        const pd_paper_question *q)
{
	f->answered++;
	f->used |= a->used;
	f->done[a->role]++;
	f->ratio |= a->scale == PD_RATIO;
	f->points |= a->scale == PD_DIFFERENCE && !a->share && !a->events;
	f->share |= a->share;
	f->yield |= q->yield;
	f->diluted |= q->yield || q->concentration;
	f->change |= q->change;
	f->differs |= q->differs;
	f->each |= q->each;
	f->margins += isfinite(a->margin) != 0;
	f->looks_planned |= a->looks_paid && a->looks_planned;
	f->looks_any |= a->looks_paid && !a->looks_planned;
	f->adjusted |= a->adjusters != NULL;
	f->versions |=
	    a->adjusters && strstr(a->adjusters, "method version") != NULL;
	if (a->used & (PD_USED_PAIRS | PD_USED_SPLIT))
		note_within(f, q->within);
	for (size_t k = 0; k < a->n_sensitivity; k++)
		f->way[a->sensitivity[k].way] |= a->sensitivity[k].done;
}

static struct facts gather(const pd_paper *p)
{
	struct facts f = { 0 };

	for (size_t i = 0; i < p->review.n_answers; i++) {
		const pd_answer *a = &p->review.answer[i];

		f.role[a->role]++;
		if (pd_paper_answered(a))
			note_answer(&f, a, &p->question[i]);
		else
			f.refused++;
	}
	return f;
}

/* --- sentences ----------------------------------------------------------- */

static void say_units(pd_buf *b, const struct facts *f)
{
	for (size_t i = 0; i < f->n_within; i++)
		pd_buf_print(b, "%s%s",
		             i == 0                 ? ""
		             : i + 1 == f->n_within ? " or "
		                                    : ", ",
		             f->within[i]);
}

static void counted(pd_buf *b, size_t n, const char *one, const char *many)
{
	pd_number_count(b, n);
	pd_buf_print(b, " %s", n == 1 ? one : many);
}

static void say_data(pd_paper_doc *w, pd_buf *b)
{
	const pd_review *r = &w->p->review;
	const char *years = pd_paper_years(w->d, r);

	pd_buf_add(b,
	           "This is an observational study of past bone-marrow draws "
	           "of one clinic");
	if (years)
		pd_buf_print(b, ", %s", years);
	pd_buf_add(b, ". The database held ");
	counted(b, r->n_patients, "patient", "patients");
	pd_buf_add(b, ", ");
	counted(b, r->n_cases, "case (visit)", "cases (visits)");
	pd_buf_add(b, ", ");
	counted(b, r->n_sites, "site", "sites");
	pd_buf_add(b, " (entries in the bone), ");
	counted(b, r->n_aliquots, "aliquot", "aliquots");
	pd_buf_add(b, " (single pulls) and ");
	counted(b, r->n_results, "laboratory result", "laboratory results");
	pd_buf_add(b,
	           ". Files were checked by fixed rules on loading and taken "
	           "whole or not at all; ");
	counted(b, r->n_warnings, "warning", "warnings");
	pd_buf_add(b, r->n_warnings == 1 ? " about a value stayed open. "
	                                 : " about values stayed open. ");
}

static void say_questions(const struct facts *f, pd_buf *b)
{
	static const char *const word[] = { "primary", "secondary",
		                            "exploratory", "control" };
	size_t n = f->answered + f->refused, said = 0;

	pd_buf_add(b, "The plan declared ");
	counted(b, n, "question", "questions");
	pd_buf_add(b, ": ");
	for (size_t k = 0; k < 4; k++) {
		if (!f->role[k])
			continue;
		pd_buf_print(b, "%s", said++ ? ", " : "");
		pd_number_count(b, f->role[k]);
		pd_buf_print(b, " %s", word[k]);
	}
	pd_buf_add(b, ".");
	if (f->refused) {
		pd_buf_char(b, ' ');
		pd_number_count(b, f->refused);
		pd_buf_add(b, " could not be answered from these data and ");
		pd_buf_add(b, f->refused == 1 ? "is listed with the reason."
		                              : "are listed with the reason.");
	}
	if (f->role[PD_CONTROL])
		pd_buf_add(b, " A control question asks for an effect known "
		              "beforehand, to show that these data can show "
		              "one.");
}

static void say_outcome(const struct facts *f, pd_buf *b)
{
	if (f->diluted)
		pd_buf_add(b, "Concentrations are those of undiluted marrow, "
		              "corrected for the recorded volume of "
		              "anticoagulant. ");
	if (f->yield)
		pd_buf_add(b, "Yields are concentration times volume, of "
		              "sites and cases only where results cover every "
		              "mL drawn. ");
	if (f->ratio)
		pd_buf_add(b, "Counts and concentrations were analysed on the "
		              "natural logarithm and effects are given as "
		              "ratios of geometric means. ");
	if (f->points)
		pd_buf_add(b, "Percentages were analysed as they are and "
		              "effects are given in percentage points. ");
}

static void say_share(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (f->share)
		pd_buf_print(b,
		             "The share of results that reach a floor was "
		             "analysed by a linear model of the chance %s. ",
		             pd_paper_cite(w, PD_CITED_COX));
}

static void say_events(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (!(f->used & (PD_USED_EXACT | PD_USED_LOGISTIC)))
		return;
	const char *share = pd_paper_cite(w, PD_CITED_CLOPPER);
	const char *two = pd_paper_cite_two(w, PD_CITED_CHAN, PD_CITED_BERGER);

	pd_buf_print(b,
	             "Of adverse events a patient counted once, by the first "
	             "unit at a compared level with the field filled; shares "
	             "have exact limits %s, their differences and ratios "
	             "exact limits by the score %s. ", share, two);
	if (f->used & PD_USED_LOGISTIC)
		pd_buf_print(b,
		             "With ten events for each column held equal %s the "
		             "difference is that of the chances of a logistic "
		             "model averaged over the patients. ",
		             pd_paper_cite(w, PD_CITED_PEDUZZI));
}

static void say_pairs(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (f->used & PD_USED_PAIRS)
		pd_buf_print(b,
		             "Where both levels were drawn inside one unit "
		             "and every result was a number, each patient was "
		             "compared with themselves: the mean of the "
		             "patients' paired differences with an interval by "
		             "Student's t %s, a patient's several pairs "
		             "averaged first. ",
		             pd_paper_cite(w, PD_CITED_STUDENT));
}

static void say_model(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (!(f->used & PD_USED_MODEL))
		return;
	const char *reml = pd_paper_cite(w, PD_CITED_HARVILLE);
	const char *df = pd_paper_cite(w, PD_CITED_KENWARD);

	pd_buf_print(b,
	             "%s linear mixed models were fitted by restricted "
	             "maximum likelihood %s with random intercepts for "
	             "patient, case, side, site and pull as far as the data "
	             "hold several rows of one, so that repeated draws of a "
	             "patient are not taken for independent; intervals and "
	             "tests use the degrees of freedom and errors of Kenward "
	             "and Roger %s. ",
	             f->used & PD_USED_PAIRS ? "Otherwise" : "Nested", reml,
	             df);
	if (f->used & PD_USED_SPLIT) {
		pd_buf_add(b, "For comparisons inside the same ");
		say_units(b, f);
		pd_buf_print(b,
		             " the effect was parted into what differs "
		             "inside and between units, and the part inside is "
		             "reported %s. ",
		             pd_paper_cite(w, PD_CITED_NEUHAUS));
	}
	if (f->used & PD_USED_CURVE)
		pd_buf_print(
		    b,
		    "Curves are restricted cubic splines with "
		    "knots at fixed quantiles, four or, where the "
		    "values bear no more, three %s; two values on the "
		    "curve are compared, none outside the range seen. ",
		    pd_paper_cite(w, PD_CITED_DURRLEMAN));
	if (f->used & PD_USED_CALENDAR)
		pd_buf_print(b,
		             "Before and after a date were compared with a "
		             "steady calendar slope held equal %s. ",
		             pd_paper_cite(w, PD_CITED_WAGNER));
	if (f->differs)
		pd_buf_add(b, "Whether an effect differs by a modifier was "
		              "judged by their product. ");
	if (f->each)
		pd_buf_add(b, "Several levels were each compared with the mean "
		              "of all. ");
}

static void say_adjusters(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (!f->adjusted) {
		pd_buf_add(b, "Nothing else was held equal. ");
		return;
	}
	if (w->held)
		pd_buf_print(b,
		             "What each model held equal, as named in the "
		             "plan, stands in Table %u%s. ",
		             w->held,
		             f->versions ? "; the laboratory's method versions "
		                           "are among it"
		                         : "");
	pd_buf_add(b, "Rows without a value of an adjuster were left out "
	              "(complete cases); no missing adjuster was filled in. ");
}

static void say_limits(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (!(f->used & PD_USED_LIMITS))
		return;
	const char *drawn =
	    pd_paper_cite_two(w, PD_CITED_RUBIN, PD_CITED_LUBIN);
	const char *joined = pd_paper_cite(w, PD_CITED_BARNARD);

	pd_buf_print(b,
	             "Results known only as limits (no colony, below "
	             "detection, above range, too many to count) were "
	             "neither left out nor replaced by a constant: they "
	             "were drawn repeatedly from the fitted model "
	             "between their limits %s and the fits combined "
	             "%s. ",
	             drawn, joined);
}

static void say_margins(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (!f->margins) {
		pd_buf_add(b, "No margin was declared, so no difference is "
		              "called irrelevant. ");
		return;
	}
	pd_buf_add(b, "A margin below which a difference would not change "
	              "practice was declared for ");
	counted(b, f->margins, "answered question", "answered questions");
	pd_buf_print(b,
	             " (margin sheet); an effect is called of no relevance "
	             "only where its whole interval lies inside the margin "
	             "and two one-sided tests %s, adjusted like the other P "
	             "values of the question's role, agree. ",
	             pd_paper_cite(w, PD_CITED_SCHUIRMANN));
}

/* Margins and reasons of the primary questions; the others' are in the sheet. */
static void say_primary_margins(pd_paper_doc *w, pd_buf *b)
{
	const pd_review *r = &w->p->review;
	bool any = false;

	for (size_t i = 0; i < r->n_answers; i++) {
		const pd_answer *a = &r->answer[i];
		const char *why = w->p->question[i].margin_reason;

		if (a->role != PD_PRIMARY || !pd_paper_answered(a) ||
		    !isfinite(a->margin))
			continue;
		pd_buf_print(b, "%sQ%zu, %s %s%s%s",
		             any ? "; " : "Margins of the primary questions: ",
		             i + 1,
		             a->scale == PD_RATIO ? "a ratio of"
		                                  : "percentage points of",
		             pd_paper_margin(w->d, a), why ? ", because " : "",
		             why ? why : "");
		any = true;
	}
	if (any)
		pd_buf_add(b, ". ");
}

/* How it came about who got which, as the plan says. */
static void say_assigned(pd_paper_doc *w, pd_buf *b)
{
	bool any = false;

	for (size_t i = 0; i < w->p->review.n_answers; i++) {
		if (!w->p->question[i].assigned)
			continue;
		pd_buf_print(b, "%sQ%zu, %s",
		             any ? "; "
		                 : " How it came about who got which, as the "
		                   "plan says: ",
		             i + 1, w->p->question[i].assigned);
		any = true;
	}
	if (any)
		pd_buf_char(b, '.');
}

static void say_levels(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	const pd_review *r = &w->p->review;

	pd_buf_print(b,
	             "Intervals have a level of %s and P values are "
	             "two-sided. ",
	             pd_say_review_level(w->d, r));
	if (f->done[PD_PRIMARY])
		pd_buf_add(b, "Primary questions were each judged at the full "
		              "level. ");
	if (f->done[PD_SECONDARY])
		pd_buf_print(b,
		             "P values of secondary questions were adjusted "
		             "together by Holm's rule %s. ",
		             pd_paper_cite(w, PD_CITED_HOLM));
	if (f->done[PD_EXPLORATORY])
		pd_buf_print(b,
		             "P values of exploratory questions were "
		             "adjusted together by the rule of Benjamini and "
		             "Hochberg %s. ",
		             pd_paper_cite(w, PD_CITED_BENJAMINI));
	pd_buf_add(b, "In all, ");
	counted(b, r->n_tests, "effect was tested. ", "effects were tested. ");
}

static void say_looks(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	if (f->looks_planned)
		pd_buf_print(
		    b,
		    "Primary questions are read repeatedly as data "
		    "come in; with %zu readings planned, their "
		    "intervals spend the error over all of them %s. ",
		    w->p->looks,
		    pd_paper_cite_two(w, PD_CITED_POCOCK, PD_CITED_LAN));
	if (f->looks_any)
		pd_buf_print(
		    b,
		    "Where no number of readings was planned, or "
		    "there were more, intervals of primary questions "
		    "hold for any number of them %s. ",
		    pd_paper_cite_two(w, PD_CITED_ROBBINS, PD_CITED_HOWARD));
}

/* --- other ways ---------------------------------------------------------- */

enum { NONE = PD_N_CITED };

/* What was also done: a phrase a way, with up to two sources. */
static const struct way {
	pd_sense_way way;
	const char *words;
	int first, second;
} ways[] = {
	{ PD_SENSE_UNADJUSTED, "an unadjusted analysis across patients", NONE,
	  NONE },
	{ PD_SENSE_SIGNED_RANK,
	  "the signed-rank test with the Hodges-Lehmann "
	  "interval",
	  PD_CITED_WILCOXON, PD_CITED_HODGES },
	{ PD_SENSE_RANK_SUM,
	  "the rank-sum test of patients with one level "
	  "only",
	  PD_CITED_MANN, NONE },
	{ PD_SENSE_FLIPS,
	  "a permutation test by the signs of the paired "
	  "differences",
	  PD_CITED_PHIPSON, NONE },
	{ PD_SENSE_DRAWN, "a bootstrap interval with patients drawn anew",
	  PD_CITED_EFRON, NONE },
	{ PD_SENSE_MODEL, "a mixed model inside the unit in place of pairs",
	  NONE, NONE },
	{ PD_SENSE_WEIGHTS, "overlap weights from a logistic propensity model",
	  PD_CITED_LI, PD_CITED_LUNCEFORD },
	{ PD_SENSE_CALENDAR, "a calendar slope added", NONE, NONE },
	{ PD_SENSE_NO_CALENDAR, "the calendar slope left out", NONE, NONE },
	{ PD_SENSE_MEASURED, "zeros and limits left out (known to be biased)",
	  NONE, NONE },
	{ PD_SENSE_ROBUST,
	  "errors robust to what results of one patient "
	  "share",
	  PD_CITED_BELL, PD_CITED_PUSTEJOVSKY },
	{ PD_SENSE_COUNTS,
	  "colonies as negative binomial counts with random "
	  "intercepts",
	  PD_CITED_LAWLESS, PD_CITED_PINHEIRO },
	{ PD_SENSE_FIRST_CASES, "the first case of each patient only", NONE,
	  NONE },
	{ PD_SENSE_WITHOUT_OPERATOR, "each operator left out in turn", NONE,
	  NONE },
	{ PD_SENSE_EXACT, "shares of events unadjusted, with exact limits",
	  NONE, NONE },
	{ PD_SENSE_SCORE, "score limits of shares of events",
	  PD_CITED_MIETTINEN, NONE },
};

static void say_ways(pd_paper_doc *w, const struct facts *f, pd_buf *b)
{
	bool any = false;

	for (size_t i = 0; i < sizeof ways / sizeof *ways; i++) {
		const struct way *y = &ways[i];

		if (!f->way[y->way])
			continue;
		pd_buf_print(b, "%s%s",
		             any ? "; "
		                 : "Sensitivity analyses, "
		                   "each where it applies: ",
		             y->words);
		any = true;
		if (y->second != NONE)
			pd_buf_print(b, " %s",
			             pd_paper_cite_two(w, (pd_cited)y->first,
			                               (pd_cited)y->second));
		else if (y->first != NONE)
			pd_buf_print(b, " %s",
			             pd_paper_cite(w, (pd_cited)y->first));
	}
	if (any)
		pd_buf_add(b, ". ");
}

/* --- the text ------------------------------------------------------------ */

static void paragraph(pd_paper_doc *w, pd_buf *b)
{
	while (b->length && b->data[b->length - 1] == ' ')
		b->data[--b->length] = '\0';
	pd_doc_paragraph(w->d, PD_PLAIN, pd_doc_take(w->d, b));
}

void pd_paper_methods(pd_paper_doc *w)
{
	struct facts f = gather(w->p);
	pd_buf b;

	pd_doc_heading(w->d, 2, "methods", "Methods text");
	pd_doc_heading(w->d, 3, NULL, "Data and questions");
	pd_buf_init(&b);
	say_data(w, &b);
	say_questions(&f, &b);
	pd_buf_print(&b,
	             " Each compared level, or the pairing, had to have at "
	             "least %zu patients; all draws that met a question's "
	             "conditions were used, and no number was set beforehand.",
	             w->p->min_patients);
	say_assigned(w, &b);
	paragraph(w, &b);
	if (!f.answered)
		return;
	pd_doc_heading(w->d, 3, NULL, "Statistical analysis");
	say_outcome(&f, &b);
	say_share(w, &f, &b);
	say_events(w, &f, &b);
	say_pairs(w, &f, &b);
	say_model(w, &f, &b);
	paragraph(w, &b);
	say_adjusters(w, &f, &b);
	say_limits(w, &f, &b);
	paragraph(w, &b);
	say_margins(w, &f, &b);
	say_primary_margins(w, &b);
	say_levels(w, &f, &b);
	say_looks(w, &f, &b);
	paragraph(w, &b);
	say_ways(w, &f, &b);
	if (b.length)
		paragraph(w, &b);
}
