/*
 * simulate.c - fresh cases by the hundred thousand, to check the truths that
 * hold at site and case grain. Least squares of the log of the true yield (no
 * laboratory in between) on what the question holds equal:
 *   y = X b,  b = (X'X)^-1 X'y,  se^2 = s^2 diag (X'X)^-1
 * X'X is summed up case by case, so memory does not grow.
 */
#include "clinic.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { P = 13 }; /* columns of X; the judged slope is column 1 */

struct sums {
	const char *question;
	double xx[P][P], xy[P], yy, n;
};

static void take(struct sums *s, const double *x, double y)
{
	for (int i = 0; i < P; i++) {
		for (int j = 0; j <= i; j++)
			s->xx[i][j] += x[i] * x[j];
		s->xy[i] += x[i] * y;
	}
	s->yy += y * y;
	s->n++;
}

/* Lower Cholesky factor in place; 0 when not positive definite. */
static int factor(double a[P][P])
{
	for (int i = 0; i < P; i++)
		for (int j = 0; j <= i; j++) {
			double sum = a[i][j];

			for (int k = 0; k < j; k++)
				sum -= a[i][k] * a[j][k];
			if (i == j && sum <= 0)
				return 0;
			a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
		}
	return 1;
}

static void solve(double l[P][P], double *b)
{
	for (int i = 0; i < P; i++) {
		for (int k = 0; k < i; k++)
			b[i] -= l[i][k] * b[k];
		b[i] /= l[i][i];
	}
	for (int i = P - 1; i >= 0; i--) {
		for (int k = i + 1; k < P; k++)
			b[i] -= l[k][i] * b[k];
		b[i] /= l[i][i];
	}
}

/* Slope of column 1 and its standard error; 0 when it cannot be had. */
static int slope(struct sums *s, double *b, double *se)
{
	double coef[P], unit[P] = { 0, 1 }, rest = s->yy;

	if (s->n <= P || !factor(s->xx))
		return 0;
	memcpy(coef, s->xy, sizeof coef);
	solve(s->xx, coef);
	for (int i = 0; i < P; i++)
		rest -= coef[i] * s->xy[i];
	solve(s->xx, unit);
	*b = coef[1];
	*se = sqrt(rest / (s->n - P) * unit[1]);
	return 1;
}

/* What both questions hold equal, from column 3 on. */
static void held_equal(const demo_case *c, double *x)
{
	x[0] = 1;
	x[3] = log(c->site[0].syringe_ml);
	x[4] = (c->age_y - 54) / 10.0;
	x[5] = c->patient->female;
	x[6] = c->operator_ == 1;
	x[7] = c->operator_ == 2;
	x[8] = c->operator_ == 3;
	x[9] = c->hand_count;
	x[10] = c->new_lab;
	x[11] = c->closed_tip;
	x[12] = demo_year(c->day) - 2021.5;
}

static double colonies(const demo_pull *p)
{
	return p->true_[M_TNC] * p->true_[M_PREVALENCE] * p->ml;
}

/* site-number: whole cases at the posterior crest, one size of syringe. */
static void by_case(const demo_case *c, struct sums *s)
{
	double x[P], ml = 0, n = 0;

	for (int i = 0; i < c->n_sites; i++) {
		const demo_site *t = &c->site[i];

		if (t->landmark != POSTERIOR_CREST ||
		    t->syringe_ml < c->site[0].syringe_ml ||
		    t->syringe_ml > c->site[0].syringe_ml)
			return;
		for (int k = 0; k < t->n_pulls; k++) {
			ml += t->pull[k].ml;
			n += colonies(&t->pull[k]);
		}
	}
	held_equal(c, x);
	x[1] = log2(c->n_sites);
	x[2] = log(ml);
	take(s, x, log(n));
}

/* site-volume: the first hole of the case, needle not moved. Column 2 has no
 * use here and holds the side. */
static void by_site(const demo_case *c, struct sums *s)
{
	const demo_site *t = &c->site[0];
	double x[P], ml = 0, n = 0;

	if (t->landmark != POSTERIOR_CREST)
		return;
	for (int k = 0; k < t->n_pulls; k++) {
		if (t->pull[k].move != MOVE_NONE)
			return;
		ml += t->pull[k].ml;
		n += colonies(&t->pull[k]);
	}
	held_equal(c, x);
	x[1] = log2(ml);
	x[2] = t->right;
	take(s, x, log(n));
}

static int report(FILE *f, struct sums *s)
{
	double b, se, stored = demo_truth(s->question), off;

	if (!slope(s, &b, &se)) {
		fprintf(f, "%s: too few cases\n", s->question);
		return 1;
	}
	off = (log(stored) - b) / se;
	fprintf(f, "%s: stored %.4f, simulated %.4f, %.4f to %.4f, from "
	        "%.0f: %s\n", s->question, stored, exp(b), exp(b - 4 * se),
	        exp(b + 4 * se), s->n, fabs(off) <= 4 ? "agrees" : "DIFFERS");
	return fabs(off) <= 4 ? 0 : 1;
}

int demo_check_truth(FILE *f, uint64_t seed, int cases)
{
	static struct sums number, volume;
	int first = demo_day(FIRST_YEAR, 1, 2);
	int days = demo_day(FIRST_YEAR + N_YEARS, 1, 1) - first;
	demo_rng r;

	memset(&number, 0, sizeof number);
	memset(&volume, 0, sizeof volume);
	number.question = "site-number";
	volume.question = "site-volume";
	demo_rng_seed(&r, seed);
	for (int i = 0; i < cases; i++) {
		int day = first + demo_below(&r, days);
		demo_patient p;
		demo_case c;

		demo_patient_make(&r, &p, i + 1, day);
		demo_visit(&r, &c, i + 100, day, &p);
		demo_marrow(&r, &c);
		by_case(&c, &number);
		by_site(&c, &volume);
	}
	return report(f, &number) | report(f, &volume);
}
