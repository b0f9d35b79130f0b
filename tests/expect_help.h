/*
 * expect_help.h - clinics of known truth for the tests of expected yields:
 * written as a CSV, loaded through the real loader.
 */
#ifndef EXPECT_HELP_H
#define EXPECT_HELP_H

#include "data/store.h"
#include "plan/expect.h"

/* Effects on the natural log of a pull's TNC yield, in 10^6. */
struct truth {
	double centre;           /* 1 mL, man of 50, first pull, first site    */
	double age_10y, bend_10y, female, /* bend: more each 10 y above 55 */
	     log_ml, later_site, pull_2;
	double patient, side, site, pull; /* SDs                              */
};

struct clinic {
	struct truth t;
	int patients, most_sites, two_sides, pulls; /* sites vary 1 .. most  */
	const double *ml;        /* of a pull; n_ml of them                    */
	int n_ml;
	int syringes;            /* 1: 10 mL for all; 2: also 20, thinner      */
	double below;            /* CD34+ under it is reported as a limit      */
	uint64_t seed;
};

void expect_setup(void);
void expect_teardown(void);
/* shuffle: lines of the file in another order; the caller closes it. */
pd_store *expect_clinic(const struct clinic *c, bool shuffle);
/* A request about a woman of 50, TNC, nothing else given. */
pd_expect_request expect_request(void);
/* One case of a new patient straight from the truth. */
double expect_case(const struct truth *t, double age, bool female,
                   size_t sites, size_t sides, size_t pulls, double site_ml,
                   uint64_t seed, uint64_t number);

#endif
