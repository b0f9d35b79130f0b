/*
 * compare.c - the values of one row against each other. A rule looks for the
 * next row it does not like in whole columns, so that a clean batch costs a
 * few passes of comparisons; NaN (blank) compares false and is never told.
 */
#include "base/scan.h"
#include "data/rules.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Columns by short names inside the rules below. */
#define NUMBER(f) (b->cell[PD_F_##f].number[i])
#define STATE(f) (b->cell[PD_F_##f].state[i])
#define MEASURED(f) (STATE(f) == PD_MEASURED)
/* At least / at most the number, whatever lies beyond a limit. */
#define AT_LEAST(f) (MEASURED(f) || STATE(f) == PD_ABOVE)
#define AT_MOST(f) (MEASURED(f) || STATE(f) == PD_BELOW)

/* The next row from i on that breaks the rule, n_rows when there is none. */
#define RULE(name, condition)                                                  \
	static size_t name(const pd_batch *b, size_t i)                        \
	{                                                                      \
		while (i < b->n_rows && !(condition))                          \
			i++;                                                   \
		return i;                                                      \
	}

/* Barrels hold about a quarter more than their nominal size: common practice,
 * no source. */
RULE(over_syringe, NUMBER(VOLUME) > 1.25 * NUMBER(SYRINGE))
RULE(over_nominal, NUMBER(VOLUME) > NUMBER(SYRINGE) &&
                       NUMBER(VOLUME) <= 1.25 * NUMBER(SYRINGE))
RULE(over_filled, NUMBER(VOLUME) + NUMBER(ANTICOAG_ML) >
                          1.25 * NUMBER(SYRINGE) &&
                      NUMBER(VOLUME) <= 1.25 * NUMBER(SYRINGE))
RULE(mnc_tnc, AT_LEAST(MNC) && AT_MOST(TNC) && NUMBER(MNC) > NUMBER(TNC))
RULE(cd34_tnc, AT_LEAST(CD34) && AT_MOST(TNC) &&
                   NUMBER(CD34) > 1e3 * NUMBER(TNC))
RULE(cd271_tnc, AT_LEAST(CD271) && AT_MOST(TNC) &&
                    NUMBER(CD271) > 1e6 * NUMBER(TNC))
RULE(tnc_blood, AT_MOST(TNC) && NUMBER(TNC) <= 1.1 * NUMBER(BLOOD_WBC))
RULE(rbc_blood, MEASURED(RBC) && NUMBER(RBC) > 1.1 * NUMBER(BLOOD_RBC))
RULE(hct_blood, MEASURED(HCT) && NUMBER(HCT) > NUMBER(BLOOD_HCT) + 5)

static double year_of(double days)
{
	int y = 0, m, d;

	if (isnan(days))
		return NAN;
	pd_date_of((int32_t)days, &y, &m, &d);
	return y;
}

/* Whole years of age are the calendar years between, or one less. */
static bool ages_agree(double year, double born, double age)
{
	double years = year - born;

	return isnan(years) || isnan(age) || years < 0 ||
	       (floor(age) <= years && floor(age) >= years - 1);
}

RULE(birth_case, NUMBER(BIRTH_YEAR) > year_of(NUMBER(CASE_DATE)))
RULE(age_birth, !ages_agree(year_of(NUMBER(CASE_DATE)), NUMBER(BIRTH_YEAR),
                            NUMBER(AGE)))

/* The dishes of one row. */
struct dishes {
	unsigned present, measured; /* not blank; counted                     */
	unsigned plated;            /* that ought to have cells on them       */
	double sum, squares;
};

static inline struct dishes dishes_of(const pd_batch *b, size_t i)
{
	struct dishes d = { 0, 0, 0, 0, 0 };

	for (int f = PD_F_DISH_1; f <= PD_F_DISH_6; f++) {
		const pd_cells *c = &b->cell[f];

		if (!c->number || c->state[i] == PD_BLANK)
			continue;
		d.present++;
		d.plated += c->state[i] != PD_FAILED &&
		            c->state[i] != PD_NOT_ORDERED;
		if (c->state[i] == PD_MEASURED) {
			d.measured++;
			d.sum += c->number[i];
			d.squares += c->number[i] * c->number[i];
		}
	}
	return d;
}

static bool lacks_plated(const pd_batch *b, size_t i)
{
	return isnan(NUMBER(CELLS_PLATED)) && dishes_of(b, i).plated > 0;
}

static bool lacks_dishes(const pd_batch *b, size_t i)
{
	return !isnan(NUMBER(CELLS_PLATED)) && dishes_of(b, i).present == 0;
}

RULE(no_plated, lacks_plated(b, i))
RULE(no_dishes, lacks_dishes(b, i))

/*
 * Index of dispersion sum (k - mean)^2 / mean on n - 1 degrees of freedom
 * (Fisher 1950, Biometrics 6, 17-24), upper tail below 0.001. The critical
 * values spare the function in clean rows: chi-square upper 0.001 points.
 */
static bool overdispersed(const pd_batch *b, size_t i)
{
	static const double critical[] = { 0, 0, 10.8275, 13.8155, 16.2662,
		                           18.4668, 20.5150 };
	struct dishes d = dishes_of(b, i);

	if (d.measured < 2 || d.sum <= 0)
		return false;
	double mean = d.sum / d.measured;
	double index = (d.squares - d.sum * mean) / mean;

	return index > critical[d.measured] - 0.01 &&
	       gsl_cdf_chisq_Q(index, d.measured - 1.0) < 0.001;
}

RULE(dispersion, overdispersed(b, i))

/* Half a unit of the last decimal a number was given with. */
static double half_unit(double x)
{
	double scale = 1;

	for (int k = 0; k < 6; k++, scale *= 10)
		if (fabs(x * scale - nearbyint(x * scale)) < 1e-6)
			return 0.5 / scale;
	return 0;
}

/* Are a and b one number, given what rounding may have done to each? Two per
 * cent are allowed for numbers rounded to few digits. */
static bool agree(double a, double slack_a, double b, double slack_b)
{
	double most = fmax(fabs(a), fabs(b));

	return !(fabs(a - b) > slack_a + slack_b + 0.02 * most);
}

static bool prevalence_off(const pd_batch *b, size_t i)
{
	double conc = NUMBER(CFU_F), prev = NUMBER(CFU_F_E6), tnc = NUMBER(TNC);

	if (!MEASURED(CFU_F) || !MEASURED(CFU_F_E6) || !MEASURED(TNC))
		return false;
	return !agree(conc, half_unit(conc), prev * tnc,
	              prev * half_unit(tnc) + tnc * half_unit(prev));
}

/* Prevalence the dishes give, per 10^6; NaN where not all were counted. */
static double dish_rate(const pd_batch *b, size_t i)
{
	struct dishes d = dishes_of(b, i);

	if (d.measured == 0 || d.measured != d.present)
		return NAN;
	return 1e6 * d.sum / (d.measured * NUMBER(CELLS_PLATED));
}

static bool dishes_off_e6(const pd_batch *b, size_t i)
{
	double prev = NUMBER(CFU_F_E6);

	return MEASURED(CFU_F_E6) &&
	       !agree(prev, half_unit(prev), dish_rate(b, i), 0);
}

static bool dishes_off(const pd_batch *b, size_t i)
{
	double conc = NUMBER(CFU_F), tnc = NUMBER(TNC);

	if (!MEASURED(CFU_F) || !MEASURED(TNC))
		return false;
	double rate = dish_rate(b, i);

	return !agree(conc, half_unit(conc), rate * tnc,
	              rate * half_unit(tnc));
}

RULE(prevalence, prevalence_off(b, i))
RULE(dishes_rate_e6, dishes_off_e6(b, i))
RULE(dishes_rate, dishes_off(b, i))

/* A syringe of a size that is sold (mL): common practice, no source. */
static bool odd_syringe(double x)
{
	static const double sizes[] = { 1, 2, 2.5, 3, 5, 6, 10, 12, 20, 25, 30,
		                        35, 50, 60, 100 };

	for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++)
		if (x == sizes[k])
			return false;
	return !isnan(x);
}

RULE(syringe_odd, odd_syringe(NUMBER(SYRINGE)))

#define NONE PD_N_FIELDS

/* Which columns a rule reads; the first is where the finding points. */
static const struct row_rule {
	pd_rule rule;
	size_t (*next)(const pd_batch *b, size_t from);
	pd_field needs[4];
} row_rules[] = {
	{ PD_RULE_SYRINGE_ODD, syringe_odd, { PD_F_SYRINGE, NONE } },
	{ PD_RULE_OVER_SYRINGE, over_syringe,
	  { PD_F_VOLUME, PD_F_SYRINGE, NONE } },
	{ PD_RULE_OVER_NOMINAL, over_nominal,
	  { PD_F_VOLUME, PD_F_SYRINGE, NONE } },
	{ PD_RULE_OVER_FILLED, over_filled,
	  { PD_F_ANTICOAG_ML, PD_F_VOLUME, PD_F_SYRINGE, NONE } },
	{ PD_RULE_MNC_TNC, mnc_tnc, { PD_F_MNC, PD_F_TNC, NONE } },
	{ PD_RULE_CD34_TNC, cd34_tnc, { PD_F_CD34, PD_F_TNC, NONE } },
	{ PD_RULE_CD271_TNC, cd271_tnc, { PD_F_CD271, PD_F_TNC, NONE } },
	{ PD_RULE_TNC_BLOOD, tnc_blood, { PD_F_TNC, PD_F_BLOOD_WBC, NONE } },
	{ PD_RULE_RBC_BLOOD, rbc_blood, { PD_F_RBC, PD_F_BLOOD_RBC, NONE } },
	{ PD_RULE_HCT_BLOOD, hct_blood, { PD_F_HCT, PD_F_BLOOD_HCT, NONE } },
	{ PD_RULE_BIRTH_CASE, birth_case,
	  { PD_F_BIRTH_YEAR, PD_F_CASE_DATE, NONE } },
	{ PD_RULE_AGE_BIRTH, age_birth,
	  { PD_F_AGE, PD_F_BIRTH_YEAR, PD_F_CASE_DATE, NONE } },
	{ PD_RULE_NO_PLATED, no_plated, { PD_F_CELLS_PLATED, NONE } },
	{ PD_RULE_NO_DISHES, no_dishes,
	  { PD_F_CELLS_PLATED, PD_F_DISH_1, NONE } },
	{ PD_RULE_DISPERSION, dispersion, { PD_F_DISH_1, NONE } },
	{ PD_RULE_PREVALENCE, prevalence,
	  { PD_F_CFU_F, PD_F_CFU_F_E6, PD_F_TNC, NONE } },
	{ PD_RULE_DISHES_RATE, dishes_rate_e6,
	  { PD_F_CFU_F_E6, PD_F_CELLS_PLATED, PD_F_DISH_1, NONE } },
	{ PD_RULE_DISHES_RATE, dishes_rate,
	  { PD_F_CFU_F, PD_F_CELLS_PLATED, PD_F_DISH_1, PD_F_TNC } },
};

static void add_value(const pd_batch *b, size_t i, pd_field f, char *out,
                      size_t size)
{
	const pd_cells *c = &b->cell[f];
	size_t n = strlen(out);
	char date[11];

	if (isnan(c->number[i]) || (c->state && c->state[i] != PD_MEASURED))
		return;
	if (pd_field_about(f)->kind == PD_FIELD_DATE)
		snprintf(out + n, size - n, "; %s %s", pd_field_about(f)->header,
		         pd_date_print((int32_t)c->number[i], date));
	else
		snprintf(out + n, size - n, "; %s %.6g",
		         pd_field_about(f)->header, c->number[i]);
}

static void add_dishes(const pd_batch *b, size_t i, char *out, size_t size)
{
	for (int f = PD_F_DISH_1; f <= PD_F_DISH_6; f++)
		if (b->cell[f].number && !isnan(b->cell[f].number[i]))
			add_value(b, i, (pd_field)f, out, size);
}

void pd_rules_compare(const pd_batch *b, pd_rule_tell tell, void *user)
{
	char expected[320];

	for (size_t k = 0; k < sizeof row_rules / sizeof *row_rules; k++) {
		const struct row_rule *r = &row_rules[k];
		bool there = true;

		for (int j = 0; j < 4 && r->needs[j] != NONE; j++)
			there = there && b->cell[r->needs[j]].number;
		if (!there)
			continue;
		for (size_t i = r->next(b, 0); i < b->n_rows;
		     i = r->next(b, i + 1)) {
			snprintf(expected, sizeof expected, "%s",
			         pd_rule_about(r->rule)->why);
			for (int j = 1; j < 4 && r->needs[j] != NONE; j++)
				if (r->needs[j] != PD_F_DISH_1)
					add_value(b, i, r->needs[j], expected,
					          sizeof expected);
			if (r->rule == PD_RULE_DISPERSION ||
			    r->rule == PD_RULE_DISHES_RATE)
				add_dishes(b, i, expected, sizeof expected);
			tell(user, r->rule, i, r->needs[0], expected);
		}
	}
}
