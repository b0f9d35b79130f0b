/*
 * plan.c - a plan file into questions; keyfile.c parts its lines. The first
 * section is [plan]; every other is a question. Nothing is guessed: an unknown or repeated name is an error.
 */
#include "plan/keyfile.h"
#include "plan/plan.h"
#include "base/file.h"
#include "base/near.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_QUESTIONS = 500, MOST_BYTES = 1024 * 1024 };

/* The reading of one file. */
struct reading {
	pd_keyfile file;
	pd_plan *plan;
	pd_question *current;       /* NULL inside [plan]                      */
	size_t section_start;       /* byte offset of the section's line       */
	bool in_section;
};

/* Ends the section before byte `end` of the text. */
static pd_status close_section(struct reading *r, size_t end, pd_error *err)
{
	pd_question *q = r->current;

	if (!q)
		return PD_OK;
	const char *from = r->file.text + r->section_start;
	size_t n = end - r->section_start;

	while (n && (from[n - 1] == '\n' || from[n - 1] == '\r' ||
	             from[n - 1] == ' '))
		n--;
	q->text = pd_arena_copy_n(r->file.arena, from, n);
	return q->text ? pd_question_check(q, r->file.name, err)
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
		    r->file.arena, "level %.17g, patients %zu, looks %zu\n%s",
		    p->level, p->min_patients, p->looks, q->text);

		q->sha256 = whole ? pd_keyfile_sha256(r->file.arena, whole,
		                                      strlen(whole))
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
			return pd_fail_at(err, PD_PLAN, r->file.name, line,
			                  column + i,
			                  "section name has '%c', expected "
			                  "lower-case letters, digits, '-' and "
			                  "'_'", name[i]);
	if (p->n_questions == MOST_QUESTIONS)
		return pd_fail_at(err, PD_PLAN, r->file.name, line, column,
		                  "more than %d questions", MOST_QUESTIONS);
	pd_question *q = &p->question[p->n_questions];

	q->name = pd_arena_copy_n(r->file.arena, name, n);
	if (!q->name)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < p->n_questions; i++)
		if (strcmp(p->question[i].name, q->name) == 0)
			return pd_fail_at(err, PD_PLAN, r->file.name, line, column,
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

static pd_status read_section(void *user, const pd_keyfile_section *s,
                              pd_error *err)
{
	struct reading *r = user;
	pd_status st = close_section(r, s->offset, err);

	if (st != PD_OK)
		return st;
	if (s->n < 3 || s->text[s->n - 1] != ']')
		return pd_fail_at(err, PD_PLAN, r->file.name, s->line, s->column,
		                  "found '%.*s', expected '[name]'", (int)s->n,
		                  s->text);
	bool is_plan = s->n == 6 && strncmp(s->text, "[plan]", 6) == 0;

	r->section_start = s->offset;
	r->current = NULL;
	if (is_plan && r->in_section)
		return pd_fail_at(err, PD_PLAN, r->file.name, s->line, s->column,
		                  "[plan] must be the first section, once");
	r->in_section = true;
	return is_plan ? PD_OK
	               : open_question(r, s->text + 1, s->n - 2, s->line,
	                               s->column + 1, err);
}

static pd_status unknown_plan_key(const pd_plan_entry *e, pd_error *err)
{
	static const char *const keys[] = { "title", "level", "seed",
		                            "min_patients", "looks" };
	enum { N = sizeof keys / sizeof *keys };
	pd_near near = { .given = e->key };
	char known[80];

	for (size_t i = 0; i < N; i++)
		pd_near_try(&near, keys[i]);
	return pd_fail_at(err, PD_PLAN, e->file, e->line, e->key_column,
	                  "unknown key '%s' in [plan], expected %s%s", e->key,
	                  pd_keyfile_names(keys, N, known, sizeof known),
	                  pd_near_words(&near));
}

static pd_status set_plan_key(struct reading *r, const pd_plan_entry *e,
                              pd_error *err)
{
	pd_plan *p = r->plan;
	double number = NAN;
	int ok = pd_plan_number(e->value, &number);

	if (strcmp(e->key, "title") == 0) {
		p->title = pd_arena_copy(r->file.arena, e->value);
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
	return unknown_plan_key(e, err);
}

static pd_status read_entry(void *user, const pd_plan_entry *e, pd_error *err)
{
	struct reading *r = user;

	return r->current ? pd_question_set(r->file.arena, r->current, e, err)
	                  : set_plan_key(r, e, err);
}

pd_status pd_plan_parse(pd_arena *arena, const char *text, size_t size,
                        const char *name, pd_plan *out, pd_error *err)
{
	struct reading r = { .file = { .arena = arena, .name = name,
		                       .section = read_section,
		                       .entry = read_entry },
		             .plan = out };

	memset(out, 0, sizeof *out);
	out->level = 0.95;
	out->min_patients = 10;
	if (size > MOST_BYTES)
		return pd_fail_at(err, PD_PLAN, name, 0, 0,
		                  "plan is larger than 1 MiB");
	out->question = PD_NEW(arena, pd_question, MOST_QUESTIONS);
	if (!out->question)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	r.file.user = &r;
	pd_status st = pd_keyfile_parse(&r.file, text, size, err);

	out->name = r.file.name;
	out->text = r.file.text;
	out->sha256 = r.file.sha256;
	if (st == PD_OK)
		st = close_section(&r, size, err);
	if (st == PD_OK && out->n_questions == 0)
		st = pd_fail_at(err, PD_PLAN, name, r.file.n_lines, 1,
		                "plan asks no question");
	return st == PD_OK ? hash_questions(&r, err) : st;
}

pd_status pd_plan_read(pd_arena *arena, const char *path, pd_plan *out,
                       pd_error *err)
{
	char *text;
	size_t n;
	pd_status st = pd_file_read(path, MOST_BYTES, &text, &n, err);

	if (st == PD_OK)
		st = pd_plan_parse(arena, text, n, path, out, err);
	free(text);
	return st == PD_OK ? pd_file_name(arena, path, &out->name, err) : st;
}

pd_status pd_plan_options(pd_arena *arena, const char *text, size_t size,
                          pd_plan *out, pd_error *err)
{
	pd_status st = pd_plan_parse(arena, text, size, "options", out, err);

	if (st != PD_PLAN)
		return st;
	if (err) {
		err->file[0] = '\0';
		err->line = err->column = 0;
		err->status = PD_USAGE;
	}
	return PD_USAGE;
}

const pd_question *pd_plan_find(const pd_plan *plan, const char *name)
{
	for (size_t i = 0; i < plan->n_questions; i++)
		if (strcmp(plan->question[i].name, name) == 0)
			return &plan->question[i];
	return NULL;
}

pd_status pd_plan_question(const pd_plan *plan, const char *name,
                           const pd_question **out, pd_error *err)
{
	pd_near near = { .given = name };

	*out = pd_plan_find(plan, name);
	if (*out)
		return PD_OK;
	for (size_t i = 0; i < plan->n_questions; i++)
		pd_near_try(&near, plan->question[i].name);
	return pd_fail(err, PD_USAGE, "plan '%s' has no question '%s'%s",
	               plan->name, name, pd_near_words(&near));
}
