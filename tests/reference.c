/*
 * reference.c - runs the outside checks: reads checks.csv, offers each row to
 * the handlers, compares, and prints a table by method. The pass rule is that
 * of the folder's README: |got - value| <= tolerance * |value|; where value is
 * 0 the tolerance is absolute; where the spec names a further absolute
 * tolerance, either may be met.
 */
#include "reference.h"
#include "base/arena.h"
#include "base/status.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SKIPPED = 77 };

static pd_arena *memory;

static void *need(void *p)
{
	if (!p) {
		fprintf(stderr, "reference: out of memory\n");
		exit(99);
	}
	return p;
}

/* ---- reading comma-separated text ------------------------------------- */

/* Cut one record off *at; returns its fields, NULL at the end of the text. */
static char **record(char **at, size_t *n)
{
	char *r = *at, *w;
	size_t room = 16;
	char **field = need(PD_NEW(memory, char *, room));

	*n = 0;
	while (*r == '\n' || *r == '\r')
		r++;
	if (!*r)
		return NULL;
	for (;;) {
		if (*n == room) {
			char **more = need(PD_NEW(memory, char *, 2 * room));

			memcpy(more, field, room * sizeof *field);
			field = more;
			room *= 2;
		}
		field[(*n)++] = w = r;
		if (*r == '"') {
			for (r++; *r && (*r != '"' || r[1] == '"'); r++) {
				if (*r == '"')
					r++;
				*w++ = *r;
			}
			if (*r)
				r++;
		} else {
			while (*r && *r != ',' && *r != '\n' && *r != '\r')
				*w++ = *r++;
		}
		char end = *r;

		if (end)
			r++;
		*w = '\0';
		if (end != ',')
			break;
	}
	*at = r;
	return field;
}

static const char *folder(void)
{
	const char *given = getenv("PERDRAW_REFERENCE");
	const char *source = getenv("srcdir");

	if (given && given[0])
		return given;
	if (source && source[0])
		return need(pd_arena_print(memory, "%s/../shared/reference",
		                           source));
	return "../shared/reference";
}

/* A file of the folder as text in the arena; NULL when it cannot be read. */
static char *slurp(const char *name)
{
	FILE *f = fopen(need(pd_arena_print(memory, "%s/%s", folder(), name)),
	                "rb");
	char *text = NULL;
	long size;

	if (!f)
		return NULL;
	if (!fseek(f, 0, SEEK_END) && (size = ftell(f)) >= 0 &&
	    !fseek(f, 0, SEEK_SET)) {
		text = need(PD_NEW(memory, char, (size_t)size + 1));
		if (fread(text, 1, (size_t)size, f) != (size_t)size)
			text = NULL;
	}
	fclose(f);
	return text;
}

static int number(const char *text, double *out)
{
	char *end;

	*out = strtod(text, &end);
	return end != text && !*end;
}

static int missing(const char *cell)
{
	return !cell[0] || !strcmp(cell, "NA");
}

/* ---- data files ------------------------------------------------------- */

struct file {
	const char *name;
	pd_frame *frame;
	struct file *next;
};
static struct file *files;

static void fill_column(pd_frame *f, const char *name, char ***cell,
                        size_t n_rows, size_t j)
{
	int numeric = 1;
	pd_column *c;
	double x;

	for (size_t i = 0; i < n_rows; i++)
		if (!missing(cell[i][j]) && !number(cell[i][j], &x))
			numeric = 0;
	c = need(numeric ? pd_frame_add_real(f, name)
	                 : pd_frame_add_factor(f, name));
	for (size_t i = 0; i < n_rows; i++) {
		if (missing(cell[i][j]))
			continue;
		if (numeric)
			number(cell[i][j], &c->real[i]);
		else
			c->code[i] = pd_frame_level(f, c, cell[i][j]);
	}
	if (!numeric && pd_column_sort_levels(c, n_rows) != PD_OK)
		need(NULL);
}

static pd_frame *read_frame(const char *name)
{
	char *text = slurp(name), *at = text, **head, **row;
	size_t n_columns, n, n_rows = 0, room = 0;
	char ***cell = NULL;
	pd_frame *f;

	if (!text || !(head = record(&at, &n_columns))) {
		fprintf(stderr, "reference: cannot read '%s'\n", name);
		return NULL;
	}
	while ((row = record(&at, &n))) {
		if (n != n_columns) {
			fprintf(stderr, "reference: %s: record %zu has %zu "
			        "fields, expected %zu\n", name, n_rows + 1, n,
			        n_columns);
			free(cell);
			return NULL;
		}
		if (n_rows == room) {
			room = room ? 2 * room : 64;
			cell = need(realloc(cell, room * sizeof *cell));
		}
		cell[n_rows++] = row;
	}
	f = need(pd_frame_new(n_rows));
	for (size_t j = 0; j < n_columns; j++)
		fill_column(f, head[j], cell, n_rows, j);
	free(cell);
	return f;
}

const pd_frame *reference_data(const char *dataset)
{
	struct file *f;

	for (f = files; f; f = f->next)
		if (!strcmp(f->name, dataset))
			return f->frame;
	f = need(PD_NEW(memory, struct file, 1));
	f->name = need(pd_arena_copy(memory, dataset));
	f->frame = read_frame(dataset);
	f->next = files;
	files = f;
	return f->frame;
}

const double *reference_real(const char *dataset, const char *column,
                             size_t *n)
{
	const pd_frame *f = reference_data(dataset);
	const pd_column *c = f ? pd_frame_find(f, column) : NULL;

	if (!c || c->kind != PD_REAL)
		return NULL;
	*n = pd_frame_rows(f);
	return c->real;
}

static int by_value(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* Codes of a numeric column: its distinct values in ascending order. */
static size_t code_numbers(const double *x, size_t n, int32_t *code)
{
	double *value = need(malloc(n * sizeof *value));
	size_t n_values = 0;

	memcpy(value, x, n * sizeof *value);
	qsort(value, n, sizeof *value, by_value);
	for (size_t i = 0; i < n; i++)
		if (!n_values || value[i] > value[n_values - 1])
			value[n_values++] = value[i];
	for (size_t i = 0; i < n; i++) {
		const double *hit = bsearch(&x[i], value, n_values,
		                            sizeof *value, by_value);
		code[i] = (int32_t)(hit - value);
	}
	free(value);
	return n_values;
}

int32_t *reference_codes(const char *dataset, const char *column, size_t *n,
                         size_t *n_groups)
{
	const pd_frame *f = reference_data(dataset);
	const pd_column *c = f ? pd_frame_find(f, column) : NULL;
	int32_t *code;

	if (!c || !(*n = pd_frame_rows(f)))
		return NULL;
	for (size_t i = 0; i < *n; i++)
		if (c->kind == PD_REAL ? isnan(c->real[i]) : c->code[i] < 0)
			return NULL;
	code = need(malloc(*n * sizeof *code));
	if (c->kind == PD_REAL) {
		*n_groups = code_numbers(c->real, *n, code);
	} else {
		memcpy(code, c->code, *n * sizeof *code);
		*n_groups = c->n_levels;
	}
	return code;
}

/* ---- checks ----------------------------------------------------------- */

struct checks {
	struct check *row;
	size_t n;
};

static int read_checks(struct checks *all)
{
	static const char *const head[] = {
		"check_id", "method", "dataset_file", "spec", "quantity",
		"value", "tolerance_rel", "source", "kind",
	};
	enum { WIDTH = sizeof head / sizeof *head };
	char *at = slurp("checks.csv"), **f;
	size_t n, room = 0;

	f = at ? record(&at, &n) : NULL;
	if (!f || n != WIDTH)
		return 0;
	for (size_t j = 0; j < WIDTH; j++)
		if (strcmp(f[j], head[j]))
			return 0;
	while ((f = record(&at, &n))) {
		struct check c = { f[0], f[1], f[2], f[3], f[4], 0, 0,
		                   n == WIDTH ? f[7] : "", "" };

		if (n != WIDTH || !number(f[5], &c.value) ||
		    !number(f[6], &c.tolerance)) {
			fprintf(stderr, "reference: checks.csv: record %zu "
			        "is damaged\n", all->n + 2);
			exit(99);
		}
		c.kind = f[8];
		if (all->n == room) {
			room = room ? 2 * room : 1024;
			all->row = need(realloc(all->row,
			                        room * sizeof *all->row));
		}
		all->row[all->n++] = c;
	}
	return 1;
}

/* Value of the residual variance of the fit that check c speaks of. */
static double residual_variance(const struct checks *all,
                                const struct check *c)
{
	size_t stem = strlen(c->id) - strlen(c->quantity);

	for (size_t i = 0; i < all->n; i++) {
		const struct check *o = &all->row[i];

		if (!strncmp(o->id, c->id, stem) &&
		    !strcmp(o->id + stem, "var_residual"))
			return o->value;
	}
	return 0;
}

/* The further absolute tolerance a spec names, 0 where it names none. */
static double further_tolerance(const struct checks *all,
                                const struct check *c)
{
	static const char one[] = "compare with absolute tolerance ";
	static const char two[] = "padj additionally allowed an absolute "
	                          "difference of ";
	const char *at;

	if ((at = strstr(c->spec, one))) {
		double t = strtod(at + sizeof one - 1, NULL);

		if (strstr(at, "times residual variance"))
			t *= residual_variance(all, c);
		return t;
	}
	if ((at = strstr(c->spec, two)) && !strncmp(c->quantity, "padj", 4))
		return strtod(at + sizeof two - 1, NULL);
	return 0;
}

#define UPPER_TAIL                                                            \
	"stored as 1 less the lower tail, which leaves 2 to 5 digits; the "   \
	"upper tail itself is held instead"

/*
 * Rows whose stored value is itself wrong, with the right one and the reason.
 * Each is printed whenever it is used; one that no longer matches the stored
 * value is not used.
 */
static const struct {
	const char *id;
	double stored, value;
	const char *why;
} corrected[] = {
	{ "binci_x0_n12_wilson_lcl95", 0x1p-55, 0,
	  "the limit for 0 of n is (z^2/2 - z sqrt(z^2/4)) / (n + z^2) = 0 "
	  "exactly; the stored 2^-55 is what rounding left" },
	/* R 4.2.2, pchisq(statistic, lag, lower.tail = FALSE) */
	{ "box_nile_Lju5_p", 1.831090834514271e-12, 1.831145354350277e-12,
	  UPPER_TAIL },
	{ "box_nile_Lju10_p", 1.254552017826427e-14, 1.258632767020497e-14,
	  UPPER_TAIL },
	{ "box_nile_Box5_p", 6.486255976767552e-12, 6.486283892652317e-12,
	  UPPER_TAIL },
	{ "box_nile_Box10_p", 1.165734175856414e-13, 1.165537939602479e-13,
	  UPPER_TAIL },
};

static struct check correct(const struct check *c)
{
	struct check right = *c;

	for (size_t i = 0; i < sizeof corrected / sizeof *corrected; i++)
		if (!strcmp(corrected[i].id, c->id) &&
		    fabs(corrected[i].stored - c->value) <
		        1e-12 * fabs(c->value)) {
			right.value = corrected[i].value;
			printf("CORRECTED %s: wanted %g instead of %.17g: "
			       "%s\n", c->id, right.value, c->value,
			       corrected[i].why);
		}
	return right;
}

/* |error| over what is allowed; at most 1 passes. */
static double ratio(const struct checks *all, const struct check *c, double got)
{
	double error = fabs(got - c->value);
	double allowed = c->value == 0 ? c->tolerance
	                               : c->tolerance * fabs(c->value);
	double further = further_tolerance(all, c);

	if (further > allowed)
		allowed = further;
	if (isnan(error))
		return INFINITY;
	if (error == 0)
		return 0;
	return error / allowed; /* infinite where nothing is allowed */
}

struct tally {
	const char *method;
	size_t passed, failed, not_run;
	double worst;
};

static struct tally *tally_of(struct tally *t, size_t *n, const char *method)
{
	for (size_t i = 0; i < *n; i++)
		if (!strcmp(t[i].method, method))
			return &t[i];
	t[*n] = (struct tally){ method, 0, 0, 0, 0 };
	return &t[(*n)++];
}

int reference_pick(const struct check *c, const struct named_value *list,
                   double *got)
{
	for (; list->name; list++)
		if (!strcmp(list->name, c->quantity)) {
			*got = list->value;
			return 1;
		}
	return 0;
}

static void run_one(const struct checks *all, const struct check *c,
                    struct tally *t)
{
	static reference_handler *const handler[] = {
		reference_small,  reference_nested, reference_blood,
		reference_linear, reference_count,  reference_power,
		reference_pool,   reference_profile,
	};
	double got = NAN, r;

	for (size_t i = 0; i < sizeof handler / sizeof *handler; i++) {
		if (!handler[i](c, &got))
			continue;
		struct check right = correct(c);

		r = ratio(all, &right, got);
		t->worst = fmax(t->worst, r);
		if (r <= 1) {
			t->passed++;
			return;
		}
		t->failed++;
		printf("FAILED %s: %s wanted %.17g, got %.17g, error over "
		       "tolerance %.3g\n  %s\n  %s\n", c->id, c->quantity,
		       right.value, got, r, c->spec, c->source);
		return;
	}
	t->not_run++;
}

static void print_tallies(const struct tally *t, size_t n)
{
	printf("%-34s %7s %7s %8s  %s\n", "method", "passed", "failed",
	       "not run", "worst error over tolerance");
	for (size_t i = 0; i < n; i++) {
		printf("%-34s %7zu %7zu %8zu  ", t[i].method, t[i].passed,
		       t[i].failed, t[i].not_run);
		if (t[i].passed + t[i].failed)
			printf("%.3g\n", t[i].worst);
		else
			printf("-\n");
	}
}

static int run(const struct checks *all)
{
	struct tally *t = need(PD_NEW(memory, struct tally, all->n + 1));
	struct tally sum = { "all", 0, 0, 0, 0 };
	size_t n = 0;

	for (size_t i = 0; i < all->n; i++)
		run_one(all, &all->row[i],
		        tally_of(t, &n, all->row[i].method));
	print_tallies(t, n);
	for (size_t i = 0; i < n; i++) {
		sum.passed += t[i].passed;
		sum.failed += t[i].failed;
		sum.not_run += t[i].not_run;
	}
	printf("%zu passed, %zu failed, %zu not run\n", sum.passed, sum.failed,
	       sum.not_run);
	return sum.failed ? 1 : 0;
}

int main(void)
{
	struct checks all = { NULL, 0 };
	int status = SKIPPED;

	pd_base_init();
	memory = need(pd_arena_new());
	if (read_checks(&all)) {
		status = run(&all);
	} else {
		printf("reference checks NOT RUN: no folder '%s' with a "
		       "checks.csv of the known columns (set "
		       "PERDRAW_REFERENCE)\n", folder());
		printf("0 passed, 0 failed, 0 not run\n");
	}
	for (struct file *f = files; f; f = f->next)
		pd_frame_free(f->frame);
	free(all.row);
	pd_arena_free(memory);
	if (fflush(stdout))
		status = 99;
	return status;
}
