/* show_csv.c - one file a table, all of them or none; see show_csv.h. */
#include "show_csv.h"
#include "out.h"
#include "say.h"

#include <string.h>

struct files {
	pd_arena *arena;
	unsigned n;        /* tables                                          */
	const char **path; /* of table k + 1                                  */
	const char **name; /* the same without its folder                     */
	const char *about; /* the description                                 */
};

static const char *name_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

/* ".csv" where the path ends so, else "". */
static const char *ending(const char *path)
{
	size_t n = strlen(path);

	return n > 4 && strcmp(path + n - 4, ".csv") == 0 ? ".csv" : "";
}

/* "folder/out.csv" and 3: "folder/out-3.csv". */
static const char *numbered(pd_arena *arena, const char *path, unsigned k)
{
	const char *end = ending(path);

	return pd_arena_print(arena, "%.*s-%u%s",
	                      (int)(strlen(path) - strlen(end)), path, k, end);
}

/* Would a file of that name be written for `path`? */
static bool is_ours(const char *name, const char *path)
{
	const char *own = name_of(path), *end = ending(path);
	size_t whole = strlen(own), stem = whole - strlen(end);

	if (strncmp(name, own, whole) == 0)
		return strcmp(name + whole, "-metadata.json") == 0;
	if (strncmp(name, own, stem) != 0 || name[stem] != '-')
		return false;
	size_t digits = strspn(name + stem + 1, "0123456789");

	return digits && strcmp(name + stem + 1 + digits, end) == 0;
}

pd_status show_csv_check(const char *path, const char *const *keep, size_t n,
                         pd_error *err)
{
	pd_arena *arena = pd_arena_new();
	pd_status st = arena ? PD_OK
	                     : pd_fail(err, PD_NO_MEMORY, "out of memory");
	size_t folder = (size_t)(name_of(path) - path);

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		if (!keep[i] || !is_ours(name_of(keep[i]), path))
			continue;
		const char *would = pd_arena_print(arena, "%.*s%s", (int)folder,
		                                   path, name_of(keep[i]));

		if (would && out_same_file(would, keep[i]))
			st = pd_fail(err, PD_CANNOT_CREATE,
			             "'%s' is an input of this command, give "
			             "the output another name", would);
	}
	pd_arena_free(arena);
	return st;
}

static pd_status name_files(struct files *f, const pd_doc *doc,
                            unsigned number, const char *path, pd_error *err)
{
	bool good;

	f->arena = pd_arena_new();
	f->n = number ? 1 : pd_doc_tables(doc);
	if (f->arena) {
		f->path = PD_NEW(f->arena, const char *, f->n + 1);
		f->name = PD_NEW(f->arena, const char *, f->n + 1);
		f->about = pd_arena_print(f->arena, "%s-metadata.json", path);
	}
	good = f->arena && f->path && f->name && f->about;
	for (unsigned k = 0; good && k < f->n; k++) {
		f->path[k] = number ? path : numbered(f->arena, path, k + 1);
		good = f->path[k] != NULL;
		f->name[k] = good ? name_of(f->path[k]) : NULL;
	}
	return good ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static pd_status may_write(const struct files *f, bool force, pd_error *err)
{
	pd_status st = out_check(f->about, force, NULL, 0, err);

	for (unsigned k = 0; st == PD_OK && k < f->n; k++)
		st = out_check(f->path[k], force, NULL, 0, err);
	return st;
}

static pd_status write_table(const pd_doc *doc, unsigned number,
                             const char *path, bool force, pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = pd_doc_write_csv(doc, number, &text, err);

	if (st == PD_OK)
		st = out_write(path, force, pd_buf_text(&text), text.length,
		               err);
	pd_buf_clear(&text);
	return st;
}

static pd_status write_about(const pd_doc *doc, unsigned number,
                             const struct files *f, bool force, pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = pd_doc_write_csv_about(doc, number, f->name, &text, err);

	if (st == PD_OK)
		st = out_write(f->about, force, pd_buf_text(&text), text.length,
		               err);
	pd_buf_clear(&text);
	return st;
}

pd_status show_csv(const pd_doc *doc, unsigned number, const char *path,
                   bool force, pd_error *err)
{
	struct files f = { 0 };

	/* An answer in words alone is an answer: nothing to write, said so. */
	if (!number && !pd_doc_tables(doc)) {
		say_error("the result has no table: nothing is written as CSV");
		return PD_OK;
	}
	if (!path || strcmp(path, "-") == 0)
		return write_table(doc, number ? number : 1, path, force, err);
	pd_status st = name_files(&f, doc, number, path, err);

	if (st == PD_OK)
		st = may_write(&f, force, err);
	for (unsigned k = 0; st == PD_OK && k < f.n; k++)
		st = write_table(doc, number ? number : k + 1, f.path[k], force,
		                 err);
	if (st == PD_OK)
		st = write_about(doc, number, &f, force, err);
	pd_arena_free(f.arena);
	return st;
}
