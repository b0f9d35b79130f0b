/*
 * compose_expect.c - what a draw may yield, as a document: the answer in a
 * sentence, the patient it is about, the map, and harm beside gain.
 */
#include "report/compose_expect.h"
#include "report/compose.h"
#include "report/figure_map.h"

#include <math.h>
#include <string.h>

enum { BLOOD_ML_PER_KG = 70 };

/* --- numbers in words ---------------------------------------------------- */

static double rounded(double x)
{
	double step = x > 0 ? pow(10, floor(log10(x)) - 2) : 1;

	return step > 1 ? floor(x / step + 0.5) * step : x;
}

const char *pd_expect_yield(pd_doc *d, double x)
{
	return pd_say_short(d, rounded(x));
}

const char *pd_expect_amount(pd_doc *d, const pd_expect_answer *a, double x)
{
	return pd_doc_print(d, "%s %s%s", pd_expect_yield(d, x),
	                    pd_say_unit(d, a->unit),
	                    strncmp(a->unit, "10^", 3) == 0 ? " cells" : "");
}

const char *pd_expect_of_100(pd_doc *d, double chance)
{
	if (isnan(chance))
		return NULL;
	if (chance < 0.01)
		return "fewer than 1";
	if (chance > 0.99)
		return "more than 99";
	return pd_say_count(d, (size_t)(100 * chance + 0.5));
}

const char *pd_expect_cell_chance(pd_doc *d, const pd_expect_cell *c)
{
	if (c->chance < 0.01)
		return "<1";
	return c->chance > 0.99 ? ">99" : pd_expect_of_100(d, c->chance);
}

static const char *ml_words(pd_doc *d, double ml)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_number_short(&b, ml);
	return pd_doc_take(d, &b);
}

const char *pd_expect_sites(pd_doc *d, const pd_expect_cell *c)
{
	return pd_doc_print(d, "%zu site%s of %s mL", c->sites,
	                    c->sites == 1 ? "" : "s", ml_words(d, c->site_ml));
}

double pd_expect_blood(const pd_expect_answer *a, double ml)
{
	return 100 * ml / (BLOOD_ML_PER_KG * a->weight_kg);
}

/* --- the answer in a sentence -------------------------------------------- */

/* Cell k of the map, then of the volume shared; NULL past the last. */
static const pd_expect_cell *cell_at(const pd_expect_answer *a, size_t k)
{
	size_t n = a->n_across * a->n_down;

	if (k < n)
		return &a->cell[k];
	return k - n < a->n_shared ? &a->shared[k - n] : NULL;
}

/* The cell of fewest mL in all (then sites) whose chance is q or more. */
static const pd_expect_cell *fewest(const pd_expect_answer *a, double q)
{
	const pd_expect_cell *best = NULL, *c;

	for (size_t k = 0; (c = cell_at(a, k)); k++) {

		if (!c->refused && c->chance >= q &&
		    (!best || c->total_ml < best->total_ml ||
		     (!(c->total_ml > best->total_ml) &&
		      c->sites < best->sites)))
			best = c;
	}
	return best;
}

static const pd_expect_cell *likeliest(const pd_expect_answer *a)
{
	const pd_expect_cell *best = NULL, *c;

	for (size_t k = 0; (c = cell_at(a, k)); k++)
		if (!c->refused && (!best || c->chance > best->chance))
			best = c;
	return best;
}

/* The seen cell in the middle, to speak of without a target. */
static const pd_expect_cell *middle(const pd_expect_answer *a)
{
	const pd_expect_cell *seen[PD_EXPECT_SITES * (PD_EXPECT_DEEP + 1)], *c;
	size_t n = 0;

	for (size_t k = 0; (c = cell_at(a, k)); k++)
		if (!c->refused)
			seen[n++] = c;
	return n ? seen[n / 2] : NULL;
}

/* "about 82 (95% limits 77 to 86)", "fewer than 1 (...)" */
static const char *about(pd_doc *d, const pd_expect_answer *a,
                         const pd_expect_cell *c)
{
	bool edge = c->chance < 0.01 || c->chance > 0.99;
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, edge ? "" : "about ");
	pd_buf_add(&b, pd_expect_of_100(d, c->chance));
	pd_buf_add(&b, " (");
	pd_number_level(&b, a->level);
	pd_buf_print(&b, " limits %s)", pd_expect_limits(d, c));
	return pd_doc_take(d, &b);
}

/* "4 sites of 5 mL (20 mL in all, 4 punctures)" */
static const char *drawn_as(pd_doc *d, const pd_expect_cell *c)
{
	return pd_doc_print(d, "%s (%s mL in all, %zu puncture%s)",
	                    pd_expect_sites(d, c), ml_words(d, c->total_ml),
	                    c->sites, c->sites == 1 ? "" : "s");
}

static const char *spread_of(pd_doc *d, const pd_expect_answer *a,
                             const pd_expect_cell *c)
{
	return pd_doc_print(
	    d, "half of them would be above %s and 80 of 100 between %s and %s",
	    pd_expect_amount(d, a, c->median), pd_expect_yield(d, c->low_80),
	    pd_expect_yield(d, c->high_80));
}

static const char *of_cell(pd_doc *d, const pd_expect_answer *a,
                           const pd_expect_cell *c)
{
	return pd_doc_print(d, "of such patients, drawn from %s, %s",
	                    drawn_as(d, c), spread_of(d, a, c));
}

static const char *lead(pd_doc *d, const pd_expect_answer *a)
{
	const pd_expect_cell *c, *m;

	if (a->refusal)
		return pd_doc_print(d, "This cannot be foretold from these "
		                    "data: %s.", a->refusal);
	m = middle(a);
	if (isnan(a->target))
		return m ? pd_doc_print(d, "%s.", of_cell(d, a, m)) : "";
	c = fewest(a, 0.8);
	if (c)
		return pd_doc_print(
		    d, "of 100 such patients %s would reach %s with %s; "
		    "%s. Of all that was seen and asked for it is the fewest "
		    "mL for 80 of 100.", about(d, a, c),
		    pd_expect_amount(d, a, a->target), drawn_as(d, c),
		    spread_of(d, a, c));
	c = likeliest(a);
	return c ? pd_doc_print(
	               d, "nothing that was seen and asked for would bring 80 "
	               "of 100 such patients to %s; the most, %s of 100, with "
	               "%s.", pd_expect_amount(d, a, a->target),
	               about(d, a, c), drawn_as(d, c))
	         : "";
}

/* --- who and how --------------------------------------------------------- */

static void basis(pd_doc *d, const pd_expect_answer *a)
{
	pd_block *list = pd_doc_definitions(d);

	pd_doc_define(d, list, "Such patients",
	              pd_doc_print(d, "%s, %s years", a->sex,
	                           ml_words(d, a->age)));
	pd_doc_define(d, list, "Drawn at",
	              a->landmark ? a->landmark : "landmark not recorded");
	pd_doc_define(d, list, "Judged",
	              pd_doc_print(d, "%s: yield of a case, %s",
	                           a->outcome_words, pd_say_unit(d, a->unit)));
	if (!isnan(a->target))
		pd_doc_define(d, list, "Target",
		              pd_expect_amount(d, a, a->target));
	if (!isnan(a->given_ml))
		pd_doc_define(d, list, "At most drawn",
		              pd_doc_print(d, "%s mL in all",
		                           ml_words(d, a->given_ml)));
	if (a->refusal)
		return;
	pd_doc_define(d, list, "How",
	              pd_doc_print(d, "%s; every site in %zu pull%s of equal "
	                           "mL; otherwise as this clinic draws",
	                           a->sides > 1 ? "sites shared by two sides"
	                                        : "all sites on one side",
	                           a->pulls, a->pulls == 1 ? "" : "s"));
	pd_doc_define(d, list, "Rests on",
	              pd_doc_print(d, "%s patients, %s cases, %s sites, %s "
	                           "pulls with a result of their own",
	                           pd_say_count(d, a->n_patients),
	                           pd_say_count(d, a->n_cases),
	                           pd_say_count(d, a->n_sites),
	                           pd_say_count(d, a->n_pulls)));
	if (a->version)
		pd_doc_define(d, list, "Counted as by",
		              pd_doc_print(d, "method version '%s', the one of "
		                           "the last case", a->version));
	if (a->held)
		pd_doc_define(d, list, "Held equal besides", a->held);
}

/* --- the map ------------------------------------------------------------- */

static const char *cell_words(pd_doc *d, const pd_expect_answer *a,
                              const pd_expect_cell *c)
{
	if (c->refused)
		return c->over ? "over" : "not seen";
	if (isnan(a->target))
		return pd_expect_yield(d, c->median);
	return pd_expect_cell_chance(d, c);
}

static const char *map_title(pd_doc *d, const pd_expect_answer *a)
{
	return isnan(a->target)
	           ? "Yield that half of such patients exceed"
	           : pd_doc_print(d, "Of 100 such patients, about how many "
	                          "would reach %s",
	                          pd_expect_amount(d, a, a->target));
}

/* Is a cell of the map refused, for that reason? */
static bool any(const pd_expect_answer *a, bool over)
{
	for (size_t k = 0; k < a->n_across * a->n_down; k++)
		if (a->cell[k].refused && a->cell[k].over == over)
			return true;
	return false;
}

static void map_table(pd_doc *d, const pd_expect_answer *a)
{
	pd_cell_column column[PD_EXPECT_SITES + 1] = {
		{ "mL a site", NULL, true }
	};

	for (size_t i = 0; i < a->n_across; i++)
		column[i + 1] = (pd_cell_column){
			pd_doc_print(d, "%zu site%s", a->across[i],
			             a->across[i] == 1 ? "" : "s"), NULL, true
		};
	pd_table *t = pd_doc_table(d, map_title(d, a), a->n_across + 1, column,
	                           NULL);

	for (size_t j = 0; j < a->n_down; j++) {
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = ml_words(d, a->down[j]);
		for (size_t i = 0; i < a->n_across; i++)
			cell[i + 1] = cell_words(
			    d, a, &a->cell[j * a->n_across + i]);
	}
	if (isnan(a->target))
		pd_doc_table_note(d, t, pd_doc_print(
		    d, "Unit: %s.", pd_say_unit(d, a->unit)));
	if (any(a, false))
		pd_doc_table_note(d, t, pd_doc_print(
		    d, "Not seen: fewer than %zu patients had it; the reasons "
		    "stand below.", a->least));
	if (any(a, true))
		pd_doc_table_note(d, t, "Over: above the mL given.");
}

/* Greys by chance, or by the share of the largest middle. */
static double shade_of(const pd_expect_answer *a, const pd_expect_cell *c,
                       double most)
{
	if (c->refused)
		return NAN;
	return isnan(a->target) ? c->median / most : c->chance;
}

static const pd_map *make_map(pd_doc *d, const pd_expect_answer *a)
{
	static const double step[3] = { 0.2, 0.5, 0.8 };
	size_t n = a->n_across * a->n_down;
	pd_map *m = PD_NEW(d->arena, pd_map, 1);
	pd_map_cell *cell = PD_NEW(d->arena, pd_map_cell, n + 1);
	const char **across = PD_NEW(d->arena, const char *, a->n_across + 1);
	const char **down = PD_NEW(d->arena, const char *, a->n_down + 1);
	double most = 0;

	if (!m || !cell || !across || !down) {
		d->failed = true;
		return NULL;
	}
	for (size_t k = 0; k < n; k++)
		if (!a->cell[k].refused)
			most = fmax(most, a->cell[k].median);
	for (size_t k = 0; k < n; k++)
		cell[k] = (pd_map_cell){ shade_of(a, &a->cell[k], most),
			                 cell_words(d, a, &a->cell[k]) };
	for (size_t i = 0; i < a->n_across; i++)
		across[i] = pd_say_count(d, a->across[i]);
	for (size_t j = 0; j < a->n_down; j++)
		down[j] = ml_words(d, a->down[j]);
	*m = (pd_map){ .n_across = a->n_across, .n_down = a->n_down,
		       .across = across, .down = down,
		       .across_words = "sites", .down_words = "mL a site",
		       .cell = cell, .step = step };
	const char *of = isnan(a->target) ? "% of the most" : " of 100";

	m->key[0] = pd_doc_print(d, "below 20%s", of);
	m->key[1] = pd_doc_print(d, "20 to 49%s", of);
	m->key[2] = pd_doc_print(d, "50 to 79%s", of);
	m->key[3] = pd_doc_print(d, "80%s and more", of);
	return m;
}

static void map(pd_doc *d, const pd_expect_answer *a)
{
	const pd_map *m = make_map(d, a);

	if (!m)
		return;
	pd_figure *f = pd_doc_figure(
	    d, map_title(d, a),
	    pd_doc_print(d, "Across: the number of sites; down: mL drawn at "
	                 "every site. The stronger the shade of a cell, "
	                 "the %s. Cells that were not seen hold no number.",
	                 isnan(a->target) ? "larger the yield"
	                                  : "more of 100 reach the target"),
	    pd_figure_map(d->arena, m, false), pd_figure_map(d->arena, m, true));

	if (f)
		f->table = d->n_tables + 1;
	map_table(d, a);
}

/* The fewest mL for several chances, with the holes they need. */
static void fewest_table(pd_doc *d, const pd_expect_answer *a)
{
	static const double q[] = { 0.5, 0.8, 0.9 };
	static const char *const words[] = { "50 of 100", "80 of 100",
		                             "90 of 100" };
	const pd_cell_column column[] = {
		{ "For at least", NULL, false }, { "Fewest in all", "mL", true },
		{ "Punctures", NULL, true }, { "Drawn as", NULL, false },
		{ "Of 100 reach it", NULL, true },
	};
	pd_table *t = pd_doc_table(d, "The fewest mL, of what was seen and asked "
	                           "for", 5, column, "nothing seen reaches it");

	for (size_t k = 0; k < 3; k++) {
		const pd_expect_cell *c = fewest(a, q[k]);
		const char **cell = pd_doc_row(d, t, NULL);

		if (!cell)
			return;
		cell[0] = words[k];
		if (!c)
			continue;
		cell[1] = ml_words(d, c->total_ml);
		cell[2] = pd_say_count(d, c->sites);
		cell[3] = pd_expect_sites(d, c);
		cell[4] = pd_expect_of_100(d, c->chance);
	}
}

/* --- harm ---------------------------------------------------------------- */

static const char *const published[] = {
	"Published: 3 major complications in 523 marrow aspirations (0.6%, "
	"exact 95% limits 0.12% to 1.67%) (Int Orthop 2014;38:1855-1860).",
	"Published: 77 complications in 1252 procedures (6.2%), all of them "
	"pain; women more often (odds ratio 1.91, 1.18 to 3.11) (Int Phys Med "
	"Rehab J 2018;3:65-70).",
	"Published: 16 adverse events in 19 259 biopsies, 11 of them bleeding; "
	"in an earlier survey 1 death in about 54 900. Named risks: "
	"myeloproliferative disease, aspirin, warfarin, disordered clotting, "
	"obesity (J Clin Pathol 2005;58:406-408; Br J Haematol "
	"2003;121:949-951).",
	"Published: of donors one year after harvest 36% still had changes at "
	"the site on imaging (Bone Marrow Transplantation).",
};

static void harm(pd_doc *d, const pd_expect_answer *a)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "What more sites and more mL "
	                           "cost: read it beside every gain");

	pd_doc_item(d, box, pd_say_harm(d, &a->context));
	for (size_t k = 0; k < sizeof published / sizeof *published; k++)
		pd_doc_item(d, box, published[k]);
	pd_doc_item(d, box,
	            "Every further site is one more hole in the bone; every "
	            "further mL is increasingly blood and costs haemoglobin. "
	            "Chances say nothing about whether a patient can bear "
	            "either.");
	pd_doc_item(d, box,
	            "These are shares of groups of past patients. Nobody's own "
	            "yield is foretold or promised, and a low chance is no "
	            "ground to refuse a patient.");
	pd_doc_item(d, box,
	            "A target is a laboratory number: nothing here shows that "
	            "reaching it helps a patient. Failed cultures give no "
	            "result and are not in these numbers.");
	pd_doc_item(d, box,
	            "Local codes, device instructions and licensed clinical "
	            "judgement come first.");
}

pd_status pd_compose_expect(const pd_expect_answer *a, pd_doc **out,
                            pd_error *err)
{
	pd_doc *d = pd_doc_new("What a draw may yield", "en");

	*out = NULL;
	if (!d)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	pd_doc_heading(d, 1, "top", "What a draw may yield");
	pd_part_clinic(d, &a->context);
	pd_doc_heading(d, 2, "answer",
	               pd_doc_print(d, "%s of a case, by sites and mL",
	                            pd_say_upper(d, a->outcome_words)));
	pd_doc_paragraph(d, PD_LEAD, pd_say_upper(d, lead(d, a)));
	basis(d, a);
	if (!a->refusal) {
		map(d, a);
		harm(d, a);
		pd_doc_page_end(d);
		if (!isnan(a->target)) {
			fewest_table(d, a);
			pd_expect_chances(d, a);
		}
		if (a->n_shared)
			pd_expect_shared(d, a);
		pd_expect_yields(d, a);
		pd_expect_adds(d, a);
		pd_expect_not_seen(d, a);
		pd_expect_checked(d, a);
	}
	pd_expect_rests(d, a);
	pd_part_cautions(d, &a->context, 0);
	pd_part_sources(d, &a->context);
	pd_part_closing(d);
	return pd_part_hand_out(d, out, err);
}
