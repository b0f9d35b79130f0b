/*
 * reference_profile.c - outside checks of profile likelihood limits of the
 * mixed model: three data files, each fitted once.
 */
#include "reference.h"
#include "stats/nested_profile.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEPTH = 2 };

static const struct model {
	const char *dataset, *begins, *outcome, *slope;
	const char *level[DEPTH]; /* outermost first                        */
} models[] = {
	{ "sleepstudy.csv", "Reaction on Days; random intercept by Subject",
	  "Reaction", "Days", { "Subject", NULL } },
	{ "dyestuff.csv", "Yield on intercept", "Yield", NULL,
	  { "Batch", NULL } },
	{ "pastes.csv", "strength on intercept", "strength", NULL,
	  { "batch", "sample" } },
};
enum { MODELS = sizeof models / sizeof *models };

static pd_nested *fit(const struct model *m)
{
	size_t n, groups;
	const double *y = reference_real(m->dataset, m->outcome, &n);
	const double *slope = m->slope ?
		reference_real(m->dataset, m->slope, &n) : NULL;
	int32_t *code[DEPTH] = { NULL };
	pd_nested_spec s = { .p = slope ? 2 : 1, .y = y };
	pd_nested *out = NULL;
	pd_error err;
	double *x;

	if (!y)
		return NULL;
	s.n = n;
	x = calloc(n * s.p, sizeof *x);
	for (size_t i = 0; i < n; i++) {
		x[i * s.p] = 1;
		if (slope)
			x[i * s.p + 1] = slope[i];
	}
	s.x = x;
	for (; s.depth < DEPTH && m->level[s.depth]; s.depth++)
		s.group[s.depth] = code[s.depth] = reference_codes(
			m->dataset, m->level[s.depth], &n, &groups);
	if (pd_nested_new(&s, &out, &err) != PD_OK ||
	    pd_nested_fit(out, &err) != PD_OK) {
		fprintf(stderr, "reference: %s: %s\n", m->dataset, err.text);
		pd_nested_free(out);
		out = NULL;
	}
	free(x);
	for (size_t k = 0; k < DEPTH; k++)
		free(code[k]);
	return out;
}

/* What "sd_NAME" or a column's name means: 1 when it was worked out. */
static int limits(const struct model *m, pd_nested *fitted, const char *name,
                  pd_profile *out)
{
	double c[2] = { 0 };
	size_t depth = m->level[1] ? 2 : 1, at = 0;
	pd_error err;
	pd_status st;

	if (strncmp(name, "sd_", 3)) {
		c[m->slope && !strcmp(name, m->slope)] = 1;
		st = pd_nested_profile_contrast(fitted, c, 0.95, out, &err);
	} else {
		while (at < depth && strcmp(m->level[at], name + 3))
			at++;
		if (at == depth && strcmp(name, "sd_residual"))
			return 0;
		st = pd_nested_profile_sd(fitted, at, 0, false, 0.95, out,
		                          &err);
	}
	if (st != PD_OK)
		fprintf(stderr, "reference: %s: %s\n", m->dataset, err.text);
	return st == PD_OK;
}

int reference_profile(const struct check *c, double *got)
{
	static pd_nested *fitted[MODELS];
	const struct model *m = models;
	pd_profile p;

	if (strcmp(c->method, "linear mixed model profile interval"))
		return 0;
	while (m < models + MODELS && (strcmp(m->dataset, c->dataset) ||
	       strncmp(m->begins, c->spec, strlen(m->begins))))
		m++;
	if (m == models + MODELS || strlen(c->quantity) < 7)
		return 0;
	if (!fitted[m - models])
		fitted[m - models] = fit(m);
	if (!fitted[m - models] ||
	    !limits(m, fitted[m - models], c->quantity + 6, &p))
		return 0;
	*got = c->quantity[0] == 'l' ? p.e.low : p.e.high;
	return 1;
}
