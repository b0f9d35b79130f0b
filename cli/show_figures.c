/* show_figures.c - made in memory, then written together; see
 * show_figures.h. */
#include "show_figures.h"
#include "out.h"
#include "running.h"
#include "say.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct files {
	pd_arena *arena;
	const char *folder; /* with its slash                                 */
	const char *name;   /* its last name with a slash, or ""              */
	size_t n;
	struct out_file *file;
	pd_buf *text;
};

/* May the folder be made, by what the one it shall lie in allows? */
static pd_status check_parent(const char *folder, pd_error *err)
{
	size_t n = strlen(folder);
	pd_status st = PD_OK;

	while (n && folder[n - 1] == '/')
		n--;
	while (n && folder[n - 1] != '/')
		n--;
	char *parent = n ? strndup(folder, n) : strdup(".");

	if (!parent)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (access(parent, W_OK | X_OK) != 0)
		st = pd_fail(err, PD_CANNOT_CREATE,
		             "cannot create folder '%s': %s", folder,
		             strerror(errno));
	free(parent);
	return st;
}

/* An input that lies in the folder under the name of an output. */
static pd_status check_inputs(const char *folder, const char *const *keep,
                              size_t n, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		char *path = NULL;

		if (!keep[i] || !pd_picture_name(name_of_path(keep[i])))
			continue;
		if (asprintf(&path, "%s/%s", folder,
		             name_of_path(keep[i])) < 0)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
		if (out_same_file(path, keep[i]))
			st = pd_fail(err, PD_CANNOT_CREATE,
			             "'%s' is an input of this command, give "
			             "the figures another folder", path);
		free(path);
	}
	return st;
}

pd_status show_figures_check(const char *folder, const char *const *keep,
                             size_t n, pd_error *err)
{
	struct stat at;
	pd_status st = pd_picture_ready(err);

	if (st != PD_OK || running_now()->recomputed)
		return st;
	if (!*folder)
		return pd_fail(err, PD_USAGE,
		               "option '--figures' wants a folder, found ''");
	if (stat(folder, &at) != 0)
		return errno == ENOENT
		           ? check_parent(folder, err)
		           : pd_fail(err, PD_CANNOT_CREATE,
		                     "cannot write to folder '%s': %s", folder,
		                     strerror(errno));
	if (!S_ISDIR(at.st_mode))
		return pd_fail(err, PD_CANNOT_CREATE,
		               "'%s' is there and is not a folder", folder);
	if (access(folder, W_OK | X_OK) != 0)
		return pd_fail(err, PD_CANNOT_CREATE,
		               "cannot write to folder '%s': %s", folder,
		               strerror(errno));
	return check_inputs(folder, keep, n, err);
}

/* Room for one file more; its text is still to be made. */
static pd_buf *add_file(struct files *f, const char *name)
{
	struct out_file *to = &f->file[f->n];

	to->path = pd_arena_print(f->arena, "%s%s", f->folder, name);
	to->noted = pd_arena_print(f->arena, "%s%s", f->name, name);
	return to->path && to->noted ? &f->text[f->n++] : NULL;
}

/* Where all are to lie, and room for the most there can be. */
static pd_status begin(struct files *f, const char *folder, size_t most,
                       pd_error *err)
{
	char name[300];
	size_t length = strlen(folder);
	bool good = name_of_folder(folder, name, sizeof name);

	f->arena = pd_arena_new();
	if (f->arena) {
		f->file = PD_NEW(f->arena, struct out_file, most);
		f->text = PD_NEW(f->arena, pd_buf, most);
		f->folder = pd_arena_print(
		    f->arena, "%s%s", folder,
		    folder[length - 1] == '/' ? "" : "/");
		f->name = good ? pd_arena_print(f->arena, "%s%s", name,
		                                *name ? "/" : "")
		               : NULL;
	}
	if (!good)
		return pd_fail(err, PD_USAGE, "the name of the folder for "
		               "figures is too long");
	if (!f->arena || !f->file || !f->text || !f->folder || !f->name)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	for (size_t i = 0; i < most; i++)
		pd_buf_init(&f->text[i]);
	return PD_OK;
}

static pd_status make(struct files *f, const pd_doc *doc, pd_error *err)
{
	size_t n = (size_t)pd_doc_figures(doc) * PD_PICTURE_FILES;
	pd_status st = PD_OK;
	pd_picture p;

	for (size_t i = 0; st == PD_OK && i < n; i++) {
		bool made = pd_doc_picture(doc, i, &p);
		pd_buf *to = made ? add_file(f, p.name) : NULL;

		if (to)
			st = pd_doc_write_picture(doc, &p, to, err);
		else if (made)
			st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	if (st != PD_OK)
		return st;
	pd_buf *to = add_file(f, PD_PICTURE_LIST);

	return to ? pd_doc_write_picture_list(doc, to, err)
	          : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

static pd_status put(struct files *f, const char *folder, bool force,
                     pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < f->n; i++) {
		f->file[i].text = pd_buf_text(&f->text[i]);
		f->file[i].length = f->text[i].length;
		st = out_check(f->file[i].path, force, NULL, 0, err);
	}
	return st == PD_OK ? out_write_set(f->file, f->n, folder, force, err)
	                   : st;
}

pd_status show_figures(const pd_doc *doc, const char *folder, bool force,
                       pd_error *err)
{
	struct files f = { 0 };

	if (!pd_doc_figures(doc)) {
		say_error("the result has no figure: nothing is written to "
		          "'%s'", folder);
		return PD_OK;
	}
	size_t most = (size_t)pd_doc_figures(doc) * PD_PICTURE_FILES + 1;
	pd_status st = begin(&f, folder, most, err);

	if (st == PD_OK)
		st = make(&f, doc, err);
	pd_picture_release();
	if (st == PD_OK)
		st = put(&f, folder, force, err);
	for (size_t i = 0; f.text && i < most; i++)
		pd_buf_clear(&f.text[i]);
	pd_arena_free(f.arena);
	return st;
}
