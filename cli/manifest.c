/* manifest.c - made from the run that ends. */
#include "manifest.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- a line ------------------------------------------------------------ */

static void put_field(pd_buf *b, const char *text)
{
	for (const char *c = text; *c; c++) {
		unsigned char x = (unsigned char)*c;

		if (x == '\t')
			pd_buf_add(b, "\\t");
		else if (x == '\n')
			pd_buf_add(b, "\\n");
		else if (x == '\\')
			pd_buf_add(b, "\\\\");
		else if (x < 0x20 || x == 0x7f)
			pd_buf_print(b, "\\x%02x", x);
		else
			pd_buf_char(b, *c);
	}
}

static void put(pd_buf *b, size_t n, const char *const *field)
{
	for (size_t i = 0; i < n; i++) {
		if (i)
			pd_buf_char(b, '\t');
		put_field(b, field[i] ? field[i] : "");
	}
	pd_buf_char(b, '\n');
}

#define PUT(b, ...)                                                            \
	put(b, sizeof((const char *[]){ __VA_ARGS__ }) / sizeof(char *),       \
	    (const char *const[]){ __VA_ARGS__ })

static const char *count(char to[24], size_t n)
{
	snprintf(to, 24, "%zu", n);
	return to;
}

/* ---- options ------------------------------------------------------------- */

static bool is_file(const struct opt *o)
{
	return o->kind == OPT_TEXT && strncmp(o->value, "FILE", 4) == 0;
}

static bool is_folder(const struct opt *o)
{
	return o->kind == OPT_TEXT && strcmp(o->value, "FOLDER") == 0;
}

/* Options that change no byte of an output, or have a line of their own. */
static bool is_apart(const struct opt *o)
{
	static const char *const apart[] = { "quiet", "no-ledger", "force",
		                             "manifest", "db", "date", "key",
		                             "recipient" };

	for (size_t i = 0; i < sizeof apart / sizeof *apart; i++)
		if (strcmp(o->name, apart[i]) == 0)
			return true;
	return false;
}

/* The option's value as given, in words; NULL when it was not given. */
static const char *value_of(const struct opt *o, const void *options,
                            char to[64])
{
	const char *at = (const char *)options + o->offset;
	double real;
	int choice;

	switch (o->kind) {
	case OPT_FLAG:
		return *(const bool *)at ? "" : NULL;
	case OPT_TEXT:
		return *(const char *const *)at;
	case OPT_REAL:
		real = *(const double *)at;
		snprintf(to, 64, "%.17g", real);
		return isnan(real) ? NULL : to;
	case OPT_WHOLE:
		snprintf(to, 64, "%u", *(const unsigned *)at);
		return *(const unsigned *)at ? to : NULL;
	case OPT_CHOICE:
		choice = *(const int *)at;
		const char *word = o->value;

		for (int k = 1; k < choice; k++)
			word += strcspn(word, "|") + 1;
		snprintf(to, 64, "%.*s", (int)strcspn(word, "|"), word);
		return choice ? to : NULL;
	}
	return NULL;
}

static const char *given(const struct opt *o, const void *options, char to[64])
{
	return is_apart(o) ? NULL : value_of(o, options, to);
}

static pd_status put_input(pd_buf *b, const char *what, const char *path,
                           pd_error *err)
{
	char *bytes, sha256[65], n[24];
	size_t size;
	pd_status st = pd_source_read(path, &bytes, &size, err);

	if (st != PD_OK)
		return st;
	pd_sha256_hex(bytes, size, sha256);
	PUT(b, "input", what, name_of_path(path), count(n, size), sha256);
	free(bytes);
	return PD_OK;
}

static bool inside(const struct running *r, const struct show *s,
                   size_t offset)
{
	const char *at = (const char *)r->options + offset;

	return at >= (const char *)s && at < (const char *)(s + 1);
}

/* Options, operands and input files, in the order of the option table. */
static pd_status put_given(pd_buf *b, const struct running *r,
                           const struct show *s, pd_error *err)
{
	bool file_operands = strncmp(r->command->operands, "FILE", 4) == 0;
	char to[64], n[24], what[40], folder[300];
	pd_status st = PD_OK;

	for (const struct opt *o = r->command->opts; o->name; o++) {
		const char *v = given(o, r->options, to);

		if (!v || (is_file(o) && !inside(r, s, o->offset)))
			continue;
		if (is_folder(o))
			v = name_of_folder(v, folder, sizeof folder) && *folder
			        ? folder : ".";
		PUT(b, "option", o->name, is_file(o) ? name_of_path(v) : v);
	}
	for (size_t i = 0; !file_operands && i < r->operands->n; i++)
		PUT(b, "operand", count(n, i + 1), r->operands->at[i]);
	for (const struct opt *o = r->command->opts; st == PD_OK && o->name;
	     o++) {
		const char *v = given(o, r->options, to);

		if (v && is_file(o) && !inside(r, s, o->offset))
			st = put_input(b, o->name, v, err);
	}
	for (size_t i = 0; st == PD_OK && file_operands && i < r->operands->n;
	     i++) {
		snprintf(what, sizeof what, "operand %zu", i + 1);
		st = put_input(b, what, r->operands->at[i], err);
	}
	return st;
}

/* ---- the database ------------------------------------------------------- */

struct sources {
	pd_buf *b;
	size_t n;
};

static void put_source(void *user, const char *name, const char *sha256,
                       size_t rows)
{
	struct sources *s = user;
	char no[24], n[24];

	PUT(s->b, "source", count(no, ++s->n), name, count(n, rows), sha256);
}

static void put_counts(pd_buf *b, const pd_store_counts *c)
{
	const struct {
		const char *name;
		size_t n;
	} counts[] = {
		{ "patients", c->n_patients }, { "cases", c->n_cases },
		{ "sites", c->n_sites },       { "aliquots", c->n_aliquots },
		{ "results", c->n_results },   { "warnings", c->n_warnings },
	};
	char n[24];

	for (size_t i = 0; i < sizeof counts / sizeof *counts; i++)
		PUT(b, "count", counts[i].name, count(n, counts[i].n));
}

static pd_status put_database(pd_buf *b, const char *path, pd_error *err)
{
	pd_store *s = NULL;
	pd_store_counts c;
	struct sources sources = { .b = b };
	int64_t rows = 0;
	char head[65], n[24];
	pd_status st = pd_store_open(path, PD_OPEN_READ, &s, err);

	if (st == PD_OK)
		st = pd_store_count(s, &c, err);
	if (st == PD_OK)
		st = pd_audit_head(s, head, &rows, err);
	if (st == PD_OK) {
		PUT(b, "database", name_of_path(path));
		PUT(b, "state", c.audit_head);
		PUT(b, "chain", count(n, (size_t)rows), head);
		put_counts(b, &c);
		st = pd_store_sources(s, put_source, &sources, err);
	}
	pd_store_close(s);
	return st;
}

/* ---- plan, flow, outputs ------------------------------------------------ */

static void put_flow(pd_buf *b, const pd_answer *a)
{
	char no[24], rows[24], sites[24], cases[24], patients[24];

	for (size_t i = 0; i < a->n_flow; i++) {
		const pd_flow *f = &a->flow[i];

		PUT(b, "flow", a->name, count(no, i + 1), f->step,
		    count(rows, f->n_rows), count(sites, f->n_sites),
		    count(cases, f->n_cases), count(patients, f->n_patients));
	}
}

static void put_review(pd_buf *b, const pd_review *r)
{
	char seed[24];

	snprintf(seed, sizeof seed, "%llu", r->seed);
	PUT(b, "plan", r->plan_name, r->plan_sha256);
	PUT(b, "seed", seed);
	for (size_t i = 0; i < r->n_answers; i++)
		put_flow(b, &r->answer[i]);
}

/* apart: the manifest lies in the folder of the outputs itself. */
static void put_outputs(pd_buf *b, const struct running *r, bool apart)
{
	char n[24];

	for (size_t i = 0; i < r->n_outputs; i++)
		PUT(b, "output", apart ? name_of_path(r->output[i].name)
		                       : r->output[i].name,
		    count(n, r->output[i].length), r->output[i].sha256);
}

static const struct opt *db_option(const struct running *r)
{
	for (const struct opt *o = r->command->opts; o->name; o++)
		if (strcmp(o->name, "db") == 0)
			return o;
	return NULL;
}

/* Two outputs of one name in two folders could not be told apart. */
static pd_status names_differ(const struct running *r, pd_error *err)
{
	for (size_t i = 0; i < r->n_outputs; i++)
		for (size_t k = i + 1; k < r->n_outputs; k++)
			if (strcmp(r->output[i].name, r->output[k].name) == 0)
				return pd_fail(err, PD_USAGE,
				               "a manifest wants outputs of "
				               "different names, found '%s' "
				               "twice", r->output[i].name);
	return PD_OK;
}

/* The last line: the SHA-256 of those above. */
static pd_status put_end(pd_buf *to, pd_status st, pd_error *err)
{
	char sha256[65];

	if (st == PD_OK && !pd_buf_ok(to))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st != PD_OK)
		return st;
	pd_sha256_hex(pd_buf_text(to), to->length, sha256);
	PUT(to, "end", sha256);
	return pd_buf_ok(to) ? PD_OK
	                     : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static void put_start(pd_buf *to, const struct running *r)
{
	PUT(to, "perdraw-manifest", "1");
	PUT(to, "program", PD_VERSION);
	PUT(to, "command", r->command->name);
	if (*r->day)
		PUT(to, "date", r->day);
}

pd_status manifest_make(const struct show *s, const pd_review *review,
                        pd_buf *to, pd_error *err)
{
	const struct running *r = running_now();
	const struct opt *o = db_option(r);
	const char *db = o ? *(const char *const *)((const char *)r->options +
	                                            o->offset)
	                   : NULL;
	pd_status st = names_differ(r, err);

	put_start(to, r);
	if (st == PD_OK)
		st = put_given(to, r, s, err);
	if (st == PD_OK && db)
		st = put_database(to, db, err);
	if (review)
		put_review(to, review);
	put_outputs(to, r, false);
	return put_end(to, st, err);
}

pd_status manifest_make_open(const char *const *choices, pd_buf *to,
                             pd_error *err)
{
	const struct running *r = running_now();
	char text[64];

	put_start(to, r);
	for (const struct opt *o = r->command->opts; o->name; o++) {
		const char *v = given(o, r->options, text);
		const char *const *c = choices;

		while (v && *c && strcmp(*c, o->name) != 0)
			c++;
		if (v && *c)
			PUT(to, "option", o->name, v);
	}
	put_outputs(to, r, true);
	return put_end(to, PD_OK, err);
}
