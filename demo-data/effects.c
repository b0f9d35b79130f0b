/*
 * effects.c - the one table of true effects. The generator, the truth of each
 * question and TRUTH.md are all made from it.
 *
 * Sizes lean on published ranges (volume and repeated pulls: Muschler 1997,
 * Muench 2019; syringe: the paired syringe series of 2013, Int Orthop 37,
 * 2279; drift: Prokopishyn 2019; CFU against TNC: r^2 near 0.28) but every
 * number is chosen for the demo and describes nobody's patients.
 */
#include "clinic.h"

#include <math.h>

const double demo_dish_size = 20;

/* clang-format off */
const effects demo_effects[N_MEASURES] = {
	[M_TNC] = { /* 10^6 per mL */
		.centre = 3.4012, /* ln 30 */
		.patient = 0.33, .occasion = 0.05, .side = 0.10, .site = 0.11,
		.pull = 0.10, .assay = 0.05,
		.age_10y = -0.06, .female = -0.05, .bmi_5 = -0.03,
		.year = -0.012,
		.log_ml = -0.35, .log_syringe = -0.3174, /* 0.6 at 10 -> 50 */
		.operator_ = { 0.06, 0.02, -0.10, 0.02 },
		.landmark_ = { 0, -0.0953, -0.7985, -0.9163 },
		.closed_tip = 0.0392, .close_neighbour = -0.1625,
		.new_lab = 0.1655,
		.moved = { 0, -0.3567, -0.2877, -0.2231, -0.1054, 0 },
	},
	[M_PREVALENCE] = { /* colonies per 10^6 nucleated cells */
		.centre = 3.4012,
		.patient = 0.45, .occasion = 0.20, .side = 0.14, .site = 0.14,
		.pull = 0.15, .assay = 0.12,
		.age_10y = -0.12, .bmi_5 = 0.03, .year = -0.02,
		.log_ml = -0.15, .log_syringe = -0.3715, /* 0.55 for 10 -> 50 */
		.operator_ = { 0.10, -0.02, -0.14, 0.06 },
		.landmark_ = { 0, -0.3716, -0.9163, -1.2040 },
		.closed_tip = 0.1839, .close_neighbour = -0.0513,
		.new_lab = -0.4780,
		.moved = { 0, -0.2231, -0.1625, -0.1278, -0.0513, 0 },
	},
	[M_CD34] = { /* 10^3 per mL */
		.centre = 5.0106, /* ln 150 */
		.patient = 0.50, .occasion = 0.10, .side = 0.14, .site = 0.14,
		.pull = 0.15, .assay = 0.08,
		.age_10y = -0.06,
		.log_ml = -0.40, .log_syringe = -0.3174,
		.operator_ = { 0.08, 0.00, -0.12, 0.04 },
		.landmark_ = { 0, -0.0953, -1.2040, -1.3863 },
		.closed_tip = 0.10, .close_neighbour = -0.1625,
		.new_lab = 0.1133, /* the flow laboratory's own change */
		.moved = { 0, -0.3857, -0.3285, -0.2485, -0.1054, 0 },
	},
	[M_MNC_SHARE] = { /* of nucleated cells */
		.centre = -1.0498, /* ln 0.35 */
		.patient = 0.12, .occasion = 0.03, .side = 0.02, .site = 0.02,
		.pull = 0.04, .assay = 0.05,
		.log_ml = -0.05,
		.landmark_ = { 0, 0, -0.1625, -0.1625 },
		.moved = { 0, -0.0408, -0.0408, -0.0305, -0.0202, 0 },
	},
	[M_VIABILITY] = { /* per cent; effects in points */
		.centre = 93.0,
		.patient = 1.2, .occasion = 0.6, .side = 0.3, .site = 0.3,
		.pull = 0.5, .assay = 1.0,
		.age_10y = -0.10, .hour_to_lab = -0.9,
		.log_syringe = -0.3728, /* -0.6 points for 10 -> 50 mL */
		.new_lab = 0.5,
	},
};
/* clang-format on */

double demo_yield_power(measure m)
{
	double slope = demo_effects[m].log_ml;

	if (m == M_PREVALENCE || m == M_MNC_SHARE)
		slope += demo_effects[M_TNC].log_ml;
	return 1 + slope;
}

static double power_law(measure m, int no)
{
	double b = demo_yield_power(m);

	return log(pow(no, b) - pow(no - 1, b));
}

double demo_same_hole(measure m, int no)
{
	switch (m) {
	case M_VIABILITY:
		return 0;
	case M_PREVALENCE: /* the law holds for colonies: take TNC's part off */
	case M_MNC_SHARE:
		return power_law(m, no) - power_law(M_TNC, no);
	default:
		return power_law(m, no);
	}
}
