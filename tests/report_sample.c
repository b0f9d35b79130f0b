/* report_sample.c - see report_sample.h. The points come from a small linear
 * congruential sequence, so that the files under golden/ stay the same. */
#include "report_sample.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static uint32_t state;

/* Uniform on (0, 1): Numerical Recipes' quick generator, its high bits. */
static double uniform(void)
{
	state = state * 1664525u + 1013904223u;
	return ((double)(state >> 8) + 0.5) / 16777216.0;
}

/* Near enough to a standard normal for a picture: twelve uniforms. */
static double normal(void)
{
	double sum = -6;

	for (int i = 0; i < 12; i++)
		sum += uniform();
	return sum;
}

static void *need(void *p)
{
	if (!p)
		abort();
	return p;
}

static const char tnc[] = "total nucleated cells (TNC)";

#define NEED(arena, type, n) ((type *)need(PD_NEW(arena, type, n)))
#define COUNT(a)             (sizeof(a) / sizeof((a)[0]))

/* What one effect needs from a table below; df and P as given. */
struct effect {
	const char *label, *first, *second;
	double value, low, high, df, p, p_adjusted, p_margin, detectable;
	pd_verdict verdict;
	const char *sentence;
};

static void set_effects(pd_arena *arena, pd_answer *a, const struct effect *e,
                        size_t n)
{
	a->n_effects = n;
	a->effect = NEED(arena, pd_effect, n);
	for (size_t i = 0; i < n; i++) {
		bool ratio = a->scale == PD_RATIO;
		pd_effect *to = &a->effect[i];

		*to = (pd_effect){
			.label = e[i].label, .first = e[i].first,
			.second = e[i].second,
			.log = { .df = e[i].df, .level = 0.95, .p = e[i].p },
			.value = e[i].value, .low = e[i].low,
			.high = e[i].high, .p_adjusted = e[i].p_adjusted,
			.p_margin = e[i].p_margin,
			.detectable = e[i].detectable,
			.single_low = NAN, .single_high = NAN,
			.verdict = e[i].verdict, .sentence = e[i].sentence,
		};
		to->log.value = ratio ? log(e[i].value) : e[i].value;
		to->log.low = ratio ? log(e[i].low) : e[i].low;
		to->log.high = ratio ? log(e[i].high) : e[i].high;
	}
}

static void *copy(pd_arena *arena, const void *from, size_t size)
{
	return memcpy(need(pd_arena_alloc(arena, 1, size)), from, size);
}

/* The answer's list, from an array of the same elements. */
#define SET_LIST(arena, a, list, array)                                        \
	((a)->n_##list = COUNT(array),                                         \
	 (a)->list = copy(arena, array, sizeof(array)))

static void set_flow(pd_arena *arena, pd_answer *a, size_t rows, size_t used)
{
	const pd_flow f[] = {
		{ "recorded", rows, rows * 3 / 4, rows / 4, rows / 5 },
		{ "usable", rows - rows / 9, rows * 2 / 3, rows / 5, rows / 6 },
		{ "used", used, used / 2, used / 4, used / 5 },
	};

	SET_LIST(arena, a, flow, f);
}

static void set_pairs(pd_arena *arena, pd_answer *a, size_t n, double centre,
                      double ratio, double spread)
{
	double *first = NEED(arena, double, n);
	double *second = NEED(arena, double, n);

	for (size_t i = 0; i < n; i++) {
		double patient = centre * exp(0.6 * normal());

		second[i] = patient;
		first[i] = patient * ratio * exp(spread * normal());
	}
	a->points.n_pairs = n;
	a->points.pair_first = first;
	a->points.pair_second = second;
}

static void set_points(pd_arena *arena, pd_answer *a, size_t each,
                       double spread)
{
	size_t n = each * a->n_levels;
	size_t *level = NEED(arena, size_t, n);
	double *value = NEED(arena, double, n);

	for (size_t i = 0; i < n; i++) {
		level[i] = i % a->n_levels;
		value[i] =
		    a->scale == PD_RATIO
		        ? a->levels[level[i]].centre * exp(spread * normal())
		        : fmin(a->levels[level[i]].centre + spread * normal(),
		               100);
	}
	a->points.n_points = n;
	a->points.point_level = level;
	a->points.point_value = value;
}

static void set_slope(pd_arena *arena, pd_answer *a, size_t n, double from,
                      double to, double at_from, double power)
{
	enum { LINE = 41 };
	double *x = NEED(arena, double, n), *y = NEED(arena, double, n);
	double *line = NEED(arena, double, 4 * LINE);

	for (size_t i = 0; i < n; i++) {
		x[i] = from * pow(to / from, uniform());
		y[i] = at_from * pow(x[i] / from, power) * exp(0.45 * normal());
	}
	for (size_t i = 0; i < LINE; i++) {
		double share = (double)i / (LINE - 1);
		double at = from * pow(to / from, share);
		double fit = at_from * pow(at / from, power);
		double half = 0.04 + 0.1 * fabs(share - 0.4);

		line[i] = at;
		line[LINE + i] = fit;
		line[2 * LINE + i] = fit * exp(-half);
		line[3 * LINE + i] = fit * exp(half);
	}
	a->points.n_xy = n;
	a->points.x = x;
	a->points.y = y;
	a->points.n_line = LINE;
	a->points.line_x = line;
	a->points.line_y = line + LINE;
	a->points.line_low = line + 2 * LINE;
	a->points.line_high = line + 3 * LINE;
}

static void set_components(pd_arena *arena, pd_answer *a)
{
	static const char *const names[] = { "patients", "cases", "sites",
		                             "results of one site" };
	static const double sd[] = { 0.4213, 0, 0.1876, 0.2391 };
	static const double icc[] = { 0.6577, 0.6577, 0.7881, NAN };
	static const double low[] = { 0.5124, NAN, 0.6712, NAN };
	static const double high[] = { 0.7813, NAN, 0.8691, NAN };

	a->n_components = COUNT(sd);
	a->component_name = copy(arena, names, sizeof names);
	a->component_sd = copy(arena, sd, sizeof sd);
	a->component_icc = copy(arena, icc, sizeof icc);
	a->component_icc_low = copy(arena, low, sizeof low);
	a->component_icc_high = copy(arena, high, sizeof high);
	a->no_icc_limits = "the profile of the likelihood was not found";
}

static void begin(pd_answer *a, const char *name, pd_role role,
                  const char *parameter, const char *title)
{
	a->name = name;
	a->title = title;
	a->parameter_words = parameter;
	a->role = role;
	a->margin = 0.8;
	a->method = "Mean of the log-ratios within pairs.";
}

static void second_pull(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "pull 2 against pull 1", "pull 2", "pull 1", 0.6213, 0.5512,
		  0.7004, 211.4, 3e-9, 3e-9, 0.9999, 1.13, PD_WORSE,
		  "pull 2 gives less than pull 1; the whole interval lies beyond "
		  "the margin." }
	};
	static const pd_level l[] = {
		{ "pull 1", 214, 214, 214, 214, 912.4, 841.3, 989.5, 1.83, 2, 5,
		  1, 9 },
		{ "pull 2", 214, 214, 214, 214, 566.9, 515.2, 623.8, 1.94, 6,
		  11, 0, 14 },
	};
	static const char *const refused[] = {
		"mixed model with patients' ages: pairs inside one site need "
		"no adjustment for what the two pulls share",
	};
	static const char *const diagnostics[] = {
		"The log-ratios are close to a normal shape (largest gap from "
		"the straight line 0.06).",
		"No single patient moves the ratio by more than 2%.",
	};
	static const char *const cautions[] = {
		"A second pull is often taken because the first was thin; "
		"that alone can shift the comparison.",
	};
	static const pd_sensitivity s[] = {
		{ "rank-based", true, 0.628, 0.556, 0.709, 2e-9,
		  "Hodges-Lehmann" },
		{ "without operator B", true, 0.641, 0.552, 0.744, 4e-8, NULL },
		{ "before the new counter", false, NAN, NAN, NAN, NAN,
		  "11 pairs are too few" },
	};

	begin(a, "second-pull", PD_PRIMARY, "pull number",
	      "Does the second pull from a site carry fewer "
	      "colony-forming cells?");
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 3120, 428);
	set_pairs(arena, a, 58, 900, 0.62, 0.32);
	a->points.n_left_out = 156;
	a->method = "Mean of the log-ratios within sites with its t interval, "
	            "because 214 sites hold both pulls.";
	SET_LIST(arena, a, refused, refused);
	SET_LIST(arena, a, diagnostics, diagnostics);
	SET_LIST(arena, a, cautions, cautions);
	SET_LIST(arena, a, sensitivity, s);
	a->declared = "margin set before these data were read";
	a->n_looks = 3;
}

static void ml_per_site(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "per doubling", "per doubling", NULL, 1.2814, 1.2003, 1.3679,
		  402.7, 2e-11, 2e-11, 0.81, 1.09, PD_BETTER,
		  "Each doubling of the mL from a site brings about 28% more "
		  "cells, far from double; the difference may be smaller than "
		  "the margin." }
	};

	begin(a, "ml-per-site", PD_PRIMARY, "volume drawn from a site, mL",
	      "How much more does a site give when more mL are drawn "
	      "from it?");
	a->outcome_words = tnc;
	a->judge_words = "yield per site";
	a->unit = "10^6";
	a->log_x = true;
	a->adds_burden = true;
	set_effects(arena, a, e, COUNT(e));
	set_flow(arena, a, 4812, 2203);
	set_slope(arena, a, 140, 4, 62, 128, 0.358);
	a->points.n_left_out = 2063;
	set_components(arena, a);
	a->method =
	    "Mixed model of the log yield on log volume, with patients, "
	    "cases and sites nested; Kenward-Roger interval.";
	a->adjusters = "age, sex, operator, calendar quarter";
	a->declared = "margin set before these data were read";
	a->n_looks = 3;
}

static void syringe(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "10 mL syringe against 50 mL syringe", "10 mL syringe",
		  "50 mL syringe", 2.4117, 2.0974, 2.7731, 96, 1e-14, 4e-14,
		  0.9999, 1.22, PD_BETTER,
		  "10 mL syringe gives more than 50 mL syringe; the whole "
		  "interval lies beyond the margin." }
	};
	static const pd_level l[] = {
		{ "10 mL syringe", 97, 97, 97, 97, 1418, 1271, 1582, 1.72, 0, 1,
		  3, 2 },
		{ "50 mL syringe", 97, 97, 97, 97, 588, 512, 675, 1.98, 1, 4, 0,
		  3 },
	};

	begin(a, "syringe", PD_SECONDARY, "syringe size, mL",
	      "Does a 10 mL syringe draw richer marrow than a 50 mL one?");
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 2010, 194);
	set_pairs(arena, a, 97, 590, 2.41, 0.6);
}

static void sites(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "4 or more sites against 2 sites", "4 or more sites",
		  "2 sites", 1.1312, 1.0021, 1.277, 57.2, 0.0463, 0.0926, 0.071,
		  1.21, PD_NOT_SETTLED,
		  "Not settled whether 4 or more sites gives more or less than 2 "
		  "sites; alone this interval would settle it, but not after "
		  "allowing for the other tests." }
	};
	static const pd_level l[] = {
		{ "2 sites", 812, 903, 1806, 1766, 41.2, 39.4, 43.1, 1.6, 0, 0,
		  2, 40 },
		{ "4 or more sites", 204, 221, 961, 944, 46.6, 42.1, 51.6, 1.58,
		  0, 0, 1, 17 },
	};

	begin(a, "sites", PD_SECONDARY, "number of sites",
	      "At the same total volume, do four sites give more than "
	      "two?");
	a->outcome_words = tnc;
	a->judge_words = "yield per case";
	a->unit = "10^6/mL";
	a->adds_burden = true;
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 4410, 2710);
	set_points(arena, a, 60, 0.45);
	a->points.n_left_out = 2590;
	set_components(arena, a);
	a->method = "Mixed model of the log yield, because few patients were "
	            "drawn both ways.";
	a->adjusters = "age, sex, operator, total mL";
}

static void neighbour(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "later against first entry", "later entry", "first entry",
		  0.9702, 0.9046, 1.0405, 318, 0.3945, 0.3945, 0.0008, 1.1,
		  PD_NO_MATTER,
		  "Later entry and first entry differ by less than the margin." }
	};

	begin(a, "neighbour", PD_SECONDARY, "order of entry",
	      "Does one entry deplete the next on the same side?");
	a->unsupported = true;
	set_effects(arena, a, e, COUNT(e));
	set_flow(arena, a, 1990, 640);
	set_pairs(arena, a, 40, 800, 0.97, 0.3);
}

static void needle(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "closed-tip side-hole against open-end",
		  "closed-tip side-hole", "open-end", 1.1873, 0.8834, 1.5958,
		  39, 0.2472, 0.6181, 0.31, 1.52, PD_NOT_SETTLED,
		  "Not settled; both a gain and a loss beyond the margin remain "
		  "possible." }
	};
	static const pd_level l[] = {
		{ "closed-tip side-hole", 41, 44, 90, 164, 1021, 812, 1284,
		  2.11, 3, 2, 0, 4 },
		{ "open-end", 388, 402, 811, 1490, 861, 798, 929, 2.02, 21, 30,
		  2, 51 },
	};

	begin(a, "needle", PD_EXPLORATORY, "needle geometry",
	      "Does the closed-tip side-hole needle change the colony "
	      "count?");
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 3120, 1654);
	set_points(arena, a, 80, 0.7);
	a->method = "Mixed model; the needle changed in one quarter, so the "
	            "calendar term and the needle share their information.";
	a->adjusters = "age, sex, mL, calendar quarter";
}

static void operators(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "operator A against the mean", "operator A", "the mean",
		  1.1421, 1.0702, 1.2188, 311, 0.00008, 0.0003, 0.04, 1.1,
		  PD_BETTER,
		  "A lies above the mean; the difference may be smaller than "
		  "the margin." },
		{ "operator B against the mean", "operator B", "the mean",
		  0.9847, 0.9221, 1.0515, 287, 0.6443, 0.6443, 0.0001, 1.1,
		  PD_NO_MATTER,
		  "B differs from the mean by less than the margin." },
		{ "operator C against the mean", "operator C", "the mean",
		  0.8612, 0.7904, 0.9383, 264, 0.0007, 0.0014, 0.047, 1.13,
		  PD_WORSE,
		  "C lies below the mean; the difference may be smaller than "
		  "the margin." },
		{ "operator D against the mean", "operator D", "the mean",
		  1.0326, 0.8211, 1.2986, 31, 0.7801, 0.7801, 0.09, 1.4,
		  PD_NOT_SETTLED,
		  "Not settled for D; both a gain and a loss beyond the margin "
		  "remain possible." },
	};
	static const pd_level l[] = {
		{ "operator A", 402, 431, 1010, 1820, 33.1, 31.2, 35.1, 1.55, 0,
		  0, 1, 20 },
		{ "operator B", 388, 409, 990, 1770, 28.7, 27.1, 30.4, 1.57, 0,
		  0, 0, 11 },
		{ "operator C", 210, 222, 540, 980, 24.9, 22.8, 27.2, 1.6, 0, 0,
		  0, 9 },
		{ "operator D", 31, 33, 70, 120, 30.2, 25.1, 36.3, 1.62, 0, 0,
		  0, 1 },
	};

	begin(a, "operator", PD_EXPLORATORY, "operator",
	      "Do operators differ in the richness of what they draw?");
	a->outcome_words = tnc;
	a->judge_words = "concentration, per mL of aspirate";
	a->unit = "10^6/mL";
	a->not_a_choice = true;
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 5010, 4690);
	set_points(arena, a, 50, 0.44);
	set_components(arena, a);
	a->method = "Mixed model; each operator against the mean of all.";
	a->adjusters = "age, sex, mL per site";
}

static void viability(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "10 mL syringe against 50 mL syringe", "10 mL syringe",
		  "50 mL syringe", -0.61, -1.43, 0.21, 96, 0.1433, 0.4299,
		  0.0002, 1.2, PD_NO_MATTER,
		  "10 mL syringe and 50 mL syringe differ by less than the "
		  "margin." }
	};
	static const pd_level l[] = {
		{ "10 mL syringe", 97, 97, 97, 97, 93.8, 93, 94.6, 3.9, 0, 0, 0,
		  0 },
		{ "50 mL syringe", 97, 97, 97, 97, 94.4, 93.7, 95.1, 3.6, 0, 0,
		  0, 0 },
	};

	begin(a, "viability", PD_EXPLORATORY, "syringe size, mL",
	      "Is viability lower with the small syringe?");
	a->outcome_words = "viability";
	a->judge_words = "share of living cells";
	a->unit = "%";
	a->scale = PD_DIFFERENCE;
	a->margin = 3;
	set_effects(arena, a, e, COUNT(e));
	SET_LIST(arena, a, levels, l);
	set_flow(arena, a, 2010, 194);
	set_points(arena, a, 48, 3.6);
	a->method = "Mean of the differences within patients.";
}

static void redirect(pd_arena *arena, pd_answer *a)
{
	static const char *const refused[] = {
		"pairs within a site: only 3 sites hold both",
		"mixed model: 4 patients in one arm, 8 are needed",
	};

	begin(a, "redirect", PD_EXPLORATORY, "move between pulls",
	      "Is redirecting through one hole as good as a new hole?");
	a->margin = NAN;
	a->method = NULL;
	a->refusal = "only 4 patients were redirected; 8 are needed";
	SET_LIST(arena, a, refused, refused);
	set_flow(arena, a, 71, 0);
}

static void tibia(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "posterior iliac crest against tibia",
		  "posterior iliac crest", "tibia", 5.1803, 3.0582, 8.7751,
		  18.4, 0.0000021, 0.0000021, 0.9999, 2.1, PD_BETTER,
		  "Posterior iliac crest gives more than tibia; the whole "
		  "interval lies beyond the margin." }
	};

	begin(a, "tibia", PD_CONTROL, "landmark",
	      "Does the posterior iliac crest give more than the tibia?");
	a->control = PD_CONTROL_WORKED;
	set_effects(arena, a, e, COUNT(e));
	set_flow(arena, a, 812, 160);
	set_pairs(arena, a, 22, 140, 5.2, 0.9);
}

static void age(pd_arena *arena, pd_answer *a)
{
	static const struct effect e[] = {
		{ "per 10 years", "10 years", NULL, 0.9684, 0.9187, 1.0207, 604,
		  0.2301, 0.2301, 0.001, 1.08, PD_NO_MATTER,
		  "A step of 10 years changes the result by less than the "
		  "margin." }
	};

	begin(a, "age", PD_CONTROL, "age, years",
	      "Does the colony count fall with age?");
	a->control = PD_CONTROL_FAILED;
	a->not_a_choice = true;
	set_effects(arena, a, e, COUNT(e));
	set_flow(arena, a, 3120, 2210);
	set_slope(arena, a, 150, 20, 88, 1010, -0.1);
	a->method = "Mixed model of the log concentration on age.";
	a->adjusters = "sex, mL, operator";
}

static void set_trend(pd_arena *arena, pd_review *r)
{
	enum { N = 12 };

	r->n_trends = N;
	r->trend = NEED(arena, pd_trend, N);
	for (size_t i = 0; i < N; i++) {
		pd_trend *t = &r->trend[i];

		t->quarter = need(
		    pd_arena_print(arena, "%zu Q%zu", 2023 + i / 4, i % 4 + 1));
		t->n_cases = 61 + i % 5;
		t->n_patients = 58 + i % 5;
		t->tnc = 31.4 * exp(-0.012 * (double)i + 0.05 * normal());
		t->tnc_low = t->tnc * 0.91;
		t->tnc_high = t->tnc / 0.91;
		t->cfu = (i < 7 ? 840 : 610) * exp(0.08 * normal());
		t->cfu_low = t->cfu * 0.84;
		t->cfu_high = t->cfu / 0.84;
	}
	r->trend[4].cfu = r->trend[4].cfu_low = r->trend[4].cfu_high = NAN;
	r->trend[4].note = "no colony assay this quarter";
	r->trend[7].note = "new method version \"lab-b 2\"";
}

static void set_context(pd_arena *arena, pd_review *r)
{
	static const char *const source[] = {
		"draws-2017-2022.csv, 9411 rows, sha256 3fa1c09be771",
		"draws-2023-2025.csv, 6120 rows, sha256 90b2e4417cd8",
	};
	static const char *const caution[] = {
		"The counting method changed in 2024 Q4; comparisons across "
		"that quarter lean on the calendar term.",
	};

	r->title = "Technique review";
	r->plan_name = "quarterly";
	r->plan_sha256 = "5d0c7a1e9b34f2286e11a7d9c04b5f8302dd6a19c7e8b0f4"
	                 "1a2b3c4d5e6f7081";
	r->audit_head = "c41f7be2d9a06358f1e2d3c4b5a69788776655443322110f"
	                "feeddccbbaa99887";
	r->date = "2026-01-12";
	r->first_case = "2017-01-09";
	r->last_case = "2025-12-19";
	r->version = "0.2";
	r->seed = 20260112;
	r->n_patients = 1874;
	r->n_cases = 2400;
	r->n_sites = 6012;
	r->n_aliquots = 10873;
	r->n_results = 15210;
	r->n_sources = COUNT(source);
	r->source = copy(arena, source, sizeof source);
	r->n_warnings = 41;
	r->n_harm_cases = 1312;
	r->n_harm_events = 9;
	r->harm_low = 0.00314;
	r->harm_high = 0.01298;
	r->n_tests = 13;
	r->multiplicity = "Two primary effects are judged at the full level, "
	                  "three secondary ones by Holm, six exploratory ones "
	                  "by Benjamini-Hochberg; two are controls.";
	SET_LIST(arena, r, cautions, caution);
}

pd_review *sample_review(pd_arena *arena)
{
	static void (*const make[SAMPLE_N])(pd_arena *, pd_answer *) = {
		second_pull, ml_per_site, syringe,  sites, neighbour, needle,
		operators,   viability,   redirect, tibia, age
	};
	pd_review *r = NEED(arena, pd_review, 1);

	state = 20260112u;
	r->n_answers = SAMPLE_N;
	r->answer = NEED(arena, pd_answer, SAMPLE_N);
	set_context(arena, r);
	for (size_t i = 0; i < SAMPLE_N; i++) {
		pd_answer *a = &r->answer[i];

		a->level = 0.95;
		a->scale = PD_RATIO;
		a->outcome_words = "colony-forming units (CFU-F)";
		a->judge_words = "concentration, per mL of aspirate";
		a->unit = "per mL";
		make[i](arena, a);
	}
	set_trend(arena, r);
	return r;
}
