/*
 * page_figure.c - marks of a scene drawn by cairo, their text set by pango; see
 * page_figure.h. Nothing here is kept between two figures: fonts, settings and
 * surfaces are made and released for each.
 *
 * Compiled empty where PD_PAGE_FIGURES is not defined (configure
 * --without-page-figures).
 */
#include "report/page_figure.h"

#ifndef PD_PAGE_FIGURES

static pd_status absent(pd_error *err)
{
	return pd_fail(err, PD_USAGE,
	               "this perdraw was built without figure files: install "
	               "cairo and pango (Debian: libcairo2-dev, "
	               "libpango1.0-dev), run configure and make again");
}

pd_status pd_page_ready(pd_error *err)
{
	return absent(err);
}

pd_status pd_page_pdf(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err)
{
	(void)s;
	(void)sheet;
	(void)out;
	return absent(err);
}

pd_status pd_page_png(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err)
{
	return pd_page_pdf(s, sheet, out, err);
}

void pd_page_release(void)
{
}

#else

#include "base/version.h"
#include "report/clean.h"
#include "report/ink.h"
#include "report/png_chunk.h"

#include <cairo-pdf.h>
#include <fontconfig/fontconfig.h>
#include <math.h>
#include <pango/pangocairo.h>
#include <pango/pangofc-fontmap.h>
#include <string.h>

#define FONT "DejaVu Sans"

/* One sheet being drawn; lengths in points but for those of the scene. */
struct sheet {
	const pd_scene *scene;
	pd_fit fit;
	FcConfig *fonts;
	PangoFontMap *map;
	PangoContext *context;
	cairo_t *cr;
	pd_buf text; /* one text, clean                                       */
	bool failed; /* memory ran out                                        */
};

/* ---- the font ------------------------------------------------------------ */

/* The plain or the bold face into `fonts`; false where there is none. */
static bool add_face(FcConfig *all, FcConfig *fonts, int weight)
{
	FcPattern *want = FcPatternBuild(
	    NULL, FC_FAMILY, FcTypeString, FONT, FC_WEIGHT, FcTypeInteger,
	    weight, FC_SLANT, FcTypeInteger, FC_SLANT_ROMAN, FC_WIDTH,
	    FcTypeInteger, FC_WIDTH_NORMAL, (char *)NULL);
	FcObjectSet *what = FcObjectSetBuild(FC_FILE, (char *)NULL);
	FcFontSet *found = want && what ? FcFontList(all, want, what) : NULL;
	FcChar8 *file = NULL;
	bool good = found && found->nfont > 0 &&
	            FcPatternGetString(found->fonts[0], FC_FILE, 0, &file) ==
	                FcResultMatch &&
	            FcConfigAppFontAddFile(fonts, file);

	if (found)
		FcFontSetDestroy(found);
	if (what)
		FcObjectSetDestroy(what);
	if (want)
		FcPatternDestroy(want);
	return good;
}

/* A set of fonts that holds the two faces, and no rule of the user's. */
static pd_status find_fonts(FcConfig **out, pd_error *err)
{
	FcConfig *all = FcInitLoadConfigAndFonts();
	FcConfig *fonts = all ? FcConfigCreate() : NULL;
	bool good = fonts && add_face(all, fonts, FC_WEIGHT_REGULAR) &&
	            add_face(all, fonts, FC_WEIGHT_BOLD);

	if (all)
		FcConfigDestroy(all);
	if (!good && fonts)
		FcConfigDestroy(fonts);
	*out = good ? fonts : NULL;
	return good ? PD_OK
	            : pd_fail(err, PD_NO_INPUT,
	                      "figure files need the font " FONT ", which is "
	                      "not installed (Debian: fonts-dejavu-core)");
}

pd_status pd_page_ready(pd_error *err)
{
	FcConfig *fonts;
	pd_status st = find_fonts(&fonts, err);

	if (st == PD_OK)
		FcConfigDestroy(fonts);
	return st;
}

/* Letters as they are, wherever they lie and whatever the screen is like. */
static void plain_letters(PangoContext *context)
{
	cairo_font_options_t *o = cairo_font_options_create();

	cairo_font_options_set_antialias(o, CAIRO_ANTIALIAS_GRAY);
	cairo_font_options_set_hint_style(o, CAIRO_HINT_STYLE_NONE);
	cairo_font_options_set_hint_metrics(o, CAIRO_HINT_METRICS_OFF);
	pango_cairo_context_set_font_options(context, o);
	cairo_font_options_destroy(o);
	pango_context_set_round_glyph_positions(context, FALSE);
	pango_context_set_language(context, pango_language_from_string("en"));
	pango_context_set_base_dir(context, PANGO_DIRECTION_LTR);
}

static pd_status open_sheet(struct sheet *p, const pd_scene *s,
                            const pd_sheet *sheet, pd_error *err)
{
	*p = (struct sheet){ .scene = s,
		             .fit = pd_page_fit(s, sheet->width_mm) };
	pd_buf_init(&p->text);
	pd_status st = find_fonts(&p->fonts, err);

	if (st != PD_OK)
		return st;
	p->map = pango_cairo_font_map_new_for_font_type(CAIRO_FONT_TYPE_FT);
	if (!p->map)
		return pd_fail(err, PD_INTERNAL,
		               "pango was built without FreeType fonts");
	pango_fc_font_map_set_config(PANGO_FC_FONT_MAP(p->map), p->fonts);
	pango_cairo_font_map_set_resolution(PANGO_CAIRO_FONT_MAP(p->map), 72);
	p->context = pango_font_map_create_context(p->map);
	plain_letters(p->context);
	return PD_OK;
}

static void close_sheet(struct sheet *p)
{
	if (p->cr)
		cairo_destroy(p->cr);
	if (p->context)
		g_object_unref(p->context);
	/* A map goes without releasing its set of fonts: that is taken back. */
	if (p->map) {
		pango_fc_font_map_set_config(PANGO_FC_FONT_MAP(p->map), NULL);
		g_object_unref(p->map);
	}
	if (p->fonts)
		FcConfigDestroy(p->fonts);
	pd_buf_clear(&p->text);
}

/* ---- marks --------------------------------------------------------------- */

static double x_at(const struct sheet *p, double x)
{
	return p->fit.left_pt + p->fit.scale * x;
}

static double y_at(const struct sheet *p, double y)
{
	return p->fit.scale * y;
}

static void set_ink(const struct sheet *p, pd_ink ink, double sheer)
{
	pd_colour c = pd_ink_colour(ink, false, true);

	cairo_set_source_rgba(p->cr, c.red, c.green, c.blue, sheer);
}

static void set_line(const struct sheet *p, double width)
{
	cairo_set_line_width(p->cr, fmax(width * p->fit.scale,
	                                 PD_PAGE_LINE_PT));
}

/* Dash and gap, scaled like the line they part. */
static void set_gaps(const struct sheet *p, double on, double off)
{
	const double gaps[] = { on * p->fit.scale, off * p->fit.scale };

	cairo_set_dash(p->cr, gaps, 2, 0);
}

static void trace(const struct sheet *p, const pd_mark *m)
{
	for (size_t i = 0; i < m->n; i++) {
		double x = x_at(p, m->xy[2 * i]), y = y_at(p, m->xy[2 * i + 1]);

		if (i == 0 || m->kind == PD_MARK_DOTS ||
		    (m->kind == PD_MARK_LINES && i % 2 == 0))
			cairo_move_to(p->cr, x, y);
		else
			cairo_line_to(p->cr, x, y);
		if (m->kind == PD_MARK_DOTS)
			cairo_line_to(p->cr, x, y);
	}
	if (m->kind == PD_MARK_AREA)
		cairo_close_path(p->cr);
}

static void draw_area(const struct sheet *p, const pd_mark *m)
{
	trace(p, m);
	set_ink(p, m->hollow ? PD_INK_PAGE : m->ink, pd_mark_sheer(m));
	cairo_fill_preserve(p->cr);
	if (m->hollow) {
		set_ink(p, m->ink, 1);
		set_line(p, m->size);
		cairo_stroke(p->cr);
	} else if (pd_mark_edged(m)) {
		set_ink(p, PD_INK_MUTED, 1);
		set_line(p, PD_EDGE_WIDTH);
		if (pd_mark_edge_dotted(m))
			set_gaps(p, 2, 3);
		cairo_stroke(p->cr);
		cairo_set_dash(p->cr, NULL, 0, 0);
	}
	cairo_new_path(p->cr);
}

/* Each dot is a stroke of its own, so that those below show through. */
static void draw_dots(const struct sheet *p, const pd_mark *m)
{
	double size = fmax(m->size * p->fit.scale, 2 * PD_PAGE_LINE_PT);

	set_ink(p, m->ink, pd_mark_sheer(m));
	for (size_t i = 0; i < m->n; i++) {
		cairo_new_sub_path(p->cr);
		cairo_arc(p->cr, x_at(p, m->xy[2 * i]),
		          y_at(p, m->xy[2 * i + 1]), size / 2, 0, 2 * M_PI);
		cairo_fill(p->cr);
	}
}

static void draw_lines(const struct sheet *p, const pd_mark *m)
{
	trace(p, m);
	set_ink(p, m->ink, pd_mark_sheer(m));
	set_line(p, m->size);
	if (m->dashed)
		set_gaps(p, 5, 4);
	cairo_stroke(p->cr);
	cairo_set_dash(p->cr, NULL, 0, 0);
}

/* Ligatures would come out of a PDF as other letters. */
static void no_ligatures(PangoLayout *layout)
{
	PangoAttrList *list = pango_attr_list_new();

	pango_attr_list_insert(list,
	                       pango_attr_font_features_new("liga 0, clig 0"));
	pango_layout_set_attributes(layout, list);
	pango_attr_list_unref(list);
}

static PangoLayout *set_text(struct sheet *p, const pd_mark *m, double size)
{
	PangoFontDescription *font = pango_font_description_new();
	PangoLayout *layout = pango_layout_new(p->context);

	pango_font_description_set_family_static(font, FONT);
	pango_font_description_set_weight(
	    font, m->strong ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
	pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
	pango_layout_set_font_description(layout, font);
	pango_font_description_free(font);
	pango_layout_set_auto_dir(layout, FALSE);
	pango_layout_set_single_paragraph_mode(layout, TRUE);
	no_ligatures(layout);
	pango_layout_set_text(layout, pd_buf_text(&p->text),
	                      (int)p->text.length);
	return layout;
}

static void draw_text(struct sheet *p, const pd_mark *m)
{
	double size = fmax(m->size * p->fit.scale, PD_PAGE_TEXT_PT);
	double reckoned = p->fit.scale * pd_text_width(m->text, m->size);
	PangoRectangle box;

	pd_buf_reset(&p->text);
	pd_clean_add(&p->text, m->text);
	if (!pd_buf_ok(&p->text) || p->text.length > 1 << 20) {
		p->failed = true;
		return;
	}
	PangoLayout *layout = set_text(p, m, size);

	pango_layout_get_extents(layout, NULL, &box);
	double width = (double)box.width / PANGO_SCALE;
	double narrow = fmin(PD_PAGE_NARROW, width > 0 ? reckoned / width : 1);
	double before = m->anchor == PD_START ? 0
	                : m->anchor == PD_END ? width
	                                      : width / 2;

	cairo_save(p->cr);
	cairo_translate(p->cr, x_at(p, m->xy[0]), y_at(p, m->xy[1]));
	if (m->turn != 0)
		cairo_rotate(p->cr, m->turn * M_PI / 180);
	cairo_scale(p->cr, narrow, 1);
	cairo_move_to(p->cr, -before,
	              -(double)pango_layout_get_baseline(layout) / PANGO_SCALE);
	set_ink(p, m->ink, 1);
	pango_cairo_show_layout(p->cr, layout);
	cairo_restore(p->cr);
	cairo_new_path(p->cr);
	g_object_unref(layout);
}

static void draw_marks(struct sheet *p)
{
	cairo_set_line_join(p->cr, CAIRO_LINE_JOIN_MITER);
	pango_cairo_update_context(p->cr, p->context);
	for (size_t i = 0; i < p->scene->n_marks; i++) {
		const pd_mark *m = &p->scene->mark[i];

		if (m->kind == PD_MARK_TEXT)
			draw_text(p, m);
		else if (m->kind == PD_MARK_AREA)
			draw_area(p, m);
		else if (m->kind == PD_MARK_DOTS)
			draw_dots(p, m);
		else
			draw_lines(p, m);
	}
}

/* Draw onto the surface, which is taken; its state once finished. */
static cairo_status_t draw_on(struct sheet *p, cairo_surface_t *to,
                              double scale)
{
	p->cr = cairo_create(to);
	cairo_scale(p->cr, scale, scale);
	set_ink(p, PD_INK_PAGE, 1);
	cairo_paint(p->cr);
	draw_marks(p);
	cairo_status_t st = cairo_status(p->cr);

	return st == CAIRO_STATUS_SUCCESS && p->failed ? CAIRO_STATUS_NO_MEMORY
	                                               : st;
}

static pd_status translate(cairo_status_t e, pd_error *err)
{
	if (e == CAIRO_STATUS_SUCCESS)
		return PD_OK;
	if (e == CAIRO_STATUS_NO_MEMORY || e == CAIRO_STATUS_WRITE_ERROR)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while drawing a figure");
	return pd_fail(err, PD_INTERNAL, "cannot draw a figure: %s",
	               cairo_status_to_string(e));
}

static cairo_status_t collect(void *closure, const unsigned char *bytes,
                              unsigned length)
{
	pd_buf_add_n(closure, (const char *)bytes, length);
	return pd_buf_ok(closure) ? CAIRO_STATUS_SUCCESS
	                          : CAIRO_STATUS_WRITE_ERROR;
}

/* ---- the two forms ------------------------------------------------------- */

static void describe_pdf(cairo_surface_t *to, const pd_sheet *sheet)
{
	char date[32];

	snprintf(date, sizeof date, "%.10sT12:00:00Z",
	         sheet->date ? sheet->date : "1980-01-01");
	cairo_pdf_surface_set_metadata(to, CAIRO_PDF_METADATA_CREATE_DATE,
	                               date);
	cairo_pdf_surface_set_metadata(to, CAIRO_PDF_METADATA_TITLE,
	                               sheet->title);
	cairo_pdf_surface_set_metadata(to, CAIRO_PDF_METADATA_SUBJECT,
	                               sheet->description);
	cairo_pdf_surface_set_metadata(to, CAIRO_PDF_METADATA_CREATOR,
	                               "perdraw " PD_VERSION);
}

pd_status pd_page_pdf(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err)
{
	struct sheet p;
	pd_status st = open_sheet(&p, s, sheet, err);

	if (st == PD_OK) {
		cairo_surface_t *to = cairo_pdf_surface_create_for_stream(
		    collect, out, p.fit.width_pt, p.fit.height_pt);

		describe_pdf(to, sheet);
		cairo_status_t e = draw_on(&p, to, 1);

		cairo_surface_finish(to);
		if (e == CAIRO_STATUS_SUCCESS)
			e = cairo_surface_status(to);
		st = translate(e, err);
		cairo_surface_destroy(to);
	}
	close_sheet(&p);
	return st;
}

/* Dots as cairo writes them, then with size and words. */
static cairo_status_t write_png(cairo_surface_t *from, const pd_sheet *sheet,
                                pd_buf *out)
{
	pd_buf png;

	pd_buf_init(&png);
	cairo_status_t e = cairo_surface_write_to_png_stream(from, collect,
	                                                     &png);

	if (e == CAIRO_STATUS_SUCCESS &&
	    !pd_png_describe(pd_buf_text(&png), png.length, PD_PAGE_DPI,
	                     sheet->title, sheet->description, out))
		e = CAIRO_STATUS_PNG_ERROR;
	pd_buf_clear(&png);
	return e == CAIRO_STATUS_SUCCESS && !pd_buf_ok(out)
	           ? CAIRO_STATUS_NO_MEMORY : e;
}

pd_status pd_page_png(const pd_scene *s, const pd_sheet *sheet, pd_buf *out,
                      pd_error *err)
{
	const double dots = PD_PAGE_DPI / 72.0;
	pd_fit fit = pd_page_fit(s, sheet->width_mm);
	struct sheet p;
	pd_status st;

	if (fit.height_pt > PD_PAGE_MOST_MM / 25.4 * 72)
		return pd_fail(err, PD_DATA, "a figure is %.0f mm high, above "
		               "the %d mm of a picture",
		               fit.height_pt / 72 * 25.4, PD_PAGE_MOST_MM);
	st = open_sheet(&p, s, sheet, err);
	if (st == PD_OK) {
		cairo_surface_t *to = cairo_image_surface_create(
		    CAIRO_FORMAT_RGB24, (int)lround(fit.width_pt * dots),
		    (int)lround(fit.height_pt * dots));
		cairo_status_t e = draw_on(&p, to, dots);

		if (e == CAIRO_STATUS_SUCCESS)
			e = write_png(to, sheet, out);
		st = translate(e, err);
		cairo_surface_destroy(to);
	}
	close_sheet(&p);
	return st;
}

void pd_page_release(void)
{
	cairo_debug_reset_static_data();
	FcFini();
}

#endif
