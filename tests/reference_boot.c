/*
 * reference_boot.c - outside checks of the bootstrap: three complete laws and
 * one drawn. A law is made once and kept for the rows that follow.
 */
#include "reference_pool.h"
#include "stats/agree.h"
#include "stats/bootstrap.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST = 16, DRAWS = 200000 };

struct columns {
	double x[MOST], y[MOST];
	size_t n;
};

static double mean_of(const double *weight, size_t n, const void *data)
{
	const struct columns *c = data;
	double sum = 0, count = 0;

	for (size_t i = 0; i < n; i++) {
		sum += weight[i] * c->x[i];
		count += weight[i];
	}
	return sum / count;
}

static double ratio_of(const double *weight, size_t n, const void *data)
{
	const struct columns *c = data;
	double x = 0, y = 0;

	for (size_t i = 0; i < n; i++) {
		x += weight[i] * c->x[i];
		y += weight[i] * c->y[i];
	}
	return y / x;
}

static double correlation_of(const double *weight, size_t n, const void *data)
{
	const struct columns *c = data;
	double w = 0, mx = 0, my = 0, xx = 0, yy = 0, xy = 0;

	for (size_t i = 0; i < n; i++) {
		w += weight[i];
		mx += weight[i] * c->x[i];
		my += weight[i] * c->y[i];
	}
	mx /= w;
	my /= w;
	for (size_t i = 0; i < n; i++) {
		double dx = c->x[i] - mx, dy = c->y[i] - my;

		xx += weight[i] * dx * dx;
		yy += weight[i] * dy * dy;
		xy += weight[i] * dx * dy;
	}
	return xy / sqrt(xx * yy);
}

static const struct source {
	const char *begins, *dataset, *x, *y;
	pd_boot_statistic *statistic;
} known[] = {
	{ "bca_sleep_", "student_sleep.csv", "drug1", "drug2", mean_of },
	{ "bca_logratio_", "sim_paired.csv", "first", "second", mean_of },
	{ "bca_ratiomeans_", "sim_paired.csv", "first", "second", ratio_of },
	{ "boot_law_", "law_school.csv", "lsat", "gpa", correlation_of },
};
enum { SLEEP, LOG_RATIO, RATIO, LAW };

static int read_columns(size_t which, struct columns *c)
{
	const struct source *s = &known[which];
	const double *x = reference_real(s->dataset, s->x, &c->n);
	const double *y = reference_real(s->dataset, s->y, &c->n);

	if (!x || !y || c->n > MOST)
		return 0;
	for (size_t i = 0; i < c->n; i++) {
		c->x[i] = which == SLEEP ? y[i] - x[i]
		          : which == LOG_RATIO ? log(y[i] / x[i]) : x[i];
		c->y[i] = y[i];
	}
	return 1;
}

/* The law of a source at a level, half of the ties counted or none. */
static const pd_boot *law_of(size_t which, double level, int half)
{
	static struct kept {
		int made;
		pd_boot boot;
	} kept[sizeof known / sizeof *known][2][2];
	struct kept *k = &kept[which][level > 0.92][half];
	struct columns c;
	pd_boot_plan plan = { .statistic = known[which].statistic, .data = &c,
	                      .level = level, .draws = DRAWS, .seed = 19870823,
	                      .threads = 2, .below_only = !half };

	if (k->made)
		return &k->boot;
	if (!read_columns(which, &c))
		return NULL;
	plan.n_rows = c.n;
	if (pd_bootstrap(&plan, &k->boot, NULL) != PD_OK)
		return NULL;
	k->made = 1;
	return &k->boot;
}

static int fisher(const struct check *c, double *got)
{
	struct columns l;
	pd_estimate e;

	if (!read_columns(LAW, &l) ||
	    pd_agree_correlation(l.x, l.y, l.n, 0.95, &e, NULL) != PD_OK)
		return 0;
	*got = strstr(c->quantity, "lcl") ? e.low : e.high;
	return 1;
}

/* percentile_P: one end of the interval at level |1 - 2 P|. */
static int percentile(size_t which, double p, double *got)
{
	const pd_boot *b = law_of(which, fabs(1 - 2 * p), 0);

	if (!b)
		return 0;
	*got = p < 0.5 ? b->percentile_low : b->percentile_high;
	return 1;
}

static int quantity(const struct check *c, size_t which, double *got)
{
	int half = strstr(c->quantity, "_half") != NULL;
	const pd_boot *b = law_of(which, strstr(c->quantity, "90") ? 0.9 : 0.95,
	                          half);
	char name[64];

	if (!b)
		return 0;
	snprintf(name, sizeof name, "%s", c->quantity);
	if (half)
		*strstr(name, "_half") = '\0';
	struct check plain = *c;

	plain.quantity = name;
	return reference_pick(&plain, (struct named_value[]){
		{ "estimate", b->estimate }, { "boot_mean", b->mean },
		{ "boot_se", b->se }, { "jackknife_se", b->jack_se },
		{ "jackknife_bias", b->jack_bias },
		{ "acceleration", b->acceleration },
		{ "p_below", b->p_below }, { "p_equal", b->p_equal },
		{ "z0", b->z0 }, { "bca_level_lcl90", b->level_low },
		{ "bca_level_lcl95", b->level_low },
		{ "bca_level_ucl90", b->level_high },
		{ "bca_level_ucl95", b->level_high },
		{ "bca_lcl90", b->low }, { "bca_lcl95", b->low },
		{ "bca_ucl90", b->high }, { "bca_ucl95", b->high }, { NULL, 0 }
	}, got);
}

int reference_boot(const struct check *c, double *got)
{
	double p;

	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		if (strncmp(c->id, known[i].begins, strlen(known[i].begins)))
			continue;
		if (!strncmp(c->quantity, "fisher_z", 8))
			return fisher(c, got);
		if (sscanf(c->quantity, "percentile_%lf", &p) == 1)
			return percentile(i, p, got);
		return quantity(c, i, got);
	}
	return 0;
}
