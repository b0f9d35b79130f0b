/*
 * keyfile.h - files of sections and keys, as plans and claims are: lines
 * `[section]` and `key = value`, blank lines, comments from '#' at the line's
 * start or after a blank. What a section or a key means is the caller's.
 */
#ifndef PERDRAW_PLAN_KEYFILE_H
#define PERDRAW_PLAN_KEYFILE_H

#include "plan/question.h"

/* A line `[section]`: text[n] with both brackets as written (the last may be
 * missing); offset: of the line in the file. */
typedef struct pd_keyfile_section {
	const char *text;
	size_t n, offset, line, column;
} pd_keyfile_section;

typedef struct pd_keyfile {
	/* The caller's. */
	pd_arena *arena;
	const char *name;          /* of the file, for messages                */
	void *user;
	pd_status (*section)(void *user, const pd_keyfile_section *s,
	                     pd_error *err);
	pd_status (*entry)(void *user, const pd_plan_entry *e, pd_error *err);
	/* Filled by pd_keyfile_parse, in the arena. */
	const char *text;          /* a copy of the file                       */
	const char *sha256;        /* of its bytes, in hex                     */
	size_t n_lines;            /* the number of the line after the last    */
} pd_keyfile;

/*
 * Calls section and entry for each line of text[size], in order, until one
 * fails. PD_PLAN with the place: a control character, a line that is neither,
 * an entry before the first section, a key twice in a section.
 */
pd_status pd_keyfile_parse(pd_keyfile *f, const char *text, size_t size,
                           pd_error *err);

/* Known names written as "a, b or c", into buf[size]. */
const char *pd_keyfile_names(const char *const *name, size_t n, char *buf,
                             size_t size);
/* SHA-256 of text[n] in hex, in the arena; NULL when memory runs out. */
const char *pd_keyfile_sha256(pd_arena *arena, const char *text, size_t n);

#endif
