/* manifest_read.c - a manifest read back, strictly. */
#include "manifest.h"

#include <string.h>

/* The kinds of line in their order: fields, those of the key, those after it
 * that may differ (names of files that lie elsewhere). */
static const struct kind {
	const char *name;
	size_t n, n_key, n_free;
	bool must, many;
} kinds[] = {
	{ "perdraw-manifest", 2, 1, 0, true, false },
	{ "program", 2, 1, 0, true, false },
	{ "command", 2, 1, 0, true, false },
	{ "date", 2, 1, 0, false, false },
	{ "option", 3, 2, 0, false, true },
	{ "operand", 3, 2, 0, false, true },
	{ "input", 5, 2, 1, false, true },
	{ "database", 2, 1, 1, false, false },
	{ "state", 2, 1, 0, false, false },
	{ "chain", 3, 1, 0, false, false },
	{ "count", 3, 2, 0, false, true },
	{ "source", 5, 2, 0, false, true },
	{ "plan", 3, 1, 0, false, false },
	{ "seed", 2, 1, 0, false, false },
	{ "flow", 8, 3, 0, false, true },
	{ "output", 4, 2, 0, true, true },
	{ "end", 2, 1, 0, true, false },
};
enum { N_KINDS = sizeof kinds / sizeof *kinds };

struct reading {
	const char *name;
	pd_arena *arena;
	struct manifest *out;
	size_t room;
	size_t kind;       /* of the line before */
	size_t line;
	pd_error *err;
};

static pd_status bad(const struct reading *r, const char *what)
{
	return pd_fail_at(r->err, PD_DATA, r->name, r->line, 0, "%s", what);
}

static int hex(char c)
{
	return c >= '0' && c <= '9'   ? c - '0'
	       : c >= 'a' && c <= 'f' ? c - 'a' + 10
	                              : -1;
}

/* Take the escapes out of text[n] in place; false where one is none. */
static bool plain(char *text)
{
	char *to = text;

	for (const char *c = text; *c; c++) {
		if (*c != '\\') {
			*to++ = *c;
			continue;
		}
		c++;
		if (*c == 't')
			*to++ = '\t';
		else if (*c == 'n')
			*to++ = '\n';
		else if (*c == '\\')
			*to++ = '\\';
		else if (*c == 'x' && hex(c[1]) >= 0 && hex(c[2]) >= 0 &&
		         hex(c[1]) + hex(c[2]) > 0) {
			*to++ = (char)(hex(c[1]) * 16 + hex(c[2]));
			c += 2;
		} else {
			return false;
		}
	}
	*to = '\0';
	return true;
}

/* The kind of a line, which comes after the kind before it or repeats it. */
static pd_status find_kind(struct reading *r, const char *name)
{
	size_t k = r->line == 1 ? 0 : r->kind;

	if (r->line > 1 && !kinds[k].many)
		k++;
	while (k < N_KINDS && strcmp(kinds[k].name, name) != 0) {
		bool seen = r->line > 1 && k == r->kind;

		if (kinds[k].must && !seen)
			return bad(r, r->line == 1 ? "not a manifest of perdraw"
			                           : "a line is missing or not "
			                             "in its place");
		k++;
	}
	if (k == N_KINDS)
		return bad(r, "no line of a manifest, or not in its place");
	r->kind = k;
	return PD_OK;
}

static struct manifest_line *new_line(struct reading *r)
{
	struct manifest *m = r->out;

	if (m->n == r->room) {
		size_t room = r->room ? 2 * r->room : 64;
		struct manifest_line *to =
		    PD_NEW(r->arena, struct manifest_line, room);

		if (!to)
			return NULL;
		if (m->n)
			memcpy(to, m->line, m->n * sizeof *to);
		m->line = to;
		r->room = room;
	}
	return &m->line[m->n++];
}

static pd_status take_line(struct reading *r, char *text)
{
	struct manifest_line *line = new_line(r);

	if (!line)
		return pd_fail(r->err, PD_NO_MEMORY, "out of memory");
	for (char *at = text; at;) {
		char *end = strchr(at, '\t');

		if (end)
			*end++ = '\0';
		if (line->n == MANIFEST_FIELDS || !plain(at))
			return bad(r, "a field too many, or a broken escape");
		line->field[line->n++] = at;
		at = end;
	}
	pd_status st = find_kind(r, line->field[0]);

	if (st != PD_OK)
		return st;
	const struct kind *k = &kinds[r->kind];

	if (line->n != k->n)
		return bad(r, "wrong number of fields for its kind");
	line->n_key = k->n_key;
	line->n_free = k->n_free;
	if (r->kind == 0 && strcmp(line->field[1], "1") != 0)
		return bad(r, "a manifest of another version than 1");
	r->out->n--;
	bool twice = manifest_match(r->out, line) != NULL;

	r->out->n++;
	return twice ? bad(r, "the same line a second time") : PD_OK;
}

/* The last line holds the SHA-256 of what stands above it. */
static pd_status check_end(struct reading *r, const char *text, size_t length)
{
	static const char mark[] = "\nend\t";
	enum { TAIL = 4 + 64 + 1 };
	char sha256[65];

	if (length < TAIL + 1 ||
	    memcmp(text + length - TAIL - 1, mark, 5) != 0 ||
	    text[length - 1] != '\n')
		return bad(r, "not a manifest of perdraw, or its end is "
		              "missing");
	pd_sha256_hex(text, length - TAIL, sha256);
	return memcmp(sha256, text + length - 65, 64) == 0
	           ? PD_OK
	           : bad(r, "was changed: its lines do not give the SHA-256 "
	                    "at its end");
}

pd_status manifest_parse(const char *text, size_t length, const char *name,
                         pd_arena *arena, struct manifest *out, pd_error *err)
{
	struct reading r = { .name = name, .arena = arena, .out = out,
		             .err = err };
	char *copy = pd_arena_copy_n(arena, text, length);
	pd_status st;

	*out = (struct manifest){ 0 };
	if (!copy)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (strlen(copy) != length)
		return bad(&r, "not a manifest of perdraw: a zero byte in it");
	st = check_end(&r, copy, length);
	for (char *at = copy; st == PD_OK && *at;) {
		char *end = strchr(at, '\n');

		*end = '\0'; /* the last line has its end, see above */
		r.line++;
		st = take_line(&r, at);
		at = end + 1;
	}
	return st;
}

const struct manifest_line *manifest_find(const struct manifest *m,
                                          const char *kind, const char *second)
{
	for (size_t i = 0; i < m->n; i++)
		if (strcmp(m->line[i].field[0], kind) == 0 &&
		    (!second || strcmp(m->line[i].field[1], second) == 0))
			return &m->line[i];
	return NULL;
}

const struct manifest_line *manifest_match(const struct manifest *in,
                                           const struct manifest_line *line)
{
	for (size_t i = 0; i < in->n; i++) {
		const struct manifest_line *l = &in->line[i];
		size_t k = 0;

		while (k < line->n_key && k < l->n &&
		       strcmp(l->field[k], line->field[k]) == 0)
			k++;
		if (k == line->n_key)
			return l;
	}
	return NULL;
}
