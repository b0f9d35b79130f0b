/*
 * truth.c - what each question of demo.plan and naive.plan ought to find, on
 * the estimand that it judges: total or per mL, pull, site or case, with the
 * same things held equal. Made from effects.c in closed form wherever one
 * exists. Two have none: holes at equal volume (its value depends on how moves
 * and spacing go along with the number of holes) and volume from one hole (the
 * log of a sum of pulls that spread). They were simulated, are stored below,
 * and are simulated again by demo_check_truth.
 */
#include "clinic.h"

#include <math.h>
#include <string.h>

/* --check-truth --seed 101 --cases 4000000: standard errors 0.0012, 0.0008. */
static const double simulated_site_number = 1.3273;
static const double simulated_site_volume = 1.4185;

struct truth {
	const char *question, *effect; /* effect: word in the effect's label */
	const char *scale;             /* ratio or difference                */
	double value;
	const char *expect;            /* cover or miss                      */
	const char *how;
};

enum { MAX_TRUTHS = 32 };

static double cfu(size_t offset)
{
	const char *t = (const char *)&demo_effects[M_TNC];
	const char *p = (const char *)&demo_effects[M_PREVALENCE];
	double a, b;

	memcpy(&a, t + offset, sizeof a);
	memcpy(&b, p + offset, sizeof b);
	return a + b;
}

#define CFU(member) cfu(offsetof(effects, member))

struct list {
	struct truth t[MAX_TRUTHS];
	int n;
};

static void add(struct list *l, const char *question, const char *effect,
                double log_value, const char *how)
{
	l->t[l->n++] = (struct truth){ question, effect, "ratio",
		                       exp(log_value), "cover", how };
}

static void add_pulls(struct list *l)
{
	double tnc = demo_same_hole(M_TNC, 2);
	double rare = demo_same_hole(M_PREVALENCE, 2);

	add(l, "second-pull", "", tnc + rare, "2^b - 1, b = 0.5");
	add(l, "second-pull-prevalence", "", rare,
	    "(2^0.5 - 1) / (2^0.65 - 1)");
	add(l, "second-pull-cells", "", tnc, "2^b - 1, b = 0.65");
	add(l, "site-volume", "", log(simulated_site_volume),
	    "simulated; 2^b = 1.414 (b = 0.5) but for the spread of pulls, "
	    "which makes the log of a sum exceed the sum's log law");
	add(l, "site-number", "", log(simulated_site_number),
	    "simulated; 2^(1 - b) = 1.414 if holes were never close and "
	    "needles never moved");
	add(l, "cd34-volume", "", log(2) * demo_effects[M_CD34].log_ml,
	    "2^slope");
}

static void add_technique(struct list *l)
{
	const effects *tnc = demo_effects + M_TNC;
	const effects *via = demo_effects + M_VIABILITY;

	add(l, "syringe-10-50", "", -log(5) * CFU(log_syringe),
	    "both slopes over ln(50/10)");
	add(l, "syringe-5-30", "", -log(6) * tnc->log_syringe,
	    "slope over ln(30/5)");
	add(l, "syringe-viability", "", 0, "slope over ln(50/10), points");
	l->t[l->n - 1].scale = "difference";
	l->t[l->n - 1].value = -log(5) * via->log_syringe;
	add(l, "neighbour-wide", "", 0, "no effect at 15 mm and more");
	add(l, "neighbour-close", "", CFU(close_neighbour), "table");
	add(l, "redirect", "", CFU(moved[MOVE_REDIRECT]), "table");
	add(l, "advance", "", tnc->moved[MOVE_ADVANCE], "table");
	add(l, "needle", "", CFU(closed_tip), "table");
	add(l, "needle-tibia", "", CFU(closed_tip), "table");
	add(l, "bone", "",
	    -(tnc->landmark_[PROXIMAL_TIBIA] +
	      demo_effects[M_MNC_SHARE].landmark_[PROXIMAL_TIBIA]),
	    "TNC and share of mononuclear cells");
}

static void add_people(struct list *l)
{
	const effects *tnc = demo_effects + M_TNC;

	add(l, "age", "", CFU(age_10y), "table");
	for (int i = 0; i < N_OPERATORS; i++)
		add(l, "operator", demo_operator[i], tnc->operator_[i],
		    "table; the four sum to zero");
	add(l, "drift", "", tnc->year, "table");
}

static void add_naive(struct list *l)
{
	static const char *const pair[][2] = {
		{ "naive-site-number", "site-number" },
		{ "naive-needle", "needle" },
		{ "naive-drift", "drift" },
		{ "naive-operator", "operator" },
	};

	for (size_t i = 0; i < sizeof pair / sizeof *pair; i++)
		for (int j = 0; j < l->n; j++)
			if (!strcmp(l->t[j].question, pair[i][1]) &&
			    (!*l->t[j].effect ||
			     !strcmp(l->t[j].effect, "op-c"))) {
				struct truth t = l->t[j];

				t.question = pair[i][0];
				t.expect = "miss";
				t.how = "as the adjusted question";
				l->t[l->n++] = t;
				break;
			}
}

static void build(struct list *l)
{
	l->n = 0;
	add_pulls(l);
	add_technique(l);
	add_people(l);
	add_naive(l);
}

double demo_truth(const char *question)
{
	struct list l;

	build(&l);
	for (int i = 0; i < l.n; i++)
		if (!strcmp(l.t[i].question, question))
			return l.t[i].value;
	return NAN;
}

void demo_write_truth(FILE *f)
{
	struct list l;

	build(&l);
	fputs("question\teffect\tscale\ttruth\texpect\n", f);
	for (int i = 0; i < l.n; i++)
		fprintf(f, "%s\t%s\t%s\t%.6f\t%s\n", l.t[i].question,
		        l.t[i].effect, l.t[i].scale, l.t[i].value,
		        l.t[i].expect);
}

static void table_effects(FILE *f)
{
	static const char *const head[N_MEASURES] = {
		"TNC", "CFU-F prevalence", "CD34+", "MNC share",
		"viability, points"
	};
	static const struct { const char *name; size_t at; } row[] = {
#define ROW(name, member) { name, offsetof(effects, member) }
		ROW("SD between patients", patient),
		ROW("SD between cases of a patient", occasion),
		ROW("SD between sides of a case", side),
		ROW("SD between holes of a side", site),
		ROW("SD between pulls of a hole", pull),
		ROW("SD of the assay", assay),
		ROW("per ten years of age", age_10y),
		ROW("woman against man", female),
		ROW("per 5 kg/m2 of body mass index", bmi_5),
		ROW("per calendar year", year),
		ROW("per hour to the laboratory", hour_to_lab),
		ROW("per ln(mL of the pull)", log_ml),
		ROW("per ln(mL of the syringe)", log_syringe),
		ROW("operator op-a", operator_[0]),
		ROW("operator op-b", operator_[1]),
		ROW("operator op-c", operator_[2]),
		ROW("operator op-d", operator_[3]),
		ROW("anterior against posterior crest", landmark_[1]),
		ROW("proximal tibia against posterior crest", landmark_[2]),
		ROW("closed-tip side-hole against open-end", closed_tip),
		ROW("earlier hole less than 15 mm away", close_neighbour),
		ROW("second method version of the laboratory", new_lab),
		ROW("pull after rotating", moved[MOVE_ROTATE]),
		ROW("pull after withdrawing", moved[MOVE_WITHDRAW]),
		ROW("pull after advancing", moved[MOVE_ADVANCE]),
		ROW("pull after redirecting", moved[MOVE_REDIRECT]),
#undef ROW
	};

	fputs("| effect |", f);
	for (int m = 0; m < N_MEASURES; m++)
		fprintf(f, " %s |", head[m]);
	fputs("\n| --- |", f);
	for (int m = 0; m < N_MEASURES; m++)
		fputs(" ---: |", f);
	fputc('\n', f);
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		fprintf(f, "| %s |", row[i].name);
		for (int m = 0; m < N_MEASURES; m++) {
			double x;

			memcpy(&x, (const char *)&demo_effects[m] + row[i].at,
			       sizeof x);
			fprintf(f, " %.4g |", x);
		}
		fputc('\n', f);
	}
	for (int no = 2; no <= MAX_PULLS; no++) {
		fprintf(f, "| pull %d, needle not moved |", no);
		for (int m = 0; m < N_MEASURES; m++)
			fprintf(f, " %.4f |", demo_same_hole((measure)m, no));
		fputc('\n', f);
	}
}

void demo_write_truth_table(FILE *f)
{
	struct list l;

	build(&l);
	fputs("| question | effect | scale | truth | interval should | "
	      "where it comes from |\n| --- | --- | --- | ---: | --- | --- |\n",
	      f);
	for (int i = 0; i < l.n; i++)
		fprintf(f, "| %s | %s | %s | %.4f | %s | %s |\n",
		        l.t[i].question, l.t[i].effect, l.t[i].scale,
		        l.t[i].value, l.t[i].expect, l.t[i].how);
	fputc('\n', f);
	table_effects(f);
}
