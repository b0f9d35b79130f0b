/* keyfile.c - see keyfile.h. */
#include "plan/keyfile.h"
#include "data/audit.h"

#include <stdio.h>
#include <string.h>

enum { MOST_KEYS = 64 };

/* The walk over one file. */
struct walk {
	pd_keyfile *f;
	bool in_section;
	const char *seen[MOST_KEYS]; /* keys of this section                   */
	size_t n_seen;
};

const char *pd_keyfile_sha256(pd_arena *arena, const char *text, size_t n)
{
	char *hex = pd_arena_alloc(arena, 65, 1);

	if (hex)
		pd_sha256_hex(text, n, hex);
	return hex;
}

const char *pd_keyfile_names(const char *const *name, size_t n, char *buf,
                             size_t size)
{
	size_t at = 0;

	buf[0] = '\0';
	for (size_t i = 0; i < n && at < size; i++)
		at += (size_t)snprintf(buf + at, size - at, "%s%s",
		                       i == 0       ? ""
		                       : i + 1 == n ? " or "
		                                    : ", ",
		                       name[i]);
	return buf;
}

static int blank(char c)
{
	return c == ' ' || c == '\t';
}

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* `text[n]` begins at `column` of the line. */
static pd_status read_entry(struct walk *w, const char *text, size_t n,
                            size_t line, size_t column, pd_error *err)
{
	pd_keyfile *f = w->f;
	const char *equals = memchr(text, '=', n);
	size_t key = equals ? (size_t)(equals - text) : 0;

	while (key && blank(text[key - 1]))
		key--;
	if (!key)
		return pd_fail_at(err, PD_PLAN, f->name, line, column,
		                  "found '%.*s', expected 'key = value' or "
		                  "'[section]'", (int)n, text);
	size_t at = (size_t)(equals - text) + 1;

	while (at < n && blank(text[at]))
		at++;
	pd_plan_entry e = { f->name, line, column, column + at,
		            pd_arena_copy_n(f->arena, text, key),
		            pd_arena_copy_n(f->arena, text + at, n - at) };

	if (!e.key || !e.value)
		return no_memory(err);
	if (!w->in_section)
		return pd_fail_at(err, PD_PLAN, f->name, line, column,
		                  "'%s' stands before the first section", e.key);
	for (size_t i = 0; i < w->n_seen; i++)
		if (strcmp(w->seen[i], e.key) == 0)
			return pd_fail_at(err, PD_PLAN, f->name, line, column,
			                  "'%s' stands twice in this section",
			                  e.key);
	if (w->n_seen < MOST_KEYS)
		w->seen[w->n_seen++] = e.key;
	return f->entry(f->user, &e, err);
}

/* The length of the line without its comment; PD_PLAN for a control sign. */
static pd_status cut_comment(const pd_keyfile *f, const char *text, size_t *n,
                             size_t line, pd_error *err)
{
	for (size_t i = 0; i < *n; i++) {
		unsigned char c = (unsigned char)text[i];

		if ((c < 0x20 && c != '\t' && c != '\r') || c == 0x7f)
			return pd_fail_at(err, PD_PLAN, f->name, line, i + 1,
			                  "control character 0x%02x", c);
		if (c == '#' && (i == 0 || blank(text[i - 1])))
			*n = i;
	}
	while (*n && (blank(text[*n - 1]) || text[*n - 1] == '\r'))
		(*n)--;
	return PD_OK;
}

static pd_status read_line(struct walk *w, size_t offset, size_t n,
                           size_t line, pd_error *err)
{
	const char *text = w->f->text + offset;
	pd_status st = cut_comment(w->f, text, &n, line, err);
	size_t lead = 0;

	while (lead < n && blank(text[lead]))
		lead++;
	if (st != PD_OK || lead == n)
		return st;
	if (text[lead] != '[')
		return read_entry(w, text + lead, n - lead, line, lead + 1, err);
	pd_keyfile_section s = { text + lead, n - lead, offset, line, lead + 1 };

	w->in_section = true;
	w->n_seen = 0;
	return w->f->section(w->f->user, &s, err);
}

pd_status pd_keyfile_parse(pd_keyfile *f, const char *text, size_t size,
                           pd_error *err)
{
	struct walk w = { .f = f };
	pd_status st = PD_OK;

	f->name = pd_arena_copy(f->arena, f->name);
	f->text = pd_arena_copy_n(f->arena, text, size);
	f->sha256 = pd_keyfile_sha256(f->arena, text, size);
	f->n_lines = 1;
	if (!f->name || !f->text || !f->sha256)
		return no_memory(err);
	for (size_t at = 0; st == PD_OK && at < size; f->n_lines++) {
		const char *end = memchr(f->text + at, '\n', size - at);
		size_t n = end ? (size_t)(end - (f->text + at)) : size - at;

		st = read_line(&w, at, n, f->n_lines, err);
		at += n + 1;
	}
	return st;
}
