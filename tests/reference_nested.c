/*
 * reference_nested.c - outside checks of the linear mixed model. A table maps
 * (data file, beginning of the spec) to a model; the last one fitted is kept,
 * as the rows of one model stand together.
 */
#include "reference.h"
#include "stats/multiple.h"
#include "stats/nested.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TERMS = 6, COLUMNS = 12, DEPTH = 4, GROUPS = 6 };

/* A term: a number, a factor (indicators against `first`, or the lowest), or
 * the product of the two terms before it. */
struct term {
	enum { END, NUMBER, FACTOR, PRODUCT } kind;
	const char *column, *name, *first;
};

/* A level; `and` makes groups of two columns, called "AwB" in the checks. */
struct level {
	const char *name, *column, *and;
};

static const struct model {
	const char *dataset, *begins, *outcome;
	int log;
	struct term term[TERMS];
	struct level level[DEPTH];
	const char *slope; /* of the first level, correlated               */
} models[] = {
	{ "sleepstudy.csv", "Reaction on Days; random intercept by Subject",
	  "Reaction", 0, { { NUMBER, "Days", "Days", 0 } },
	  { { "Subject", "Subject", 0 } }, NULL },
	{ "sleepstudy.csv", "Reaction on Days; correlated random intercept and "
	  "Days slope by Subject", "Reaction", 0,
	  { { NUMBER, "Days", "Days", 0 } }, { { "Subject", "Subject", 0 } },
	  "Days" },
	{ "dyestuff.csv", "Yield on intercept", "Yield", 0, { { 0 } },
	  { { "Batch", "Batch", 0 } }, NULL },
	{ "dyestuff2.csv", "Yield on intercept", "Yield", 0, { { 0 } },
	  { { "Batch", "Batch", 0 } }, NULL },
	{ "pastes.csv", "strength on intercept", "strength", 0, { { 0 } },
	  { { "batch", "batch", 0 }, { "sample", "sample", 0 } }, NULL },
	{ "orthodont.csv", "distance on age, Sex (reference Male) and age:Sex",
	  "distance", 0,
	  { { NUMBER, "age", "age", 0 }, { FACTOR, "Sex", "Sex", "Male" },
	    { PRODUCT, "", "age:Sex", 0 } },
	  { { "Subject", "Subject", 0 } }, NULL },
	{ "orthodont.csv", "distance on age and Sex; random intercept",
	  "distance", 0,
	  { { NUMBER, "age", "age", 0 }, { FACTOR, "Sex", "Sex", "Male" } },
	  { { "Subject", "Subject", 0 } }, NULL },
	{ "orthodont.csv", "distance on age; correlated random intercept and "
	  "age slope by Subject", "distance", 0,
	  { { NUMBER, "age", "age", 0 } }, { { "Subject", "Subject", 0 } },
	  "age" },
	{ "oxide.csv", "Thickness on intercept", "Thickness", 0, { { 0 } },
	  { { "Lot", "Lot", 0 }, { "LotWafer", "Lot", "Wafer" } }, NULL },
	{ "oxide.csv", "Thickness on Source", "Thickness", 0,
	  { { FACTOR, "Source", "Source", 0 } },
	  { { "Lot", "Lot", 0 }, { "LotWafer", "Lot", "Wafer" } }, NULL },
#define TREE                                                                  \
	{ { "patient", "patient", 0 }, { "case_id", "case_id", 0 },           \
	  { "side_id", "side_id", 0 }, { "site_id", "site_id", 0 } }, NULL
#define FOUR_NUMBERS                                                          \
	{ { NUMBER, "site_order", "site_order", 0 },                          \
	  { NUMBER, "aliquot", "aliquot", 0 },                                \
	  { NUMBER, "syringe_ml", "syringe_ml", 0 },                          \
	  { NUMBER, "age", "age", 0 } }
	{ "sim_aspirate.csv", "log(conc) on site_order, aliquot, syringe_ml, "
	  "age (all numeric", "conc", 1, FOUR_NUMBERS, TREE },
	{ "sim_aspirate_boundary.csv", "log(conc) on site_order, aliquot, "
	  "syringe_ml, age (all numeric", "conc", 1, FOUR_NUMBERS, TREE },
	{ "sim_aspirate.csv", "log(conc) on site_order and aliquot as factors",
	  "conc", 1,
	  { { FACTOR, "site_order", "fsite_order", 0 },
	    { FACTOR, "aliquot", "faliquot", 0 } }, TREE },
	{ "sim_aspirate.csv", "log(conc) on site_order (factor), aliquot "
	  "(factor), syringe_ml, age", "conc", 1,
	  { { FACTOR, "site_order", "site_order", 0 },
	    { FACTOR, "aliquot", "aliquot", 0 },
	    { NUMBER, "syringe_ml", "syringe_ml", 0 },
	    { NUMBER, "age", "age", 0 } }, TREE },
};

/* The model last fitted and its columns. */
static struct {
	const struct model *model;
	int ml;
	pd_nested *fit;
	size_t n, p, depth;
	double *x;             /* n*p                                        */
	char name[COLUMNS][96];
	size_t term[COLUMNS];  /* term of a column; 0: the intercept         */
	size_t level[COLUMNS]; /* factor level of an indicator column        */
	double mean[COLUMNS];
	int32_t *code[DEPTH];
	size_t n_levels[TERMS + 1]; /* of each factor term, by term + 1      */
	char label[TERMS + 1][GROUPS][24];
} now;

/* Word of a cell as the checks write it. */
static void cell_word(const char *dataset, const char *column, size_t row,
                      char *word, size_t size)
{
	const pd_column *c = pd_frame_find(reference_data(dataset), column);

	if (c->kind == PD_FACTOR)
		snprintf(word, size, "%s", c->level[c->code[row]]);
	else
		snprintf(word, size, "%g", c->real[row]);
}

static double *add_column(size_t term, size_t level, const char *format,
                          const char *a, const char *b)
{
	size_t j = now.p++;

	snprintf(now.name[j], sizeof now.name[j], format, a, b);
	now.term[j] = term;
	now.level[j] = level;
	return now.x + j; /* stride COLUMNS until packed */
}

/* Factor levels as 0.., `first` moved to the front. */
static int32_t *factor_codes(const char *dataset, const struct term *t,
                             size_t place)
{
	size_t n, k;
	int32_t *code = reference_codes(dataset, t->column, &n, &k);
	int32_t front = 0;
	char word[24];

	now.n_levels[place] = k;
	for (size_t i = 0; i < n; i++) {
		cell_word(dataset, t->column, i, word, sizeof word);
		if (t->first && !strcmp(word, t->first))
			front = code[i];
	}
	for (size_t i = 0; i < n; i++) {
		if (code[i] == front)
			code[i] = 0;
		else if (code[i] < front)
			code[i]++;
		cell_word(dataset, t->column, i,
		          now.label[place][code[i]], sizeof now.label[0][0]);
	}
	return code;
}

static void add_factor(const char *dataset, const struct term *t,
                       size_t place)
{
	int32_t *code = factor_codes(dataset, t, place);

	for (size_t l = 1; l < now.n_levels[place]; l++) {
		double *x = add_column(place, l, "%s%s", t->name,
		                       now.label[place][l]);

		for (size_t i = 0; i < now.n; i++)
			x[i * COLUMNS] = code[i] == (int32_t)l;
	}
	free(code);
}

static void build_columns(const struct model *m)
{
	const double *v;
	double *x;

	now.p = 0;
	now.x = calloc(now.n * COLUMNS, sizeof *now.x);
	x = add_column(0, 0, "%s%s", "Intercept", "");
	for (size_t i = 0; i < now.n; i++)
		x[i * COLUMNS] = 1.0;
	for (size_t k = 0; k < TERMS && m->term[k].kind != END; k++) {
		const struct term *t = &m->term[k];
		size_t n;

		if (t->kind == FACTOR) {
			add_factor(m->dataset, t, k + 1);
		} else if (t->kind == NUMBER) {
			v = reference_real(m->dataset, t->column, &n);
			x = add_column(k + 1, 0, "%s%s", t->name, "");
			for (size_t i = 0; i < n; i++)
				x[i * COLUMNS] = v[i];
		} else { /* number times a two-level factor */
			size_t j = now.p;

			char a[40], b[40];

			memcpy(a, now.name[j - 2], sizeof a);
			memcpy(b, now.name[j - 1], sizeof b);
			x = add_column(k + 1, 0, "%s:%s", a, b);
			for (size_t i = 0; i < now.n; i++)
				x[i * COLUMNS] = x[i * COLUMNS - 1] *
				                 x[i * COLUMNS - 2];
		}
	}
	for (size_t j = 0; j < now.p; j++) { /* pack, and the means */
		now.mean[j] = 0.0;
		for (size_t i = 0; i < now.n; i++)
			now.mean[j] += now.x[i * COLUMNS + j] / (double)now.n;
	}
	for (size_t i = 0; i < now.n; i++)
		memmove(now.x + i * now.p, now.x + i * COLUMNS,
		        now.p * sizeof *now.x);
}

static int32_t *level_codes(const struct model *m, const struct level *l)
{
	size_t n, a, b;
	int32_t *code = reference_codes(m->dataset, l->column, &n, &a), *more;

	if (!code || !l->and)
		return code;
	more = reference_codes(m->dataset, l->and, &n, &b);
	for (size_t i = 0; i < n; i++)
		code[i] = code[i] * (int32_t)b + more[i];
	free(more);
	return code;
}

static void forget(void)
{
	pd_nested_free(now.fit);
	free(now.x);
	for (size_t k = 0; k < now.depth; k++)
		free(now.code[k]);
	memset(&now, 0, sizeof now);
}

static int fit(const struct model *m, int ml)
{
	const double *raw;
	double *y, *z = NULL;
	pd_error err;
	pd_nested_spec s = { .ml = ml };

	if (now.model == m && now.ml == ml)
		return now.fit != NULL;
	forget();
	now.model = m;
	now.ml = ml;
	raw = reference_real(m->dataset, m->outcome, &now.n);
	if (!raw)
		return 0;
	build_columns(m);
	y = calloc(now.n, sizeof *y);
	for (size_t i = 0; i < now.n; i++)
		y[i] = m->log ? log(raw[i]) : raw[i];
	s.n = now.n;
	s.p = now.p;
	s.x = now.x;
	s.y = y;
	for (; now.depth < DEPTH && m->level[now.depth].name; now.depth++)
		s.group[now.depth] = now.code[now.depth] =
			level_codes(m, &m->level[now.depth]);
	s.depth = now.depth;
	if (m->slope) {
		const double *v = reference_real(m->dataset, m->slope, &now.n);

		z = calloc(2 * now.n, sizeof *z);
		for (size_t i = 0; i < now.n; i++) {
			z[2 * i] = 1.0;
			z[2 * i + 1] = v[i];
		}
		s.z[0] = z;
		s.n_random[0] = 2;
	}
	if (pd_nested_new(&s, &now.fit, &err) != PD_OK ||
	    pd_nested_fit(now.fit, &err) != PD_OK) {
		fprintf(stderr, "reference: %s: %s\n", m->dataset, err.text);
		pd_nested_free(now.fit);
		now.fit = NULL;
	}
	free(y);
	free(z);
	return now.fit != NULL;
}

/* Text after `start` when q begins with it, else NULL. */
static const char *after(const char *q, const char *start)
{
	size_t n = strlen(start);

	return strncmp(q, start, n) ? NULL : q + n;
}

static size_t find_column(const char *name)
{
	size_t j = 0;

	while (j < now.p && strcmp(now.name[j], name))
		j++;
	return j;
}

static int contrast(const double *c, pd_df_method method, pd_estimate *e)
{
	pd_error err;

	if (pd_nested_contrast(now.fit, c, 0.95, method, e, &err) == PD_OK)
		return 1;
	fprintf(stderr, "reference: %s\n", err.text);
	return 0;
}

/* "what_NAME" of one coefficient under one method. */
static int coefficient(const char *q, double *got)
{
	static const struct {
		const char *start;
		pd_df_method method;
		size_t at; /* place of the number in pd_estimate */
	} what[] = {
#define AT(member) offsetof(pd_estimate, member)
		{ "coef_", PD_NORMAL, AT(value) },
		{ "se_", PD_NORMAL, AT(se) },
		{ "satt_df_", PD_SATTERTHWAITE, AT(df) },
		{ "satt_p_", PD_SATTERTHWAITE, AT(p) },
		{ "satt_lcl95_", PD_SATTERTHWAITE, AT(low) },
		{ "satt_ucl95_", PD_SATTERTHWAITE, AT(high) },
		{ "kr_se_", PD_KENWARD_ROGER, AT(se) },
		{ "kr_df_", PD_KENWARD_ROGER, AT(df) },
	};

	for (size_t k = 0; k < sizeof what / sizeof *what; k++) {
		const char *name = after(q, what[k].start);
		double c[COLUMNS] = { 0.0 };
		pd_estimate e;
		size_t j;

		if (!name || (j = find_column(name)) == now.p)
			continue;
		c[j] = 1.0;
		if (!contrast(c, what[k].method, &e))
			return 0;
		memcpy(got, (char *)&e + what[k].at, sizeof *got);
		if (!strncmp(q, "se_", 3)) /* the plain covariance as well */
			*got = sqrt(pd_nested_covariance(now.fit)
			            [j * now.p + j]);
		else if (!strncmp(q, "coef_", 5))
			*got = pd_nested_beta(now.fit)[j];
		return 1;
	}
	return 0;
}

static int variance(const char *q, double *got)
{
	double v[4];
	char name[64];
	const char *slope = now.model->slope;

	if (!strcmp(q, "var_residual")) {
		*got = pow(pd_nested_residual_sd(now.fit), 2.0);
		return 1;
	}
	for (size_t k = 0; k < now.depth; k++) {
		const char *level = now.model->level[k].name;

		pd_nested_level_covariance(now.fit, k, v);
		snprintf(name, sizeof name, "var_%s", level);
		*got = v[0];
		if (!strcmp(q, name))
			return 1;
		if (!slope)
			continue;
		snprintf(name, sizeof name, "var_%s_%s", level, slope);
		*got = v[3];
		if (!strcmp(q, name))
			return 1;
		snprintf(name, sizeof name, "cov_%s_(Intercept)_%s", level,
		         slope);
		*got = v[1];
		if (!strcmp(q, name))
			return 1;
	}
	return 0;
}

/* "blup_LEVEL_GROUP_COLUMN" */
static int conditional(const char *q, double *got)
{
	const struct model *m = now.model;
	char word[64], part[24], name[160];
	pd_error err;

	for (size_t k = 0; k < now.depth; k++) {
		const struct level *l = &m->level[k];
		size_t nq = m->slope && k == 0 ? 2 : 1;
		double *u = calloc(pd_nested_groups(now.fit, k) * nq,
		                   sizeof *u);
		int found = 0;

		if (pd_nested_conditional(now.fit, k, u, &err) != PD_OK)
			fprintf(stderr, "reference: %s\n", err.text);
		for (size_t i = 0; !found && i < now.n; i++) {
			cell_word(m->dataset, l->column, i, word, sizeof word);
			if (l->and) {
				cell_word(m->dataset, l->and, i, part,
				          sizeof part);
				strcat(strcat(word, "w"), part);
			}
			for (size_t a = 0; !found && a < nq; a++) {
				snprintf(name, sizeof name, "blup_%s_%s_%s",
				         l->name, word,
				         a ? m->slope : "Intercept");
				found = !strcmp(q, name);
				*got = u[(size_t)now.code[k][i] * nq + a];
			}
		}
		free(u);
		if (found)
			return 1;
	}
	return 0;
}

/* Terms named in the spec after "F test of", jointly. */
static int f_test(const struct check *c, double *got)
{
	const char *of = strstr(c->spec, "F test of ");
	const char *q = c->quantity;
	pd_df_method method = after(q, "kr_") ? PD_KENWARD_ROGER :
	                                        PD_SATTERTHWAITE;
	double rows[COLUMNS * COLUMNS] = { 0.0 };
	size_t n_rows = 0;
	pd_f_test f;
	pd_error err;

	if (!of)
		return 0;
	for (size_t j = 1; j < now.p; j++)
		if (strstr(of, now.model->term[now.term[j] - 1].column))
			rows[n_rows++ * now.p + j] = 1.0;
	if (pd_nested_f_test(now.fit, rows, n_rows, method, &f, &err) !=
	    PD_OK) {
		fprintf(stderr, "reference: %s\n", err.text);
		return 0;
	}
	*got = strstr(q, "_F") ? f.f : strstr(q, "_ndf") ? f.df1 :
	       strstr(q, "_ddf") ? f.df2 : strstr(q, "_scaling") ? f.scaling :
	       f.p;
	return 1;
}

/* Row of the mean at one level of a term: covariates at their mean, other
 * factors with equal weights. */
static void mean_row(size_t term, size_t level, double *c)
{
	for (size_t j = 0; j < now.p; j++) {
		size_t t = now.term[j];

		if (j == 0)
			c[j] = 1.0;
		else if (now.model->term[t - 1].kind == NUMBER)
			c[j] = now.mean[j];
		else if (t == term)
			c[j] = now.level[j] == level;
		else
			c[j] = 1.0 / (double)now.n_levels[t];
	}
}

/* The factor whose means a spec asks for. */
static size_t asked_term(const char *spec)
{
	const char *of = strstr(spec, "marginal means of ");

	for (size_t t = 1; of && t <= TERMS; t++)
		if (now.n_levels[t] &&
		    after(of + 18, now.model->term[t - 1].column))
			return t;
	return 0;
}

static double member(const pd_estimate *e, const char *what)
{
	return after(what, "mean") || after(what, "diff_") ? e->value :
	       after(what, "se") || after(what, "diffse") ? e->se :
	       after(what, "df") || after(what, "diffdf") ? e->df :
	       after(what, "lcl") ? e->low : after(what, "ucl") ? e->high :
	       e->p;
}

static int pair_means(const char *q, size_t term, double *got)
{
	size_t k = now.n_levels[term], n = 0, asked = 0;
	double p[GROUPS * GROUPS], adjusted[GROUPS * GROUPS];
	pd_estimate e[GROUPS * GROUPS];
	const char *name = strchr(q, '_') + 1, *column =
		now.model->term[term - 1].column;
	int found = 0;
	pd_error err;

	for (size_t a = 0; a < k; a++)
		for (size_t b = a + 1; b < k; b++, n++) {
			double c[COLUMNS], d[COLUMNS];
			char words[120];

			mean_row(term, a, c);
			mean_row(term, b, d);
			for (size_t j = 0; j < now.p; j++)
				c[j] -= d[j];
			if (!contrast(c, PD_KENWARD_ROGER, &e[n]))
				return 0;
			p[n] = e[n].p;
			snprintf(words, sizeof words, "%s%s-%s%s", column,
			         now.label[term][a], column,
			         now.label[term][b]);
			if (!strcmp(words, name))
				asked = n, found = 1;
			snprintf(words, sizeof words, "%s-%s",
			         now.label[term][a], now.label[term][b]);
			if (!strcmp(words, name))
				asked = n, found = 1;
		}
	if (!found || pd_adjust_p(p, n, PD_HOLM, adjusted, &err) != PD_OK)
		return 0;
	*got = after(q, "pholm_") ? adjusted[asked] : member(&e[asked], q);
	return 1;
}

static int adjusted_means(const struct check *c, double *got)
{
	size_t term = asked_term(c->spec);
	const char *label = strchr(c->quantity, '_');

	if (!term || !label)
		return 0;
	if (strstr(c->spec, "pairwise differences"))
		return pair_means(c->quantity, term, got);
	for (size_t l = 0; l < now.n_levels[term]; l++) {
		double row[COLUMNS];
		pd_estimate e;

		if (strcmp(now.label[term][l], label + 1))
			continue;
		mean_row(term, l, row);
		if (!contrast(row, PD_KENWARD_ROGER, &e))
			return 0;
		*got = member(&e, c->quantity);
		return 1;
	}
	return 0;
}

static int likelihood(const char *q, double *got)
{
	const pd_nested_fit_record *r = pd_nested_record(now.fit);

	*got = after(q, "minus2loglik_") ? r->deviance : r->log_likelihood;
	return strstr(q, "loglik_") != NULL;
}

int reference_nested(const struct check *c, double *got)
{
	static const char *const mine[] = {
		"linear mixed model", "linear mixed model Satterthwaite",
		"linear mixed model Kenward-Roger", "linear mixed model BLUP",
		"linear mixed model F test", "adjusted means",
	};
	size_t k = 0, n = sizeof models / sizeof *models;
	const struct model *m = NULL;

	while (k < sizeof mine / sizeof *mine && strcmp(mine[k], c->method))
		k++;
	if (k == sizeof mine / sizeof *mine)
		return 0;
	for (size_t i = 0; i < n && !m; i++)
		if (!strcmp(models[i].dataset, c->dataset) &&
		    after(c->spec, models[i].begins))
			m = &models[i];
	if (!m || !fit(m, strstr(c->spec, "fitted by ML") != NULL))
		return 0;
	switch (k) {
	case 3:
		return conditional(c->quantity, got);
	case 4:
		return f_test(c, got);
	case 5:
		return adjusted_means(c, got);
	default:
		return coefficient(c->quantity, got) ||
		       variance(c->quantity, got) ||
		       likelihood(c->quantity, got);
	}
}
