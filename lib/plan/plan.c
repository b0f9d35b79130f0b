/*
 * plan.c - a plan file into questions. Lines are `[section]`, `key = value`,
 * blank, or a comment after '#'. The first section is [plan]; every other is
 * a question. Nothing is guessed: an unknown or repeated name is an error.
 */
#include "plan/plan.h"
#include "plan/question.h"

#include <errno.h>
#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_QUESTIONS = 500, MOST_BYTES = 1024 * 1024, MOST_KEYS = 16 };

/* The reading of one file. */
struct reading {
	pd_arena *arena;
	const char *file;
	pd_plan *plan;
	pd_question *current;       /* NULL inside [plan]                      */
	const char *seen[MOST_KEYS]; /* keys of this section                   */
	size_t n_seen;
	size_t section_start;       /* byte offset of the section's line       */
	int in_section;
};

static const char *hex_sha256(pd_arena *a, const char *text, size_t n)
{
	unsigned char hash[crypto_hash_sha256_BYTES];
	char *hex = pd_arena_alloc(a, 2 * sizeof hash + 1, 1);

	if (!hex || sodium_init() < 0)
		return NULL;
	crypto_hash_sha256(hash, (const unsigned char *)text, n);
	return sodium_bin2hex(hex, 2 * sizeof hash + 1, hash, sizeof hash);
}

/* Ends the section before byte `end` of the text. */
static pd_status close_section(struct reading *r, size_t end, pd_error *err)
{
	pd_question *q = r->current;

	if (!q)
		return PD_OK;
	const char *from = r->plan->text + r->section_start;
	size_t n = end - r->section_start;

	while (n && (from[n - 1] == '\n' || from[n - 1] == '\r' ||
	             from[n - 1] == ' '))
		n--;
	q->text = pd_arena_copy_n(r->arena, from, n);
	return q->text ? pd_question_check(q, r->file, err)
	               : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* A question is its section and what of the plan moves its verdict: read at
 * another level it is another question. */
static pd_status hash_questions(struct reading *r, pd_error *err)
{
	pd_plan *p = r->plan;

	for (size_t k = 0; k < p->n_questions; k++) {
		pd_question *q = &p->question[k];
		const char *whole = pd_arena_print(
		    r->arena, "level %.17g, patients %zu, looks %zu\n%s",
		    p->level, p->min_patients, p->looks, q->text);

		q->sha256 = whole ? hex_sha256(r->arena, whole, strlen(whole))
		                  : NULL;
		if (!q->sha256)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	return PD_OK;
}

static int name_char(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
	       c == '_';
}

static pd_status open_question(struct reading *r, const char *name, size_t n,
                               size_t line, size_t column, pd_error *err)
{
	pd_plan *p = r->plan;

	for (size_t i = 0; i < n; i++)
		if (!name_char(name[i]))
			return pd_fail_at(err, PD_PLAN, r->file, line,
			                  column + i,
			                  "section name has '%c', expected "
			                  "lower-case letters, digits, '-' and "
			                  "'_'", name[i]);
	if (p->n_questions == MOST_QUESTIONS)
		return pd_fail_at(err, PD_PLAN, r->file, line, column,
		                  "more than %d questions", MOST_QUESTIONS);
	pd_question *q = &p->question[p->n_questions];

	q->name = pd_arena_copy_n(r->arena, name, n);
	if (!q->name)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < p->n_questions; i++)
		if (strcmp(p->question[i].name, q->name) == 0)
			return pd_fail_at(err, PD_PLAN, r->file, line, column,
			                  "question '%s' stands already on "
			                  "line %zu", q->name,
			                  p->question[i].line);
	q->line = line;
	q->margin = NAN;
	q->step = NAN;
	q->change = NAN;
	q->floor = NAN;
	q->differs_step = NAN;
	q->role = PD_EXPLORATORY;
	p->n_questions++;
	r->current = q;
	return PD_OK;
}

static pd_status read_section(struct reading *r, const char *text, size_t n,
                              size_t offset, size_t line, size_t column,
                              pd_error *err)
{
	pd_status st = close_section(r, offset, err);

	if (st != PD_OK)
		return st;
	if (n < 3 || text[n - 1] != ']')
		return pd_fail_at(err, PD_PLAN, r->file, line, column,
		                  "found '%.*s', expected '[name]'", (int)n,
		                  text);
	int is_plan = n == 6 && strncmp(text, "[plan]", 6) == 0;

	r->n_seen = 0;
	r->section_start = offset;
	r->current = NULL;
	if (is_plan && r->in_section)
		return pd_fail_at(err, PD_PLAN, r->file, line, column,
		                  "[plan] must be the first section, once");
	r->in_section = 1;
	return is_plan ? PD_OK
	               : open_question(r, text + 1, n - 2, line, column + 1,
	                               err);
}

static pd_status set_plan_key(struct reading *r, const pd_plan_entry *e,
                              pd_error *err)
{
	pd_plan *p = r->plan;
	double number = NAN;
	int ok = pd_plan_number(e->value, &number);

	if (strcmp(e->key, "title") == 0) {
		p->title = pd_arena_copy(r->arena, e->value);
		return p->title ? PD_OK
		                : pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (strcmp(e->key, "level") == 0) {
		if (!ok || number < 0.5 || number > 0.999)
			return pd_fail_at(err, PD_PLAN, e->file, e->line,
			                  e->value_column,
			                  "'level': found '%s', expected a "
			                  "number from 0.5 to 0.999 such as "
			                  "0.95", e->value);
		p->level = number;
		return PD_OK;
	}
	if (strcmp(e->key, "seed") == 0) {
		if (!ok || number < 0 || number > 9e15 ||
		    number != floor(number))
			return pd_fail_at(err, PD_PLAN, e->file, e->line,
			                  e->value_column,
			                  "'seed': found '%s', expected a "
			                  "whole number from 0", e->value);
		p->seed = (unsigned long long)number;
		return PD_OK;
	}
	if (strcmp(e->key, "min_patients") == 0) {
		if (!ok || number < 3 || number > 1e6 ||
		    number != floor(number))
			return pd_fail_at(err, PD_PLAN, e->file, e->line,
			                  e->value_column,
			                  "'min_patients': found '%s', expected "
			                  "a whole number of 3 or more",
			                  e->value);
		p->min_patients = (size_t)number;
		return PD_OK;
	}
	if (strcmp(e->key, "looks") == 0) {
		if (!ok || number < 1 || number > 200 ||
		    number != floor(number))
			return pd_fail_at(err, PD_PLAN, e->file, e->line,
			                  e->value_column,
			                  "'looks': found '%s', expected a "
			                  "whole number from 1 to 200", e->value);
		p->looks = (size_t)number;
		return PD_OK;
	}
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->key_column,
	                  "unknown key '%s' in [plan], expected title, level, "
	                  "seed, min_patients or looks", e->key);
}

static pd_status read_entry(struct reading *r, const char *text, size_t n,
                            size_t line, size_t column, pd_error *err)
{
	const char *equals = memchr(text, '=', n);
	size_t key = equals ? (size_t)(equals - text) : 0;

	while (key && (text[key - 1] == ' ' || text[key - 1] == '\t'))
		key--;
	if (!key)
		return pd_fail_at(err, PD_PLAN, r->file, line, column,
		                  "found '%.*s', expected 'key = value' or "
		                  "'[section]'", (int)n, text);
	size_t at = (size_t)(equals - text) + 1;

	while (at < n && (text[at] == ' ' || text[at] == '\t'))
		at++;
	pd_plan_entry e = { r->file, line, column, column + at,
		            pd_arena_copy_n(r->arena, text, key),
		            pd_arena_copy_n(r->arena, text + at, n - at) };

	if (!e.key || !e.value)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (!r->in_section)
		return pd_fail_at(err, PD_PLAN, r->file, line, column,
		                  "'%s' stands before the first section", e.key);
	for (size_t i = 0; i < r->n_seen; i++)
		if (strcmp(r->seen[i], e.key) == 0)
			return pd_fail_at(err, PD_PLAN, r->file, line, column,
			                  "'%s' stands twice in this section",
			                  e.key);
	if (r->n_seen < MOST_KEYS)
		r->seen[r->n_seen++] = e.key;
	return r->current ? pd_question_set(r->arena, r->current, &e, err)
	                  : set_plan_key(r, &e, err);
}

static pd_status read_line(struct reading *r, size_t offset, size_t n,
                           size_t line, pd_error *err)
{
	const char *text = r->plan->text + offset;
	size_t lead = 0;

	for (size_t i = 0; i < n; i++) {
		unsigned char c = (unsigned char)text[i];

		if ((c < 0x20 && c != '\t' && c != '\r') || c == 0x7f)
			return pd_fail_at(err, PD_PLAN, r->file, line, i + 1,
			                  "control character 0x%02x", c);
		if (c == '#' && (i == 0 || text[i - 1] == ' ' ||
		                 text[i - 1] == '\t')) {
			n = i;
			break;
		}
	}
	while (n && (text[n - 1] == ' ' || text[n - 1] == '\t' ||
	             text[n - 1] == '\r'))
		n--;
	while (lead < n && (text[lead] == ' ' || text[lead] == '\t'))
		lead++;
	if (lead == n)
		return PD_OK;
	return text[lead] == '['
	           ? read_section(r, text + lead, n - lead, offset, line,
	                          lead + 1, err)
	           : read_entry(r, text + lead, n - lead, line, lead + 1, err);
}

pd_status pd_plan_parse(pd_arena *arena, const char *text, size_t size,
                        const char *name, pd_plan *out, pd_error *err)
{
	struct reading r = { .arena = arena, .plan = out };
	pd_status st = PD_OK;

	memset(out, 0, sizeof *out);
	out->level = 0.95;
	out->min_patients = 10;
	if (size > MOST_BYTES)
		return pd_fail_at(err, PD_PLAN, name, 0, 0,
		                  "plan is larger than 1 MiB");
	out->name = r.file = pd_arena_copy(arena, name);
	out->text = pd_arena_copy_n(arena, text, size);
	out->question = PD_NEW(arena, pd_question, MOST_QUESTIONS);
	if (!out->name || !out->text || !out->question ||
	    !(out->sha256 = hex_sha256(arena, text, size)))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	size_t line = 1;

	for (size_t at = 0; st == PD_OK && at < size; line++) {
		const char *end = memchr(out->text + at, '\n', size - at);
		size_t n = end ? (size_t)(end - (out->text + at)) : size - at;

		st = read_line(&r, at, n, line, err);
		at += n + 1;
	}
	if (st == PD_OK)
		st = close_section(&r, size, err);
	if (st == PD_OK && out->n_questions == 0)
		st = pd_fail_at(err, PD_PLAN, name, line, 1,
		                "plan asks no question");
	return st == PD_OK ? hash_questions(&r, err) : st;
}

pd_status pd_plan_read(pd_arena *arena, const char *path, pd_plan *out,
                       pd_error *err)
{
	FILE *f = fopen(path, "rb");

	if (!f)
		return pd_fail_at(err, PD_NO_INPUT, path, 0, 0, "%s",
		                  strerror(errno));
	char *text = malloc(MOST_BYTES + 1);
	size_t n = text ? fread(text, 1, MOST_BYTES + 1, f) : 0;
	int broken = ferror(f);
	const char *slash = strrchr(path, '/');

	fclose(f);
	pd_status st =
	    !text    ? pd_fail(err, PD_NO_MEMORY, "out of memory")
	    : broken ? pd_fail_at(err, PD_IO, path, 0, 0, "cannot be read")
	             : pd_plan_parse(arena, text, n, path, out, err);

	/* Reports name the plan without its folder. */
	if (st == PD_OK && slash)
		out->name = pd_arena_copy(arena, slash + 1);
	free(text);
	return st == PD_OK && !out->name
	           ? pd_fail(err, PD_NO_MEMORY, "out of memory")
	           : st;
}

const pd_question *pd_plan_find(const pd_plan *plan, const char *name)
{
	for (size_t i = 0; i < plan->n_questions; i++)
		if (strcmp(plan->question[i].name, name) == 0)
			return &plan->question[i];
	return NULL;
}
