/*
 * manifest.h - what a set of outputs was made from, in a file beside them
 * (docs/manifest.md): made when a command ends, read by `perdraw verify`.
 *
 * Lines of fields parted by tabs, in a fixed order, the last with the SHA-256
 * of those above. In a field a tab is \t, a line end \n, a backslash \\, any
 * other control code \xHH.
 */
#ifndef PERDRAW_CLI_MANIFEST_H
#define PERDRAW_CLI_MANIFEST_H

#include "running.h"
#include "show.h"

/*
 * The manifest of the run noted in running.h, appended to *to. s lies inside
 * the command's options. review: its plan, seed and row flow, or NULL.
 */
pd_status manifest_make(const struct show *s, const pd_review *review,
                        pd_buf *to, pd_error *err);

/*
 * One for others: no database, no files it was loaded from, and of the options
 * only those named in choices (NULL-ended); the outputs noted so far. `verify`
 * holds the files against it and recomputes nothing.
 */
pd_status manifest_make_open(const char *const *choices, pd_buf *to,
                             pd_error *err);

enum { MANIFEST_FIELDS = 8 };

/* One line: its kind is field[0]; the first n_key fields tell it from the
 * others; those from n_key + n_free on are compared. */
struct manifest_line {
	size_t n, n_key, n_free;
	const char *field[MANIFEST_FIELDS];
};

struct manifest {
	size_t n;
	struct manifest_line *line;
};

/*
 * Read a manifest's text, strictly: PD_DATA with the line where it is not
 * one, was cut or was changed. Everything lives in the arena.
 */
pd_status manifest_parse(const char *text, size_t length, const char *name,
                         pd_arena *arena, struct manifest *out, pd_error *err);
/* The line with these first fields (second NULL: any), or NULL. */
const struct manifest_line *manifest_find(const struct manifest *m,
                                          const char *kind,
                                          const char *second);
/* The line of `in` that has the key of `line`, or NULL. */
const struct manifest_line *manifest_match(const struct manifest *in,
                                           const struct manifest_line *line);

#endif
