/*
 * gen.c - a wide file of draws with their lab results, as large as asked for
 * and the same for the same seed: what load.sh times. Headers are canonical.
 *
 *   gen CASES [SEED] > wide.csv
 *
 * A case has 4 to 8 sites on two sides, two pulls a site, a patient one to
 * three cases. Roughly 2 in 100 results are blank, 1 in 200 below a limit.
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

/* Sum of twelve uniforms less six: normal enough for a benchmark. */
static double normal(void)
{
	double sum = -6;

	for (int k = 0; k < 12; k++)
		sum += uniform();
	return sum;
}

static int below(int n)
{
	return (int)(uniform() * n);
}

/* Colonies: Poisson by counting exponential gaps. */
static int colonies(double mean)
{
	int n = 0;

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

static void pull(long patient, const char *person, long c, int side, int site,
                 int no, double level, const char *end)
{
	static const int syringe[] = { 5, 10, 20, 50 };
	int size = syringe[below(4)];
	double ml = 1 + below(size * 8) / 10.0, here, rate;

	if (ml > size)
		ml = size;
	here = level * exp(0.35 * normal()) * (no == 2 ? 0.85 : 1);
	rate = 0.00004 * exp(0.5 * normal());
	printf("M%07ld,%s,V%07ld,%s,%s,%d,%d,%.1f,%d,N%d,%.2f", patient, person,
	       c, end, side ? "R" : "L", site, no, ml, size, (int)(c % 3),
	       ml / 10);
	result("%.3f", here, "<0.5");
	result("%.1f", 99 - 6 * uniform(), NULL);
	result("%.1f", 20 + 12 * uniform(), NULL);
	double plated = 250000.0 * (1 + below(4));

	printf(",%.0f", plated);
	result("%.0f", colonies(plated * rate), "<1");
	result("%.0f", colonies(plated * rate), NULL);
	result("%.0f", colonies(plated * rate), NULL);
	putchar('\n');
}

int main(int argc, char **argv)
{
	long n = argc > 1 ? strtol(argv[1], NULL, 10) : 3500, patient = 0;
	int left = 0, age = 0, year = 0;
	const char *sex = "F";
	double person = 0;

	state = argc > 2 ? strtoull(argv[2], NULL, 10) : 7;
	puts("patient,sex,birth_year,case,case_date,age_y,operator,side,"
	     "site_no,aliquot_no,volume_ml,syringe_ml,needle,"
	     "anticoagulant_ml,tnc_e6_per_ml,viability_pct,hct_pct,"
	     "cells_plated,dish_1,dish_2,dish_3");
	for (long c = 1; c <= n; c++) {
		char who[32], end[80];

		if (left-- == 0) {
			patient++;
			left = below(3);
			age = 25 + below(60);
			year = 2001 + below(20);
			sex = below(2) ? "F" : "M";
			person = exp(3 + 0.5 * normal());
		} else {
			year++;
			age++;
		}
		snprintf(who, sizeof who, "%s,%d", sex, year - age);
		snprintf(end, sizeof end, "%d-%02d-%02d,%d,T%d", year,
		         1 + below(12), 1 + below(28), age, below(8));
		int sites = 4 + below(5);

		for (int s = 1; s <= sites; s++) {
			double level = person * exp(0.25 * normal());

			pull(patient, who, c, 2 * s > sites + 1, s, 1, level,
			     end);
			pull(patient, who, c, 2 * s > sites + 1, s, 2, level,
			     end);
		}
	}
	return 0;
}
