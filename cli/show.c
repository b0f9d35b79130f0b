/*
 * show.c - one document, several forms, several places.
 */
#include "show.h"
#include "out.h"
#include "tsv.h"

#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { NARROWEST = 40, WIDEST = 200, USUAL = 80 };

pd_status show_check(const struct show *s, const char *const *keep, size_t n,
                     pd_error *err)
{
	const char *const places[] = { s->out, s->text, s->html, s->tsv };
	size_t n_places = sizeof places / sizeof *places;
	pd_status st = PD_OK;

	if (s->first_page && s->format > SHOW_TEXT)
		return pd_fail(err, PD_USAGE,
		               "'--first-page' goes with the text form only");
	if (s->width && (s->width < NARROWEST || s->width > WIDEST))
		return pd_fail(err, PD_USAGE,
		               "option '--width' wants %d to %d, found '%u'",
		               NARROWEST, WIDEST, s->width);
	for (size_t i = 0; i < n_places; i++)
		for (size_t k = i + 1; k < n_places; k++)
			if (places[i] && places[k] &&
			    strcmp(places[i], places[k]) == 0)
				return pd_fail(err, PD_USAGE,
				               "'%s' is named for two outputs",
				               places[i]);
	for (size_t i = 0; st == PD_OK && i < n_places; i++)
		st = out_check(places[i], s->force, keep, n, err);
	return st;
}

/* Width and emphasis of standard output: those of the terminal, if any. */
static void fit_terminal(pd_text_style *style)
{
	const char *columns = getenv("COLUMNS"), *term = getenv("TERM");
	const char *no_color = getenv("NO_COLOR");
	struct winsize size;
	long width = 0;

	if (!isatty(STDOUT_FILENO))
		return;
	style->colour = !(no_color && *no_color) && term &&
	                strcmp(term, "dumb") != 0;
	if (style->width)
		return;
	if (columns)
		width = strtol(columns, NULL, 10);
	if (width <= 0 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0)
		width = size.ws_col;
	if (width > 0)
		style->width = width < NARROWEST ? NARROWEST
		               : width > WIDEST  ? WIDEST
		                                 : (unsigned)width;
}

static pd_status make(const struct show *s, const pd_doc *doc,
                      const pd_review *review, int form, const char *path,
                      bool main_result, pd_buf *to, pd_error *err)
{
	pd_text_style style = { .width = s->width };
	pd_status st = PD_OK;

	if (form == SHOW_TSV && review) {
		tsv_write(review, to);
	} else if (form == SHOW_TSV) {
		st = pd_doc_write_tsv(doc, to, err);
	} else if (form == SHOW_HTML) {
		st = pd_doc_write_html(doc, to, err);
	} else {
		style.first_page = main_result && s->first_page;
		if (main_result && !path)
			fit_terminal(&style);
		if (!style.width)
			style.width = USUAL;
		st = pd_doc_write_text(doc, &style, to, err);
	}
	if (st == PD_OK && !pd_buf_ok(to))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	return st;
}

static pd_status put(const struct show *s, const pd_doc *doc,
                     const pd_review *review, int form, const char *path,
                     bool main_result, pd_error *err)
{
	pd_buf text;

	pd_buf_init(&text);
	pd_status st = make(s, doc, review, form, path, main_result, &text,
	                    err);

	if (st == PD_OK)
		st = out_write(path, s->force, pd_buf_text(&text), text.length,
		               err);
	pd_buf_clear(&text);
	return st;
}

pd_status show_write(const struct show *s, const pd_doc *doc,
                     const pd_review *review, pd_error *err)
{
	const struct {
		int form;
		const char *path;
	} further[] = { { SHOW_TEXT, s->text },
		        { SHOW_HTML, s->html },
		        { SHOW_TSV, s->tsv } };
	bool named = s->text || s->html || s->tsv;
	bool main_result = s->out || s->format || s->first_page || !named;
	pd_status st = PD_OK;

	for (size_t i = 0; i < 3; i++)
		if (st == PD_OK && further[i].path)
			st = put(s, doc, review, further[i].form,
			         further[i].path, false, err);
	if (st == PD_OK && main_result)
		st = put(s, doc, review, s->format ? s->format : SHOW_TEXT,
		         s->out, true, err);
	return st;
}
