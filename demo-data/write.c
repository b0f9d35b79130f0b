/*
 * write.c - cases as files. Canonical headers: one wide row a pull, CD34+ in
 * long form as the flow laboratory sends it, pools in a file of their own.
 * The clinic's own dialect (local.map) is the same wide rows with semicolons,
 * decimal commas, day.month.year, other units and local words.
 */
#include "clinic.h"

#include <math.h>
#include <string.h>

const char *const demo_operator[N_OPERATORS] = { "op-a", "op-b", "op-c",
	                                         "op-d" };
const char *const demo_landmark[N_LANDMARKS] = {
	"posterior iliac crest", "anterior iliac crest", "proximal tibia",
	"calcaneus"
};
static const char *const local_landmark[N_LANDMARKS] = { "PIC", "AIC", "PT",
	                                                 "HEEL" };
static const char *const move_word[N_MOVES] = {
	"none", "rotate", "withdraw", "advance", "redirect", "new hole"
};
static const char *const local_move[N_MOVES] = { "still", "turned", "back",
	                                         "deeper", "angled",
	                                         "next hole" };
static const char *const style_word[3] = { "sharp", "slow", "continuous" };
static const char *const adverse_word[6] = {
	"none", "bleeding", "haematoma", "nerve symptoms", "persistent pain",
	"faint"
};

/* One row being written: separator, decimal mark, first cell or not. */
struct row {
	FILE *f;
	char separator, mark;
	int started;
};

static void text(struct row *w, const char *s)
{
	if (w->started)
		fputc(w->separator, w->f);
	w->started = 1;
	fputs(s, w->f);
}

static void number(struct row *w, double x, int decimals)
{
	char s[40];
	char *point;

	if (isnan(x)) {
		text(w, "");
		return;
	}
	snprintf(s, sizeof s, "%.*f", decimals, x);
	point = strchr(s, '.');
	if (point)
		*point = w->mark;
	text(w, s);
}

/* A whole number, blank when not known. */
static void whole(struct row *w, int known, int n)
{
	char s[16];

	snprintf(s, sizeof s, "%d", n);
	text(w, known ? s : "");
}

static void end(struct row *w)
{
	fputc('\n', w->f);
	w->started = 0;
}

static void dish(struct row *w, int n)
{
	char s[16];

	switch (n) {
	case DISH_BLANK:
		text(w, "");
		break;
	case DISH_TNTC:
		text(w, "TNTC");
		break;
	case DISH_FAILED:
		text(w, "failed");
		break;
	case DISH_NOT_ORDERED:
		text(w, "not ordered");
		break;
	default:
		snprintf(s, sizeof s, "%d", n);
		text(w, s);
	}
}

static const char *version(const demo_case *c)
{
	return c->new_lab ? "lab-b 1" : c->hand_count ? "lab-a 1" : "lab-a 2";
}

static void case_id(struct row *w, const demo_case *c)
{
	char s[16];

	snprintf(s, sizeof s, "C%05d", c->number);
	text(w, s);
}

static void date(struct row *w, int day, int local)
{
	char s[40];
	int y, m, d;

	demo_date(day, &y, &m, &d);
	if (local)
		snprintf(s, sizeof s, "%02d.%02d.%04d", d, m, y);
	else
		snprintf(s, sizeof s, "%04d-%02d-%02d", y, m, d);
	text(w, s);
}

void demo_write_header(FILE *f)
{
	fputs("patient,sex,birth_year,case,case_date,age_y,bmi,operator,"
	      "blood_wbc_e9_per_l,blood_rbc_e12_per_l,blood_hct_pct,side,"
	      "site_no,landmark,distance_mm,needle_gauge,needle_geometry,"
	      "needle,adverse_event,pain_score,aliquot_no,volume_ml,syringe_ml,"
	      "move,anticoagulant,anticoagulant_ml,pull_style,time_to_lab_min,"
	      "method_version,tnc_e6_per_ml,mnc_e6_per_ml,viability_pct,"
	      "hct_pct,rbc_e12_per_l,platelets_e9_per_l,cells_plated,dish_1,"
	      "dish_2,dish_3,culture_days,colony_threshold\n", f);
}

static void case_cells(struct row *w, const demo_case *c, int local)
{
	const demo_patient *p = c->patient;

	text(w, p->id);
	text(w, local ? p->female ? "w" : "m" : p->female ? "female" : "male");
	whole(w, p->birth_year_known, p->birth_year);
	case_id(w, c);
	date(w, c->day, local);
	number(w, c->age_y, 0);
	number(w, p->bmi_known ? p->bmi : NAN, 1);
	text(w, demo_operator[c->operator_]);
	number(w, c->blood_wbc, 1);
	number(w, c->blood_rbc, 2);
	/* the dialect gives haematocrit as a fraction */
	number(w, local ? c->blood_hct / 100 : c->blood_hct, local ? 3 : 1);
}

static void site_cells(struct row *w, const demo_site *s, int no, int local)
{
	text(w, local ? s->right ? "R" : "L" : s->right ? "right" : "left");
	number(w, no, 0);
	text(w, (local ? local_landmark : demo_landmark)[s->landmark]);
	if (local) /* the dialect gives centimetres */
		number(w, s->in_side > 1 ? s->distance_mm / 10.0 : (double)NAN,
		       1);
	else
		whole(w, s->in_side > 1, s->distance_mm);
	number(w, s->gauge, 0);
	if (local)
		text(w, s->closed_tip ? "side port" : "straight");
	else
		text(w, s->closed_tip ? "closed-tip side-hole" : "open-end");
	text(w, s->closed_tip ? "needle B" : "needle A");
	text(w, s->adverse_known ? adverse_word[s->adverse] : "");
	whole(w, s->pain >= 0, s->pain);
}

static void pull_cells(struct row *w, const demo_site *s, const demo_pull *p,
                       int local)
{
	number(w, p->no, 0);
	number(w, p->ml, 1);
	number(w, s->syringe_ml, 0);
	text(w, (local ? local_move : move_word)[p->move]);
	text(w, p->anticoagulant ? "ACD-A" : "heparin rinse");
	number(w, p->anticoagulant ? p->acid_ml : NAN, 1);
	text(w, style_word[p->style]);
	number(w, p->minutes, 0);
}

static void culture_cells(struct row *w, const demo_case *c, double plated,
                          const int *dishes)
{
	int grown = !isnan(plated);

	number(w, plated, 0);
	for (int i = 0; i < N_DISHES; i++)
		dish(w, dishes[i]);
	whole(w, grown, c->new_lab ? 13 : 14);
	whole(w, grown, 50);
}

static void result_cells(struct row *w, const demo_case *c, const demo_pull *p,
                         int local)
{
	int any = !isnan(p->tnc) || p->dish[0] != DISH_BLANK;

	text(w, any ? version(c) : "");
	/* the dialect gives cells per uL */
	number(w, local ? p->tnc * 1000 : p->tnc, local ? 0 : 1);
	number(w, local ? p->mnc * 1000 : p->mnc, local ? 0 : 1);
	number(w, p->viability, 1);
	number(w, local ? p->hct / 100 : p->hct, local ? 3 : 1);
	number(w, p->rbc, 2);
	number(w, p->platelets, 0);
	culture_cells(w, c, p->plated, p->dish);
}

static void write_rows(struct row *w, const demo_case *c, int local)
{
	for (int i = 0; i < c->n_sites; i++)
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			const demo_site *s = &c->site[i];

			case_cells(w, c, local);
			site_cells(w, s, i + 1, local);
			pull_cells(w, s, &s->pull[k], local);
			result_cells(w, c, &s->pull[k], local);
			end(w);
		}
}

void demo_write_case(FILE *f, const demo_case *c)
{
	struct row w = { f, ',', '.', 0 };

	write_rows(&w, c, 0);
}

void demo_write_local_header(FILE *f)
{
	fputs("Pat;Sex;Born;Visit;Date;Age;BMI;Drawn by;Blood WBC;Blood RBC;"
	      "Blood Hct;Side;Hole;Bone;Gap cm;Gauge;Needle type;Needle;"
	      "Trouble;Pain;Pull;mL;Syringe;Moved;Additive;Additive mL;Style;"
	      "Minutes;Lab;Cells/uL;Mono/uL;Alive;Hct;RBC;PLT;Plated;D1;D2;"
	      "D3;Days;Colony min\n", f);
}

void demo_write_local(FILE *f, const demo_case *c)
{
	struct row w = { f, ';', ',', 0 };

	write_rows(&w, c, 1);
}

void demo_write_cd34_header(FILE *f)
{
	fputs("patient,case,case_date,side,site_no,aliquot_no,method_version,"
	      "outcome,value,unit\n", f);
}

static void cd34_value(struct row *w, const demo_case *c, double x)
{
	double least = c->new_flow ? 10 : 20;

	if (x < least)
		text(w, c->new_flow ? "<10" : "<20");
	else if (x > 1200)
		text(w, ">1200");
	else
		number(w, x, 0);
}

void demo_write_cd34(FILE *f, const demo_case *c)
{
	struct row w = { f, ',', '.', 0 };

	for (int i = 0; i < c->n_sites; i++)
		for (int k = 0; k < c->site[i].n_pulls; k++) {
			const demo_pull *p = &c->site[i].pull[k];

			if (!p->cd34_asked)
				continue;
			text(&w, c->patient->id);
			case_id(&w, c);
			date(&w, c->day, 0);
			text(&w, c->site[i].right ? "right" : "left");
			number(&w, i + 1, 0);
			number(&w, p->no, 0);
			text(&w, c->new_flow ? "flow 2" : "flow 1");
			text(&w, "cd34");
			cd34_value(&w, c, p->cd34);
			text(&w, "10*3/mL");
			end(&w);
		}
}

void demo_write_pool_header(FILE *f)
{
	fputs("patient,case,case_date,sample,pool,material,method_version,"
	      "tnc_e6_per_ml,mnc_e6_per_ml,viability_pct,cells_plated,dish_1,"
	      "dish_2,dish_3,culture_days,colony_threshold\n", f);
}

static void pool_row(FILE *f, demo_rng *r, const demo_case *c, int side,
                     int concentrate)
{
	static const char *const words[3] = { "case", "L", "R" };
	struct row w = { f, ',', '.', 0 };
	demo_pool p;
	char label[24];

	demo_lab_pool(r, c, side, &p);
	if (p.ml <= 0)
		return;
	snprintf(label, sizeof label, "S%05d-%s", c->number,
	         concentrate ? "conc" : words[side + 1]);
	text(&w, c->patient->id);
	case_id(&w, c);
	date(&w, c->day, 0);
	text(&w, label);
	text(&w, words[side + 1]);
	text(&w, concentrate ? "concentrate" : "aspirate");
	text(&w, version(c));
	number(&w, concentrate ? p.tnc * 4.6 : p.tnc, 1);
	number(&w, concentrate ? p.mnc * 5.1 : p.mnc, 1);
	number(&w, p.viability, 1);
	culture_cells(&w, c, p.plated, p.dish);
	end(&w);
}

void demo_write_pools(FILE *f, demo_rng *r, const demo_case *c)
{
	if (c->pooled == 1)
		pool_row(f, r, c, -1, 0);
	if (c->pooled == 2)
		for (int side = 0; side < 2; side++)
			pool_row(f, r, c, side, 0);
	if (c->pooled && c->number % 3 == 0)
		pool_row(f, r, c, -1, 1);
}
