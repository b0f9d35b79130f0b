/*
 * report_read.h - makes reports of the sample and reads them back, for the
 * tests: the words of a text and of a page, the tags of a page. Small on
 * purpose: it knows the output of this program, not HTML at large.
 */
#ifndef PERDRAW_TESTS_REPORT_READ_H
#define PERDRAW_TESTS_REPORT_READ_H

#include "base/answer.h"
#include "base/buf.h"
#include "report/doc.h"
#include <stdbool.h>
#include <stddef.h>

/* The sample, and its document once composed. */
struct report {
	pd_arena *arena;
	pd_review *review;
	pd_doc *doc;
};
void report_open(struct report *r);
void report_compose(struct report *r);
void report_close(struct report *r);
/* Every word of the review replaced by `text`, numbers kept. */
void report_replace(pd_review *r, const char *text);
/* As text, or as HTML (width 0), into *out; the caller clears it. */
void report_write(const pd_doc *d, unsigned width, pd_buf *out);

/* Words in byte order, each as often as it stands there. A word is what
 * blanks part, without the punctuation at its ends; one that is punctuation
 * and signs only does not count. */
struct words {
	size_t n, room;
	char **word;
};
/* Without the framed character pictures. */
void words_of_text(const char *text, struct words *w);
/* Of header, main and footer, without drawings and the list of links. */
void words_of_html(const char *html, struct words *w);
bool words_hold(const struct words *w, const char *word);
void words_clear(struct words *w);

/* All opening tags, in order; `trouble` names the first thing unsound: a tag
 * closed out of order, an id used twice, a reference to no id, a heading that
 * skips a level. */
struct tags {
	size_t n, room;
	char **name;
	char trouble[256];
};
void tags_read(const char *html, struct tags *t);
size_t tags_count(const struct tags *t, const char *name);
void tags_clear(struct tags *t);

bool file_read(const char *path, pd_buf *out);
void file_write(const char *path, const pd_buf *b);
/* The first line, from 1, in which the two differ; 0 when they do not. */
size_t first_difference(const char *a, const char *b);

#endif
