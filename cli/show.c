/*
 * show.c - one document, several forms, several places.
 */
#include "show.h"
#include "apart.h"
#include "manifest.h"
#include "out.h"
#include "show_csv.h"
#include "show_figures.h"
#include "tsv.h"

#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

/* A further file of every form but the first. */
struct place {
	int form;
	const char *path;
};

enum { N_PLACES = 7 };

static void list_places(const struct show *s, struct place p[N_PLACES])
{
	p[0] = (struct place){ SHOW_TEXT, s->text };
	p[1] = (struct place){ SHOW_HTML, s->html };
	p[2] = (struct place){ SHOW_CSV, s->csv };
	p[3] = (struct place){ SHOW_LATEX, s->latex };
	p[4] = (struct place){ SHOW_XLSX, s->xlsx };
	p[5] = (struct place){ SHOW_JSON, s->json };
	p[6] = (struct place){ SHOW_TSV, s->tsv };
}

enum { NARROWEST = 40, WIDEST = 200, USUAL = 80 };

/* --table belongs to the forms that can be one table. */
static bool takes_table(const struct show *s)
{
	return s->csv || s->latex || s->format == SHOW_CSV ||
	       s->format == SHOW_LATEX;
}

static pd_status check_manifest(const struct show *s, const char *const *keep,
                                size_t n, pd_error *err)
{
	struct place p[N_PLACES + 1];

	if (!s->manifest)
		return PD_OK;
	list_places(s, p);
	p[N_PLACES] = (struct place){ s->format, s->out };
	for (size_t i = 0; i <= N_PLACES; i++) {
		const char *a = p[i].path ? name_of_path(p[i].path) : NULL;

		if (a && strcmp(a, name_of_path(s->manifest)) == 0)
			return pd_fail(err, PD_USAGE,
			               "'%s' is named for two outputs", a);
		for (size_t k = i + 1; a && k <= N_PLACES; k++)
			if (p[k].path && strcmp(a, name_of_path(p[k].path)) == 0)
				return pd_fail(err, PD_USAGE,
				               "a manifest wants outputs of "
				               "different names, found '%s' "
				               "twice", a);
	}
	return out_check(s->manifest, s->force, keep, n, err);
}

static pd_status check_places(const struct show *s, const char *const *keep,
                              size_t n, pd_error *err)
{
	struct place p[N_PLACES + 1];
	pd_status st = PD_OK;

	list_places(s, p);
	p[N_PLACES] = (struct place){ s->format, s->out };
	for (size_t i = 0; i <= N_PLACES; i++)
		for (size_t k = i + 1; k <= N_PLACES; k++)
			if (p[i].path && p[k].path &&
			    strcmp(p[i].path, p[k].path) == 0)
				return pd_fail(err, PD_USAGE,
				               "'%s' is named for two outputs",
				               p[i].path);
	for (size_t i = 0; st == PD_OK && i <= N_PLACES; i++)
		if (p[i].form != SHOW_CSV || s->table)
			st = out_check(p[i].path, s->force, keep, n, err);
		else if (p[i].path)
			st = show_csv_check(p[i].path, keep, n, err);
	return st;
}

pd_status show_check(const struct show *s, const char *const *keep, size_t n,
                     pd_error *err)
{
	if (s->first_page && s->format > SHOW_TEXT)
		return pd_fail(err, PD_USAGE,
		               "'--first-page' goes with the text form only");
	if (s->width && (s->width < NARROWEST || s->width > WIDEST))
		return pd_fail(err, PD_USAGE,
		               "option '--width' wants %d to %d, found '%u'",
		               NARROWEST, WIDEST, s->width);
	if (s->table && !takes_table(s))
		return pd_fail(err, PD_USAGE,
		               "'--table' goes with the CSV and LaTeX forms only");
	if (s->format == SHOW_XLSX && isatty(STDOUT_FILENO) &&
	    (!s->out || strcmp(s->out, "-") == 0))
		return pd_fail(err, PD_USAGE,
		               "a workbook is not for a terminal: name a file "
		               "with '--out'");
	pd_status st = check_places(s, keep, n, err);

	if (st == PD_OK && s->figures)
		st = show_figures_check(s->figures, keep, n, err);
	return st == PD_OK ? check_manifest(s, keep, n, err) : st;
}

/* Width and emphasis of standard output: those of the terminal, if any. */
static void fit_terminal(pd_text_style *style)
{
	const char *columns = getenv("COLUMNS"), *term = getenv("TERM");
	const char *no_color = getenv("NO_COLOR");
	struct winsize size;
	long width = 0;

	if (!isatty(STDOUT_FILENO) || running_now()->recomputed)
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

static pd_status workbook(const void *doc, pd_buf *to, pd_error *err)
{
	return pd_doc_write_xlsx(doc, to, err);
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
	} else if (form == SHOW_LATEX) {
		st = pd_doc_write_latex(doc, s->table, to, err);
	} else if (form == SHOW_XLSX) {
		/* its library does not survive a lack of memory */
		st = apart(workbook, doc, to, err);
	} else if (form == SHOW_JSON) {
		st = pd_doc_write_json(doc, review, to, err);
	} else if (form == SHOW_HTML) {
		st = pd_doc_write_html(doc, to, err);
	} else {
		style.first_page = main_result && s->first_page;
		if (main_result && !path && !s->manifest)
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

	if (form == SHOW_CSV)
		return show_csv(doc, s->table, path, s->force, err);
	pd_buf_init(&text);
	pd_status st = make(s, doc, review, form, path, main_result, &text,
	                    err);

	if (st == PD_OK)
		st = out_write(path, s->force, pd_buf_text(&text), text.length,
		               err);
	pd_buf_clear(&text);
	return st;
}

static pd_status put_manifest(const struct show *s, const pd_review *review,
                              pd_error *err)
{
	pd_buf text;

	if (!s->manifest)
		return PD_OK;
	pd_buf_init(&text);
	pd_status st = manifest_make(s, review, &text, err);

	if (st == PD_OK)
		st = out_write(s->manifest, s->force, pd_buf_text(&text),
		               text.length, err);
	pd_buf_clear(&text);
	return st;
}

pd_status show_write(const struct show *s, const pd_doc *doc,
                     const pd_review *review, pd_error *err)
{
	struct place p[N_PLACES];
	bool named = s->figures != NULL;
	pd_status st = PD_OK;

	list_places(s, p);
	for (size_t i = 0; i < N_PLACES; i++) {
		named = named || p[i].path;
		if (st == PD_OK && p[i].path)
			st = put(s, doc, review, p[i].form, p[i].path, false,
			         err);
	}
	if (st == PD_OK && s->figures)
		st = show_figures(doc, s->figures, s->force, err);
	if (st == PD_OK && (s->out || s->format || s->first_page || !named))
		st = put(s, doc, review, s->format ? s->format : SHOW_TEXT,
		         s->out, true, err);
	return st == PD_OK ? put_manifest(s, review, err) : st;
}
