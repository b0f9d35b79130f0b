/* report_read.c - see report_read.h. */
#include "report_read.h"
#include "report/compose.h"
#include "report_sample.h"

#include <check.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static void *need(void *p)
{
	if (!p) {
		fputs("report_read: out of memory\n", stderr);
		abort();
	}
	return p;
}

static void push(char ***list, size_t *n, size_t *room, const char *text,
                 size_t length)
{
	if (*n == *room) {
		*room = *room ? 2 * *room : 256;
		*list = need(realloc(*list, *room * sizeof **list));
	}
	char *copy = need(malloc(length + 1));

	memcpy(copy, text, length);
	copy[length] = '\0';
	(*list)[(*n)++] = copy;
}

static void drop(char **list, size_t n)
{
	for (size_t i = 0; i < n; i++)
		free(list[i]);
	free(list);
}

static int by_bytes(const void *a, const void *b)
{
	return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool is_edge(char c)
{
	return strchr(".,:;!?()\"'-", c) != NULL;
}

static bool is_word(const char *text, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if ((text[i] >= '0' && text[i] <= '9') ||
		    (text[i] >= 'a' && text[i] <= 'z') ||
		    (text[i] >= 'A' && text[i] <= 'Z'))
			return true;
	return false;
}

static void add_words(struct words *w, const char *text, size_t length)
{
	const char *end = text + length;

	while (text < end) {
		const char *stop = text;

		while (stop < end && *stop != ' ' && *stop != '\n')
			stop++;
		const char *from = text, *to = stop;

		while (from < to && is_edge(*from))
			from++;
		while (to > from && is_edge(to[-1]))
			to--;
		if (is_word(from, (size_t)(to - from)))
			push(&w->word, &w->n, &w->room, from,
			     (size_t)(to - from));
		text = stop + 1;
	}
}

void words_of_text(const char *text, struct words *w)
{
	static const char *const frame[] = { "\xe2\x94\x8c", "\xe2\x94\x82",
		                             "\xe2\x94\x94" };

	memset(w, 0, sizeof *w);
	while (*text) {
		size_t n = strcspn(text, "\n");
		bool framed = false;

		for (size_t i = 0; i < 3; i++)
			framed = framed || strncmp(text, frame[i], 3) == 0;
		if (!framed)
			add_words(w, text, n);
		text += n + (text[n] == '\n');
	}
	qsort(w->word, w->n, sizeof *w->word, by_bytes);
}

/* The character a reference at `p` stands for; *length its bytes. */
static char reference(const char *p, size_t *length)
{
	static const struct {
		const char *name;
		char c;
	} known[] = { { "&amp;", '&' },
		      { "&lt;", '<' },
		      { "&gt;", '>' },
		      { "&quot;", '"' },
		      { "&#39;", '\'' } };

	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		*length = strlen(known[i].name);
		if (strncmp(p, known[i].name, *length) == 0)
			return known[i].c;
	}
	*length = 1;
	return *p;
}

/* Does the tag at `p` (after '<') open or close the element `name`? */
static bool is_tag(const char *p, const char *name)
{
	size_t n = strlen(name);

	return strncmp(p, name, n) == 0 && strchr(" >\n", p[n]);
}

void words_of_html(const char *html, struct words *w)
{
	const char *p = strstr(html, "<header>");
	pd_buf text;

	memset(w, 0, sizeof *w);
	pd_buf_init(&text);
	while (p && *p) {
		if (*p == '<') {
			const char *past = is_tag(p + 1, "svg")   ? "</svg>"
			                   : is_tag(p + 1, "nav") ? "</nav>"
			                                          : ">";
			const char *end = strstr(p, past);

			pd_buf_char(&text, ' ');
			p = end ? end + strlen(past) : NULL;
		} else {
			size_t n;

			pd_buf_char(&text, reference(p, &n));
			p += n;
		}
	}
	add_words(w, pd_buf_text(&text), text.length);
	pd_buf_clear(&text);
	qsort(w->word, w->n, sizeof *w->word, by_bytes);
}

bool words_hold(const struct words *w, const char *word)
{
	return bsearch(&word, w->word, w->n, sizeof *w->word, by_bytes) != NULL;
}

void words_clear(struct words *w)
{
	drop(w->word, w->n);
	memset(w, 0, sizeof *w);
}

/* ---- tags ---------------------------------------------------------------- */

struct reader {
	struct tags *t;
	char **open, **id, **target;
	size_t n_open, open_room, n_id, id_room, n_target, target_room;
	int level;
};

static void complain(struct reader *r, const char *what, const char *about)
{
	if (!*r->t->trouble)
		snprintf(r->t->trouble, sizeof r->t->trouble, "%s: %s", what,
		         about);
}

static bool is_void(const char *name)
{
	return strcmp(name, "meta") == 0 || strcmp(name, "br") == 0;
}

/* The value of attribute `name` in the tag text [p, end), or NULL. */
static const char *attribute(const char *p, const char *end, const char *name,
                             size_t *length)
{
	char key[40];

	snprintf(key, sizeof key, " %s=\"", name);
	const char *at = strstr(p, key);

	if (!at || at > end)
		return NULL;
	at += strlen(key);
	*length = strcspn(at, "\"");
	return at;
}

static void note_ids(struct reader *r, const char *p, const char *end)
{
	size_t n;
	const char *v = attribute(p, end, "id", &n);

	if (v) {
		push(&r->id, &r->n_id, &r->id_room, v, n);
		for (size_t i = 0; i + 1 < r->n_id; i++)
			if (strcmp(r->id[i], r->id[r->n_id - 1]) == 0)
				complain(r, "id used twice", r->id[i]);
	}
	v = attribute(p, end, "href", &n);
	if (v && *v != '#')
		complain(r, "link that leaves the page", v);
	else if (v)
		push(&r->target, &r->n_target, &r->target_room, v + 1, n - 1);
	v = attribute(p, end, "aria-labelledby", &n);
	while (v && n) {
		size_t one = strcspn(v, " \"");

		push(&r->target, &r->n_target, &r->target_room, v, one);
		n -= one < n ? one + 1 : n;
		v += one + 1;
	}
}

static void note_heading(struct reader *r, const char *name)
{
	if (name[0] != 'h' || name[1] < '1' || name[1] > '6' || name[2])
		return;
	int level = name[1] - '0';

	if (level > r->level + 1)
		complain(r, "heading skips a level", name);
	r->level = level;
}

static void opening(struct reader *r, const char *p, const char *end)
{
	size_t n = strcspn(p, " />\n");

	push(&r->t->name, &r->t->n, &r->t->room, p, n);
	const char *name = r->t->name[r->t->n - 1];

	note_ids(r, p, end);
	note_heading(r, name);
	if (end[-1] != '/' && !is_void(name))
		push(&r->open, &r->n_open, &r->open_room, p, n);
}

static void closing(struct reader *r, const char *p)
{
	size_t n = strcspn(p, ">");

	if (!r->n_open || strlen(r->open[r->n_open - 1]) != n ||
	    strncmp(r->open[r->n_open - 1], p, n) != 0) {
		complain(r, "closed out of order",
		         r->n_open ? r->open[r->n_open - 1] : "nothing");
		return;
	}
	free(r->open[--r->n_open]);
}

static void check_targets(struct reader *r)
{
	for (size_t i = 0; i < r->n_target; i++) {
		bool found = false;

		for (size_t j = 0; j < r->n_id; j++)
			found = found || strcmp(r->target[i], r->id[j]) == 0;
		if (!found)
			complain(r, "reference to no id", r->target[i]);
	}
	if (r->n_open)
		complain(r, "never closed", r->open[0]);
}

void tags_read(const char *html, struct tags *t)
{
	struct reader r = { .t = t };
	const char *p = strstr(html, "<html");

	memset(t, 0, sizeof *t);
	while (p && (p = strchr(p, '<'))) {
		const char *end = strchr(p, '>');

		if (!end) {
			complain(&r, "tag without end", p);
			break;
		}
		if (p[1] == '/')
			closing(&r, p + 2);
		else
			opening(&r, p + 1, end);
		/* A style sheet holds '>' of its own. */
		p = is_tag(p + 1, "style") ? strstr(p, "</style") : end;
	}
	check_targets(&r);
	drop(r.open, r.n_open);
	drop(r.id, r.n_id);
	drop(r.target, r.n_target);
}

size_t tags_count(const struct tags *t, const char *name)
{
	size_t n = 0;

	for (size_t i = 0; i < t->n; i++)
		n += strcmp(t->name[i], name) == 0;
	return n;
}

void tags_clear(struct tags *t)
{
	drop(t->name, t->n);
	memset(t, 0, sizeof *t);
}

/* ---- files -----------------------------------------------------------------
 */

bool file_read(const char *path, pd_buf *out)
{
	FILE *f = fopen(path, "rb");
	char piece[4096];
	size_t n;

	if (!f)
		return false;
	while ((n = fread(piece, 1, sizeof piece, f)) > 0)
		pd_buf_add_n(out, piece, n);
	bool good = !ferror(f);

	fclose(f);
	return good;
}

void file_write(const char *path, const pd_buf *b)
{
	FILE *f = fopen(path, "wb");

	if (!f || fwrite(pd_buf_text(b), 1, b->length, f) != b->length ||
	    fclose(f)) {
		fprintf(stderr, "report_read: cannot write %s\n", path);
		abort();
	}
}

size_t first_difference(const char *a, const char *b)
{
	size_t line = 1;

	for (; *a && *a == *b; a++, b++)
		line += *a == '\n';
	return *a == *b ? 0 : line;
}

/* ---- reports of the sample ------------------------------------------- */

void report_open(struct report *r)
{
	r->arena = pd_arena_new();
	r->review = sample_review(r->arena);
	r->doc = NULL;
}

void report_compose(struct report *r)
{
	pd_error err = { 0 };

	pd_doc_free(r->doc);
	ck_assert_int_eq(pd_compose_review(r->review, &r->doc, &err), PD_OK);
}

void report_close(struct report *r)
{
	pd_doc_free(r->doc);
	pd_arena_free(r->arena);
}

void report_write(const pd_doc *d, unsigned width, pd_buf *out)
{
	pd_text_style style = { width, false, false };
	pd_error err = { 0 };

	pd_buf_init(out);
	if (width)
		ck_assert_int_eq(pd_doc_write_text(d, &style, out, &err),
		                 PD_OK);
	else
		ck_assert_int_eq(pd_doc_write_html(d, out, &err), PD_OK);
}

static void replace_list(const char **list, size_t n, const char *text)
{
	for (size_t i = 0; i < n; i++)
		list[i] = text;
}

static void replace_answer(pd_answer *a, const char *text)
{
	const char **const field[] = { &a->name,          &a->title,
		                       &a->outcome_words, &a->judge_words,
		                       &a->unit,          &a->parameter_words,
		                       &a->method,        &a->adjusters,
		                       &a->declared };

	for (size_t i = 0; i < COUNT(field); i++)
		*field[i] = text;
	if (a->refusal)
		a->refusal = text;
	for (size_t i = 0; i < a->n_effects; i++) {
		a->effect[i].label = a->effect[i].sentence = text;
		a->effect[i].first = text;
		if (a->effect[i].second)
			a->effect[i].second = text;
	}
	for (size_t i = 0; i < a->n_levels; i++)
		a->levels[i].name = text;
	for (size_t i = 0; i < a->n_flow; i++)
		a->flow[i].step = text;
	for (size_t i = 0; i < a->n_sensitivity; i++)
		a->sensitivity[i].name = a->sensitivity[i].note = text;
	replace_list(a->refused, a->n_refused, text);
	replace_list(a->diagnostics, a->n_diagnostics, text);
	replace_list(a->cautions, a->n_cautions, text);
	replace_list(a->component_name, a->n_components, text);
}

void report_replace(pd_review *r, const char *text)
{
	const char **const field[] = { &r->title,       &r->plan_name,
		                       &r->plan_sha256, &r->audit_head,
		                       &r->date,        &r->first_case,
		                       &r->last_case,   &r->version,
		                       &r->multiplicity };

	for (size_t i = 0; i < COUNT(field); i++)
		*field[i] = text;
	replace_list(r->source, r->n_sources, text);
	replace_list(r->cautions, r->n_cautions, text);
	for (size_t i = 0; i < r->n_trends; i++)
		r->trend[i].quarter = r->trend[i].note = text;
	for (size_t i = 0; i < r->n_answers; i++)
		replace_answer(&r->answer[i], text);
}
