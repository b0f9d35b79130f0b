/* recompute.c - see recompute.h. */
#include "recompute.h"
#include "say.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct work {
	const struct recompute *r;
	pd_arena *arena;
	struct manifest then, now;
	const struct command *command;
	const char *db;
	size_t n_words;
	char **word;               /* the command's options and operands      */
	pd_verified *out;
	pd_error *err;
};

static pd_status no_memory(struct work *w)
{
	return pd_fail(w->err, PD_NO_MEMORY, "out of memory");
}

/* ---- the command line, again ----------------------------------------- */

static pd_status add_word(struct work *w, char *word)
{
	if (!word)
		return no_memory(w);
	w->word[w->n_words++] = word;
	return PD_OK;
}

static pd_status add_option(struct work *w, const char *name,
                            const char *value)
{
	const struct opt *o = opt_find(w->command->opts, name);

	if (!o)
		return pd_fail(w->err, PD_DATA, "'%s' of the manifest is no "
		               "option of '%s' in this version", name,
		               w->command->name);
	return add_word(w, o->kind == OPT_FLAG
	                       ? pd_arena_print(w->arena, "--%s", name)
	                       : pd_arena_print(w->arena, "--%s=%s", name,
	                                        value));
}

/* Where a file of that name lies. */
static const char *place(struct work *w, const char *name)
{
	const char *folder = w->r->folder;
	const char *slash = strrchr(w->r->manifest, '/');

	if (folder)
		return pd_arena_print(w->arena, "%s/%s", folder, name);
	if (!slash)
		return pd_arena_copy(w->arena, name);
	return pd_arena_print(w->arena, "%.*s%s",
	                      (int)(slash + 1 - w->r->manifest),
	                      w->r->manifest, name);
}

static pd_status add_input(struct work *w, const struct manifest_line *l)
{
	const char *path = strcmp(l->field[1], "plan") == 0 && w->r->plan
	                       ? w->r->plan
	                       : place(w, l->field[2]);

	if (!path)
		return no_memory(w);
	if (access(path, R_OK) != 0)
		return pd_fail(w->err, PD_NO_INPUT, "'%s' (%s) cannot be read; "
		               "name its folder by '--folder'%s", path,
		               l->field[1], strcmp(l->field[1], "plan") == 0
		               ? " or itself by '--plan'" : "");
	return strncmp(l->field[1], "operand ", 8) == 0
	           ? add_word(w, pd_arena_copy(w->arena, path))
	           : add_option(w, l->field[1], path);
}

static bool has(const struct command *c, const char *option)
{
	for (const struct opt *o = c->opts; o->name; o++)
		if (strcmp(o->name, option) == 0)
			return true;
	return false;
}

static pd_status find_command(struct work *w)
{
	const char *name = manifest_find(&w->then, "command", NULL)->field[1];

	for (size_t i = 0; commands[i]; i++)
		if (strcmp(commands[i]->name, name) == 0 &&
		    has(commands[i], "manifest"))
			w->command = commands[i];
	return w->command ? PD_OK
	                  : pd_fail(w->err, PD_DATA, "the manifest is of a "
	                            "command '%s', which writes none", name);
}

static pd_status add_database(struct work *w)
{
	const struct manifest_line *l = manifest_find(&w->then, "database",
	                                              NULL);

	if (!l)
		return PD_OK;
	w->db = w->r->db ? w->r->db : place(w, l->field[1]);
	return w->db ? add_option(w, "db", w->db) : no_memory(w);
}

/* Does the line make a word of its own, behind the options? */
static bool is_word(const struct manifest_line *l)
{
	return strcmp(l->field[0], "operand") == 0 ||
	       (strcmp(l->field[0], "input") == 0 &&
	        strncmp(l->field[1], "operand ", 8) == 0);
}

/* The recorded options, or the recorded words behind them. */
static pd_status add_recorded(struct work *w, bool words)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < w->then.n; i++) {
		const struct manifest_line *l = &w->then.line[i];

		if (is_word(l) != words)
			continue;
		if (strcmp(l->field[0], "operand") == 0)
			st = add_word(w, pd_arena_copy(w->arena, l->field[2]));
		else if (strcmp(l->field[0], "input") == 0)
			st = add_input(w, l);
		else if (strcmp(l->field[0], "option") == 0)
			st = add_option(w, l->field[1], l->field[2]);
	}
	return st;
}

/* Options first, then operands, which may begin with a dash. */
static pd_status build(struct work *w)
{
	const struct manifest_line *day = manifest_find(&w->then, "date", NULL);
	static const char *const still[] = { "no-ledger", "quiet" };
	pd_status st = PD_OK;

	w->word = PD_NEW(w->arena, char *, w->then.n + 8);
	if (!w->word)
		st = no_memory(w);
	if (st == PD_OK)
		st = add_database(w);
	if (st == PD_OK && day)
		st = add_option(w, "date", day->field[1]);
	for (size_t i = 0; i < 2; i++)
		if (st == PD_OK && has(w->command, still[i]))
			st = add_option(w, still[i], NULL);
	if (st == PD_OK)
		st = add_option(w, "manifest", name_of_path(w->r->manifest));
	if (st == PD_OK)
		st = add_recorded(w, false);
	if (st == PD_OK)
		st = add_word(w, pd_arena_copy(w->arena, "--"));
	return st == PD_OK ? add_recorded(w, true) : st;
}

/* ---- the run --------------------------------------------------------- */

/* 0, 1 (a refusal is an answer) and 3 (history's) end with outputs. */
static bool answered(int status)
{
	return status == 0 || status == pd_status_exit(PD_REFUSED) ||
	       status == pd_status_exit(PD_BROKEN);
}

static pd_status run(struct work *w, int *end)
{
	const struct running *made = running_now();
	struct operands operands;
	void *options = calloc(1, w->command->size);
	pd_status st = PD_OK;

	*end = pd_status_exit(PD_USAGE);
	if (!options)
		return no_memory(w);
	if (opt_parse(w->command->opts, options, w->word, w->n_words,
	              &operands) == OPT_RUN &&
	    operands.n >= w->command->fewest &&
	    operands.n <= w->command->most) {
		running_begin(w->command, options, &operands, true);
		*end = w->command->run(options, &operands);
	}
	if (answered(*end) && made->n_outputs) {
		const struct output *last = &made->output[made->n_outputs - 1];

		*end = 0;
		st = manifest_parse(last->text, last->length, "the manifest "
		                    "made today", w->arena, &w->now, w->err);
	} else if (*end == 0) {
		*end = pd_status_exit(PD_INTERNAL);
	}
	free(options);
	return st;
}

/* ---- what differs ---------------------------------------------------- */

/* The fields after the key and the free ones, in words. */
static const char *rest(struct work *w, const struct manifest_line *l)
{
	pd_buf b;

	pd_buf_init(&b);
	for (size_t i = l->n_key + l->n_free; i < l->n; i++)
		pd_buf_print(&b, "%s%s", i > l->n_key + l->n_free ? ", " : "",
		             l->field[i]);
	const char *text = pd_buf_ok(&b)
	                       ? pd_arena_copy(w->arena, pd_buf_text(&b))
	                       : NULL;

	pd_buf_clear(&b);
	return text;
}

static const char *key(struct work *w, const struct manifest_line *l)
{
	return l->n_key == 1 ? l->field[0]
	       : l->n_key == 2
	           ? pd_arena_print(w->arena, "%s %s", l->field[0], l->field[1])
	           : pd_arena_print(w->arena, "%s %s, %s", l->field[0],
	                            l->field[1], l->field[2]);
}

static pd_status add_different(struct work *w, const struct manifest_line *was,
                               const struct manifest_line *is)
{
	pd_verified *v = w->out;
	pd_verified_line *d = &v->different[v->n_different++];

	d->what = key(w, was ? was : is);
	d->recorded = was ? rest(w, was) : NULL;
	d->now = is ? rest(w, is) : NULL;
	return d->what && (!was || d->recorded) && (!is || d->now)
	           ? PD_OK : no_memory(w);
}

/* The chain may have gone on, if the recorded row is still in it. */
static pd_status compare_chain(struct work *w, const struct manifest_line *was,
                               const struct manifest_line *is)
{
	pd_history_request ask = { .printed = was->field[2] };
	pd_history h = { 0 };
	pd_store *s = NULL;
	char row[24];
	pd_status st = pd_store_open(w->db, PD_OPEN_INSPECT, &s, w->err);

	if (st == PD_OK)
		st = pd_history_read(s, &ask, w->arena, &h, w->err);
	pd_store_close(s);
	if (st != PD_OK)
		return st;
	snprintf(row, sizeof row, "%lld", h.printed_row);
	if (h.n_broken || h.n_gaps || strcmp(row, was->field[1]) != 0)
		return add_different(w, was, is);
	w->out->chain = pd_arena_print(
	    w->arena, "The audit chain went on since: row %s is the one "
	    "recorded, the newest is row %s now.", was->field[1],
	    is->field[1]);
	return w->out->chain ? PD_OK : no_memory(w);
}

static bool same_line(const struct manifest_line *a,
                      const struct manifest_line *b)
{
	bool same = a->n == b->n;

	for (size_t i = a->n_key + a->n_free; same && i < a->n; i++)
		same = strcmp(a->field[i], b->field[i]) == 0;
	return same;
}

static bool is_end(const struct manifest_line *l)
{
	return strcmp(l->field[0], "end") == 0;
}

static pd_status compare_lines(struct work *w)
{
	pd_status st = PD_OK;

	w->out->different = PD_NEW(w->arena, pd_verified_line,
	                           w->then.n + w->now.n + 1);
	if (!w->out->different)
		return no_memory(w);
	for (size_t i = 0; st == PD_OK && i < w->then.n; i++) {
		const struct manifest_line *was = &w->then.line[i];
		const struct manifest_line *is = manifest_match(&w->now, was);

		if (is_end(was) || (is && same_line(was, is)))
			continue;
		st = is && strcmp(was->field[0], "chain") == 0
		         ? compare_chain(w, was, is)
		         : add_different(w, was, is);
	}
	for (size_t i = 0; st == PD_OK && i < w->now.n; i++)
		if (!manifest_match(&w->then, &w->now.line[i]))
			st = add_different(w, NULL, &w->now.line[i]);
	return st;
}

/* A manifest for others names no database: only the files can be compared. */
static bool has_files_only(const struct work *w)
{
	const struct opt *o = opt_find(w->command->opts, "db");

	return o && o->must && !manifest_find(&w->then, "database", NULL);
}

/* ---- outputs --------------------------------------------------------- */

static const char *piece(struct work *w, const char *at, const char *end)
{
	const char *stop = memchr(at, '\n', (size_t)(end - at));
	size_t n = (size_t)((stop ? stop : end) - at);

	/* 60 bytes, and not in the middle of a sign */
	if (n > 60)
		for (n = 60; n && ((unsigned char)at[n] & 0xc0) == 0x80; n--)
			;
	return pd_arena_copy_n(w->arena, at, n);
}

/* Where two texts first differ, with both lines; NULL where they do not. */
static const char *first_difference(struct work *w, const char *file,
                                    size_t n_file, const struct output *o)
{
	const char *a = file, *b = o->text;
	const char *a_end = file + n_file, *b_end = o->text + o->length;
	size_t line = 1, start = 0, at = 0;

	if (memchr(file, '\0', n_file) || memchr(o->text, '\0', o->length)) {
		while (at < n_file && at < o->length && a[at] == b[at])
			at++;
		return pd_arena_print(w->arena, "byte %zu", at + 1);
	}
	for (; at < n_file && at < o->length && a[at] == b[at]; at++)
		if (a[at] == '\n') {
			line++;
			start = at + 1;
		}
	if (at == n_file && at == o->length)
		return NULL;
	const char *was = piece(w, a + start, a_end);
	const char *is = piece(w, b + start, b_end);

	return was && is ? pd_arena_print(w->arena, "line %zu, byte %zu: file "
	                                  "'%s', recomputed '%s'", line,
	                                  at - start + 1, was, is)
	                 : NULL;
}

static pd_status compare_file(struct work *w, const struct manifest_line *was,
                              const struct output *o, pd_verified_output *to)
{
	const char *path = place(w, was->field[1]);
	char *bytes = NULL, sha256[65];
	size_t size = 0;
	pd_error ignored;

	if (!path)
		return no_memory(w);
	to->file = PD_FILE_ABSENT;
	if (strcmp(was->field[1], "-") == 0 || access(path, F_OK) != 0)
		return PD_OK;
	if (pd_source_read(path, &bytes, &size, &ignored) != PD_OK)
		return PD_OK;
	pd_sha256_hex(bytes, size, sha256);
	to->file = strcmp(sha256, was->field[3]) == 0 ? PD_FILE_SAME
	                                             : PD_FILE_CHANGED;
	if (o)
		to->where = first_difference(w, bytes, size, o);
	free(bytes);
	return PD_OK;
}

static pd_status compare_outputs(struct work *w)
{
	const struct running *made = running_now();
	pd_status st = PD_OK;

	w->out->output = PD_NEW(w->arena, pd_verified_output, w->then.n);
	if (!w->out->output)
		return no_memory(w);
	for (size_t i = 0; st == PD_OK && i < w->then.n; i++) {
		const struct manifest_line *was = &w->then.line[i];
		const struct output *o = NULL;
		pd_verified_output *to;

		if (strcmp(was->field[0], "output") != 0)
			continue;
		for (size_t k = 0; k < made->n_outputs; k++)
			if (strcmp(made->output[k].name, was->field[1]) == 0)
				o = &made->output[k];
		to = &w->out->output[w->out->n_outputs++];
		to->name = was->field[1];
		to->same = o && strcmp(o->sha256, was->field[3]) == 0;
		st = compare_file(w, was, o, to);
		if (w->out->files_only)
			to->same = to->file == PD_FILE_SAME;
	}
	return st;
}

static pd_status read_manifest(struct work *w)
{
	char *text = NULL;
	size_t length = 0;
	pd_status st = pd_source_read(w->r->manifest, &text, &length, w->err);

	if (st == PD_OK)
		st = manifest_parse(text, length, w->r->manifest, w->arena,
		                    &w->then, w->err);
	free(text);
	return st;
}

static void settle(struct work *w)
{
	const struct manifest_line *day = manifest_find(&w->then, "date", NULL);
	pd_verified *v = w->out;

	v->manifest = name_of_path(w->r->manifest);
	v->command = w->command->name;
	v->date = day ? day->field[1] : NULL;
	v->version = PD_VERSION;
	v->n_lines = w->then.n;
	v->same = v->n_different == 0;
	for (size_t i = 0; i < v->n_outputs; i++)
		v->same = v->same && v->output[i].same &&
		          v->output[i].file != PD_FILE_CHANGED;
}

pd_status recompute(const struct recompute *r, pd_arena *arena,
                    pd_verified *out, int *end, pd_error *err)
{
	struct work w = { .r = r, .arena = arena, .out = out, .err = err };
	pd_status st = read_manifest(&w);

	*out = (pd_verified){ 0 };
	*end = 0;
	if (st == PD_OK)
		st = find_command(&w);
	if (st == PD_OK)
		out->files_only = has_files_only(&w);
	if (st == PD_OK && !out->files_only)
		st = build(&w);
	if (st == PD_OK && !out->files_only)
		st = run(&w, end);
	if (st == PD_OK && *end == 0 && !out->files_only)
		st = compare_lines(&w);
	if (st == PD_OK && *end == 0)
		st = compare_outputs(&w);
	if (st == PD_OK && *end == 0)
		settle(&w);
	running_end();
	return st;
}
