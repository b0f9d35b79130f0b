/*
 * gen.c - a wide file of draws with their lab results, as large as asked for
 * and the same for the same seed: what load.sh times. Headers are canonical.
 *
 *   gen CASES [SEED] > wide.csv
 *
 * A case has 4 to 8 sites on two sides, two pulls a site, a patient one to
 * three cases. Roughly 2 in 100 results are blank, 1 in 200 below a limit.
 * Logs of TNC: 3.0, patients' SD 0.55, cases 0.15, sides 0.10, sites 0.20, pulls
 * 0.30; a year of age -0.007, a site -0.03, the second pull -0.128, per log mL
 * -0.25, women -0.05. Colonies scatter more than a Poisson law (theta 1.5, 1.2
 * and 1.1), patients' SD 0.50, cases' 0.20.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

static uint64_t state;

/* splitmix64, Steele, Lea & Flood 2014 */
static uint64_t bits(void)
{
	uint64_t z = state += UINT64_C(0x9e3779b97f4a7c15);

	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	return z ^ z >> 31;
}

static double uniform(void)
{
	return ((double)(bits() >> 11) + 0.5) / 9007199254740992.0;
}

/* Box & Muller 1958, the cosine of each pair. */
static double normal(void)
{
	double radius = sqrt(-2 * log(uniform()));

	return radius * cos(6.283185307179586 * uniform());
}

static int below(int n)
{
	return (int)(uniform() * n);
}

/* Marsaglia & Tsang 2000, shape at least 1. */
static double gamma_of(double shape)
{
	double d = shape - 1.0 / 3, c = 1 / sqrt(9 * d), v, x;

	for (;;) {
		x = normal();
		v = 1 + c * x;
		if (v <= 0)
			continue;
		v *= v * v;
		if (log(uniform()) < x * x / 2 + d - d * v + d * log(v))
			return d * v;
	}
}

/* Poisson by exponential gaps, around a gamma mean: negative binomial. */
static int colonies(double mean, double theta)
{
	int n = 0;

	mean *= gamma_of(theta) / theta;
	for (double left = mean; n < 400; n++) {
		left += log(uniform());
		if (left < 0)
			break;
	}
	return n;
}

static void result(const char *format, double x, const char *limit)
{
	double u = uniform();

	putchar(',');
	if (u < 0.02)
		return;
	if (limit && u < 0.025)
		fputs(limit, stdout);
	else
		printf(format, x);
}

/* What the pulls of one case have in common. */
struct draw {
	char head[160];          /* cells before the tree's                  */
	int age, female, needle;
	double cells, colonies;  /* logs, patient and case together          */
};

static void pull(const struct draw *d, int side, int site, int no,
                 double level)
{
	static const int syringe[] = { 5, 10, 20, 50 };
	int size = syringe[below(4)];
	double ml = round(40 * exp(0.45 * normal())) / 10;

	ml = fmin(fmax(ml, 0.5), size);
	level += log(20.0) - 0.007 * (d->age - 55) - 0.03 * (site - 1) -
	         0.25 * log(ml / 4) - 0.05 * d->female + 0.30 * normal();
	if (no == 2)
		level -= 0.128;
	printf("%s,%s,%d,%d,%.1f,%d,N%d,%.2f", d->head, side ? "R" : "L", site,
	       no, ml, size, d->needle, ml / 10);
	result("%.3f", exp(level), "<0.5");
	result("%.1f", 99 - 6 * uniform(), NULL);
	result("%.1f", 20 + 12 * uniform(), NULL);
	double plated = 250000.0 * (1 + below(4));
	double rate = plated / 1e6 * exp(d->colonies - 0.01 * (d->age - 55) -
	                                 (no == 2 ? 0.083 : 0));

	printf(",%.0f", plated);
	result("%.0f", colonies(28 * rate, 1.5), "<1");
	result("%.0f", colonies(6 * rate, 1.2), NULL);
	result("%.0f", colonies(0.8 * rate, 1.1), NULL);
	putchar('\n');
}

/* 1 to 3 cases a patient, as 72, 20 and 8 in 100. */
static int cases_of_patient(void)
{
	double u = uniform();

	return u < 0.72 ? 1 : u < 0.92 ? 2 : 3;
}

int main(int argc, char **argv)
{
	long n = argc > 1 ? strtol(argv[1], NULL, 10) : 3500, patient = 0;
	int left = 0, year = 0;
	struct draw d = { .age = 0 };
	double cells = 0, cfu = 0;

	state = argc > 2 ? strtoull(argv[2], NULL, 10) : 7;
	puts("patient,sex,birth_year,case,case_date,age_y,operator,side,"
	     "site_no,aliquot_no,volume_ml,syringe_ml,needle,"
	     "anticoagulant_ml,tnc_e6_per_ml,viability_pct,hct_pct,"
	     "cells_plated,dish_1,dish_2,dish_3");
	for (long c = 1; c <= n; c++) {
		if (left == 0) {
			patient++;
			left = cases_of_patient();
			d.age = (int)fmin(fmax(56 + 15 * normal(), 18), 88);
			year = 2004 + below(18);
			d.female = uniform() < 0.47;
			cells = 0.55 * normal();
			cfu = 0.50 * normal();
		} else {
			year++;
			d.age++;
		}
		left--;
		d.needle = below(3);
		d.cells = cells + 0.15 * normal();
		d.colonies = cfu + 0.20 * normal();
		snprintf(d.head, sizeof d.head,
		         "M%07ld,%s,%d,V%07ld,%d-%02d-%02d,%d,T%d", patient,
		         d.female ? "F" : "M", year - d.age, c, year,
		         1 + below(12), 1 + below(28), d.age, below(8));
		int sites = 4 + below(5);
		double side[2] = { 0.10 * normal(), 0.10 * normal() };

		for (int s = 1; s <= sites; s++) {
			int right = 2 * s > sites + 1;
			double level = d.cells + side[right] + 0.20 * normal();

			pull(&d, right, s, 1, level);
			pull(&d, right, s, 2, level);
		}
	}
	return 0;
}
