/*
 * rules.c - the table of findings and the limits of each field. "Cannot be"
 * follows from the definition of the quantity; "implausible" is common
 * practice, no source, set wide of the published ranges. The rules that hold
 * the values of one row against each other are in compare.c.
 */
#include "data/rules.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const pd_rule_info info[PD_N_RULES] = {
#define X(id, code, level, what, why) { code, PD_##level, what, why },
	PD_RULE_LIST(X)
#undef X
};

const pd_rule_info *pd_rule_about(pd_rule rule)
{
	return &info[rule];
}

const char *pd_level_word(pd_finding_level level)
{
	return level == PD_ERROR ? "error" : level == PD_WARNING ? "warning"
	                                                         : "note";
}

static const pd_limits limits[] = {
	/* field, cannot be outside, implausible outside                     */
	{ PD_F_BIRTH_YEAR, 1850, 2100, 1900, 2100 },
	{ PD_F_AGE, 0, 130, 1, 105 },
	{ PD_F_BMI, 5, 150, 12, 70 },
	{ PD_F_BLOOD_WBC, 0, 2000, 0.5, 100 },
	{ PD_F_BLOOD_RBC, 0, 15, 1.5, 8 },
	{ PD_F_BLOOD_HCT, 0, 100, 15, 65 },
	{ PD_F_SITE_NO, 1, 200, 1, 40 },
	{ PD_F_DISTANCE, 0, 2000, 1, 300 },
	{ PD_F_GAUGE, 1, 40, 6, 22 },
	{ PD_F_PAIN, 0, 10, 0, 10 },
	{ PD_F_ALIQUOT_NO, 1, 200, 1, 30 },
	{ PD_F_VOLUME, 1e-6, 2000, 0.1, 120 },
	{ PD_F_SYRINGE, 0.1, 1000, 1, 100 },
	{ PD_F_ANTICOAG_ML, 0, 1000, 0, 30 },
	{ PD_F_TIME_TO_LAB, 0, 525600, 0, 2880 },
	{ PD_F_TNC, 0, 10000, 1, 300 },
	{ PD_F_MNC, 0, 10000, 0.05, 200 },
	{ PD_F_VIABILITY, 0, 100, 40, 100 },
	{ PD_F_HCT, 0, 100, 1, 65 },
	{ PD_F_RBC, 0, 15, 0.1, 8 },
	{ PD_F_PLATELETS, 0, 20000, 1, 2000 },
	{ PD_F_CD34, 0, 1e7, 0, 5000 },
	{ PD_F_CD271, 0, 1e10, 0, 1e6 },
	{ PD_F_CFU_F, 0, 1e10, 0, 1e5 },
	{ PD_F_CFU_F_E6, 0, 1e6, 0, 5000 },
	{ PD_F_CELLS_PLATED, 1, 1e10, 1e3, 5e7 },
	{ PD_F_DISH_1, 0, 1e5, 0, 1000 },
	{ PD_F_DISH_2, 0, 1e5, 0, 1000 },
	{ PD_F_DISH_3, 0, 1e5, 0, 1000 },
	{ PD_F_DISH_4, 0, 1e5, 0, 1000 },
	{ PD_F_DISH_5, 0, 1e5, 0, 1000 },
	{ PD_F_DISH_6, 0, 1e5, 0, 1000 },
	{ PD_F_CULTURE_DAYS, 0.5, 120, 4, 28 },
	{ PD_F_THRESHOLD, 1, 10000, 4, 200 },
};

const pd_limits *pd_limits_of(pd_field f)
{
	for (size_t i = 0; i < sizeof limits / sizeof *limits; i++)
		if (limits[i].field == f)
			return &limits[i];
	return NULL;
}

/* What one run over a batch needs. */
struct run {
	const pd_batch *b;
	pd_rule_tell tell;
	void *user;
};

static void say_limits(const struct run *r, pd_rule rule, size_t row,
                       pd_field at, pd_field f, double low, double high)
{
	char expected[160];
	const pd_field_info *about = pd_field_about(f);

	snprintf(expected, sizeof expected, "%s%s from %.12g to %.12g %s",
	         rule == PD_RULE_IMPOSSIBLE ? "" : "check value and unit: ",
	         about->header, low, high, about->unit);
	r->tell(r->user, rule, row, at, expected);
}

/* One number of field f standing in column `at` (the VALUE of a long row). */
static void check_limits(const struct run *r, size_t row, pd_field at,
                         pd_field f, double x, uint8_t state)
{
	const pd_limits *l = pd_limits_of(f);
	bool dish = f >= PD_F_DISH_1 && f <= PD_F_DISH_6;
	bool percent = f == PD_F_VIABILITY || f == PD_F_HCT ||
	               f == PD_F_BLOOD_HCT;

	if (!l || isnan(x))
		return;
	if (x < l->low || x > l->high) {
		say_limits(r, PD_RULE_IMPOSSIBLE, row, at, f, l->low, l->high);
		return;
	}
	if (state != PD_MEASURED)
		return;
	if (dish && x != floor(x))
		r->tell(r->user, PD_RULE_DISH_WHOLE, row, at, NULL);
	else if (percent && x > 0 && x <= 1)
		r->tell(r->user, PD_RULE_FRACTION, row, at, NULL);
	else if (f == PD_F_TNC && (x < l->few || x > l->many))
		r->tell(r->user, PD_RULE_TNC_SLIP, row, at, NULL);
	else if (x < l->few || x > l->many)
		say_limits(r, PD_RULE_IMPLAUSIBLE, row, at, f, l->few,
		           l->many);
}

/* A pass that only asks whether the slow look is needed. */
static bool column_is_clean(const double *x, size_t n, const pd_limits *l,
                            bool whole)
{
	bool clean = true;

	for (size_t i = 0; i < n; i++)
		clean &= !(x[i] < l->few) & !(x[i] > l->many);
	for (size_t i = 0; whole && clean && i < n; i++)
		clean = isnan(x[i]) || x[i] == (double)(int32_t)x[i];
	return clean;
}

static void run_limits(const struct run *r)
{
	const pd_batch *b = r->b;

	for (size_t k = 0; k < sizeof limits / sizeof *limits; k++) {
		pd_field f = limits[k].field;
		const pd_cells *c = &b->cell[f];
		bool whole = f >= PD_F_DISH_1 && f <= PD_F_DISH_6;
		bool percent = f == PD_F_VIABILITY || f == PD_F_HCT ||
		               f == PD_F_BLOOD_HCT;
		pd_limits narrow = limits[k];

		if (!c->number)
			continue;
		if (percent && narrow.few <= 1)
			narrow.few = nextafter(1, 2);
		if (column_is_clean(c->number, b->n_rows, &narrow, whole))
			continue;
		for (size_t i = 0; i < b->n_rows; i++) {
			double x = c->number[i];

			if (x < narrow.few || x > narrow.many ||
			    (whole && x != floor(x)))
				check_limits(r, i, f, f, x,
				             c->state ? c->state[i]
				                      : PD_MEASURED);
		}
	}
	for (size_t i = 0; b->cell[PD_F_VALUE].number &&
	                   b->cell[PD_F_OUTCOME].code && i < b->n_rows; i++) {
		int8_t code = b->cell[PD_F_OUTCOME].code[i];

		if (code >= 0)
			check_limits(r, i, PD_F_VALUE, pd_outcome_field(code),
			             b->cell[PD_F_VALUE].number[i],
			             b->cell[PD_F_VALUE].state[i]);
	}
}

void pd_rules_run(const pd_batch *b, pd_rule_tell tell, void *user)
{
	const struct run r = { b, tell, user };

	run_limits(&r);
	pd_rules_compare(b, tell, user);
}
