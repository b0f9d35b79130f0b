/*
 * picture.c - the figures of a document as files of their own: which there
 * are, which of a figure's scenes goes into each, and the list beside them.
 * How they are drawn is svg.c's and page_figure.c's.
 */
#include "report/block.h"
#include "report/clean.h"
#include "report/number.h"
#include "report/out_text.h"
#include "report/page_figure.h"
#include "report/svg.h"

#include <stdio.h>
#include <string.h>

/* How far below PD_PAGE_TEXT_PT text may be raised from: its room is reckoned
 * at its own height. */
#define LEAST_PT (0.9 * PD_PAGE_TEXT_PT)

enum { WHOLE_PAGE = 120 }; /* mm; a column is narrower */

/* The files of one figure, in their order. */
static const struct {
	pd_picture_form form;
	unsigned width_mm;
} files[PD_PICTURE_FILES] = {
	{ PD_PICTURE_SVG, 0 },  { PD_PICTURE_PDF, 85 }, { PD_PICTURE_PDF, 174 },
	{ PD_PICTURE_PNG, 85 }, { PD_PICTURE_PNG, 174 },
};

/* What follows "figure-1" in the name of file k. */
static const char *name_end(size_t k, char to[24])
{
	static const char *const end[] = { "svg", "pdf", "png" };

	if (files[k].width_mm)
		snprintf(to, 24, "-%umm.%s", files[k].width_mm,
		         end[files[k].form]);
	else
		snprintf(to, 24, ".%s", end[files[k].form]);
	return to;
}

unsigned pd_doc_figures(const pd_doc *d)
{
	return d->n_figures;
}

static const pd_figure *figure_at(const pd_doc *d, unsigned number)
{
	for (const pd_block *b = d->first; b; b = b->next)
		if (b->kind == PD_BLOCK_FIGURE && b->figure->number == number)
			return b->figure;
	return NULL;
}

/* A column takes the narrow scene and a page the other, unless only the other
 * of the two can be read at that width; NULL when neither can. */
static const pd_scene *scene_for(const pd_figure *f, unsigned width_mm)
{
	bool column = width_mm && width_mm < WHOLE_PAGE;
	const pd_scene *scene[] = { column ? f->narrow : f->scene,
		                    column ? f->scene : f->narrow };

	if (!width_mm)
		return f->scene;
	for (size_t i = 0; i < 2; i++)
		if (pd_page_fit(scene[i], width_mm).text_pt >= LEAST_PT)
			return scene[i];
	return NULL;
}

static bool is_made(const pd_figure *f, const pd_picture *p)
{
	const pd_scene *s = scene_for(f, p->width_mm);

	return s && (p->form != PD_PICTURE_PNG ||
	             pd_page_fit(s, p->width_mm).height_pt <=
	                 PD_PAGE_MOST_MM / 25.4 * 72);
}

bool pd_doc_picture(const pd_doc *d, size_t i, pd_picture *out)
{
	const pd_figure *f = figure_at(d, (unsigned)(i / PD_PICTURE_FILES) + 1);
	pd_picture p = { .figure = (unsigned)(i / PD_PICTURE_FILES) + 1,
		         .form = files[i % PD_PICTURE_FILES].form,
		         .width_mm = files[i % PD_PICTURE_FILES].width_mm };

	char end[24];

	snprintf(p.name, sizeof p.name, "figure-%u%s", p.figure,
	         name_end(i % PD_PICTURE_FILES, end));
	*out = p;
	return f && is_made(f, &p);
}

bool pd_picture_name(const char *name)
{
	static const char head[] = "figure-";
	size_t n = sizeof head - 1;
	char end[24];

	if (strcmp(name, PD_PICTURE_LIST) == 0)
		return true;
	if (strncmp(name, head, n) != 0)
		return false;
	size_t digits = strspn(name + n, "0123456789");

	for (size_t k = 0; digits && k < PD_PICTURE_FILES; k++)
		if (strcmp(name + n + digits, name_end(k, end)) == 0)
			return true;
	return false;
}

pd_status pd_picture_ready(pd_error *err)
{
	return pd_page_ready(err);
}

void pd_picture_release(void)
{
	pd_page_release();
}

static pd_status write_page(const pd_doc *d, const pd_scene *s,
                            const pd_figure *f, const pd_picture *p,
                            pd_buf *out, pd_error *err)
{
	pd_buf title, words;
	pd_status st = PD_OK;

	pd_buf_init(&title);
	pd_buf_init(&words);
	pd_clean_add(&title, f->title);
	pd_clean_add(&words, f->description);
	const pd_sheet sheet = { .width_mm = p->width_mm,
		                 .title = pd_buf_text(&title),
		                 .description = pd_buf_text(&words),
		                 .date = d->date };

	if (!pd_buf_ok(&title) || !pd_buf_ok(&words))
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	else if (p->form == PD_PICTURE_PDF)
		st = pd_page_pdf(s, &sheet, out, err);
	else
		st = pd_page_png(s, &sheet, out, err);
	pd_buf_clear(&title);
	pd_buf_clear(&words);
	return st;
}

pd_status pd_doc_write_picture(const pd_doc *d, const pd_picture *p,
                               pd_buf *out, pd_error *err)
{
	const pd_figure *f = figure_at(d, p->figure);
	const pd_scene *s = f ? scene_for(f, p->width_mm) : NULL;
	pd_status st = pd_doc_status(d, err);

	if (st != PD_OK)
		return st;
	if (!s)
		return pd_fail(err, PD_USAGE, "the result has no figure %u "
		               "for a width of %u mm", p->figure, p->width_mm);
	if (p->form != PD_PICTURE_SVG)
		return write_page(d, s, f, p, out, err);
	pd_svg_write_file(s, d->language, f->title, f->description, out);
	return pd_buf_ok(out) ? PD_OK
	                      : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* ---- the list ------------------------------------------------------------ */

/* "figure-1-85mm.pdf: 85 mm wide, 97 mm high", or why there is none. */
static void list_file(pd_page *p, const pd_figure *f, const pd_picture *k,
                      bool made)
{
	const pd_scene *s = scene_for(f, k->width_mm);
	pd_buf b;

	pd_buf_init(&b);
	if (!made)
		pd_buf_print(&b, "none %u mm wide as %s: %s", k->width_mm,
		             k->form == PD_PICTURE_PNG ? "PNG" : "PDF",
		             s ? "it would be too high"
		               : "its text would be too small");
	else if (k->width_mm)
		pd_buf_print(&b, "%s: %u mm wide, %.0f mm high", k->name,
		             k->width_mm,
		             pd_page_fit(s, k->width_mm).height_pt / 72 * 25.4);
	else
		pd_buf_print(&b, "%s: to any size", k->name);
	pd_page_wrapped(p, 2, "", PD_NORMAL, pd_buf_text(&b));
	p->failed = p->failed || !pd_buf_ok(&b);
	pd_buf_clear(&b);
}

static void list_figure(pd_page *p, const pd_doc *d, const pd_figure *f)
{
	const pd_table *t = f->table ? pd_doc_table_at(d, f->table) : NULL;
	char head[32];

	snprintf(head, sizeof head, "Figure %u. ", f->number);
	pd_page_blank(p);
	pd_page_wrapped(p, 0, head, PD_NORMAL, f->title);
	pd_page_wrapped(p, 2, "", PD_NORMAL, f->description);
	pd_page_blank(p);
	for (size_t k = 0; k < PD_PICTURE_FILES; k++) {
		pd_picture one;
		bool made = pd_doc_picture(d, (f->number - 1) * PD_PICTURE_FILES + k,
		                           &one);

		list_file(p, f, &one, made);
	}
	pd_page_blank(p);
	if (t)
		pd_page_table(p, t);
}

pd_status pd_doc_write_picture_list(const pd_doc *d, pd_buf *out,
                                    pd_error *err)
{
	pd_page p = { .out = out, .width = 100 };
	pd_status st = pd_doc_status(d, err);

	if (st != PD_OK)
		return st;
	pd_page_wrapped(&p, 0, "", PD_NORMAL, d->title);
	if (d->date)
		pd_page_wrapped(&p, 0, "Read on ", PD_NORMAL, d->date);
	pd_page_wrapped(&p, 0, "", PD_NORMAL,
	                "Text in the PDF and PNG files is at least 7 points "
	                "high. The tables hold the numbers of the figures.");
	for (const pd_block *b = d->first; b; b = b->next)
		if (b->kind == PD_BLOCK_FIGURE)
			list_figure(&p, d, b->figure);
	if (p.failed || !pd_buf_ok(out))
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}
