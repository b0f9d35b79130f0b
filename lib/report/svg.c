/* svg.c - marks as SVG elements; see svg.h. Dots are zero-length strokes with
 * round ends, so a thousand of them are one element. */
#include "report/svg.h"
#include "report/clean.h"
#include "report/ink.h"
#include "report/number.h"

static void place(pd_buf *out, const double *xy)
{
	pd_number_place(out, xy[0]);
	pd_buf_char(out, ' ');
	pd_number_place(out, xy[1]);
}

static void attribute(pd_buf *out, const char *name, double x)
{
	pd_buf_print(out, " %s=\"", name);
	pd_number_place(out, x);
	pd_buf_char(out, '"');
}

/* What colours a mark: its class, or of a file that stands alone the colours
 * themselves. */
static void text_ink(const pd_mark *m, bool alone, pd_buf *out)
{
	if (alone)
		pd_buf_print(out, " fill=\"%s\"%s",
		             pd_ink_hex(m->ink, false, true),
		             m->strong ? " font-weight=\"bold\"" : "");
	else
		pd_buf_print(out, " class=\"%s%s\"", pd_ink_class(m->ink),
		             m->strong ? " strong" : "");
}

static void area_ink(const pd_mark *m, const char *hex, pd_buf *out)
{
	if (m->hollow) {
		pd_buf_print(out, " fill=\"%s\" stroke=\"%s\"",
		             pd_ink_hex(PD_INK_PAGE, false, true), hex);
		return;
	}
	pd_buf_print(out, " fill=\"%s\"", hex);
	if (pd_mark_sheer(m) < 1)
		attribute(out, "fill-opacity", pd_mark_sheer(m));
	if (!pd_mark_edged(m))
		return;
	pd_buf_print(out, " stroke=\"%s\"",
	             pd_ink_hex(PD_INK_MUTED, false, true));
	attribute(out, "stroke-width", PD_EDGE_WIDTH);
	if (pd_mark_edge_dotted(m))
		pd_buf_add(out, " stroke-dasharray=\"" PD_EDGE_GAPS "\"");
}

static void path_ink(const pd_mark *m, bool alone, pd_buf *out)
{
	static const char *const kind[] = { "line", "line", "area", "dots" };
	const char *hex = pd_ink_hex(m->ink, false, true);

	if (!alone) {
		pd_buf_print(out, " class=\"%s %s%s\"", kind[m->kind],
		             pd_ink_class(m->ink), m->hollow ? " hollow" : "");
		return;
	}
	if (m->kind == PD_MARK_AREA) {
		area_ink(m, hex, out);
		return;
	}
	pd_buf_print(out, " fill=\"none\" stroke=\"%s\"", hex);
	if (m->kind == PD_MARK_DOTS)
		pd_buf_add(out, " stroke-linecap=\"round\"");
	if (pd_mark_sheer(m) < 1)
		attribute(out, "stroke-opacity", pd_mark_sheer(m));
}

static void write_text(const pd_mark *m, bool alone, pd_buf *out)
{
	static const char *const anchor[] = { "start", "middle", "end" };

	pd_buf_add(out, "<text");
	text_ink(m, alone, out);
	if (m->turn != 0) {
		pd_buf_add(out, " transform=\"translate(");
		place(out, m->xy);
		pd_buf_add(out, ") rotate(");
		pd_number_place(out, m->turn);
		pd_buf_add(out, ")\"");
	} else {
		attribute(out, "x", m->xy[0]);
		attribute(out, "y", m->xy[1]);
	}
	attribute(out, "font-size", m->size);
	if (m->anchor != PD_START)
		pd_buf_print(out, " text-anchor=\"%s\"", anchor[m->anchor]);
	pd_buf_char(out, '>');
	pd_clean_add_html(out, m->text);
	pd_buf_add(out, "</text>\n");
}

static void write_path(const pd_mark *m, bool alone, pd_buf *out)
{
	pd_buf_add(out, "<path");
	path_ink(m, alone, out);
	if (m->kind != PD_MARK_AREA || m->hollow)
		attribute(out, "stroke-width", m->size);
	if (m->dashed)
		pd_buf_add(out, " stroke-dasharray=\"" PD_DASH_GAPS "\"");
	pd_buf_add(out, " d=\"");
	for (size_t i = 0; i < m->n; i++) {
		bool start = i == 0 || m->kind == PD_MARK_DOTS ||
		             (m->kind == PD_MARK_LINES && i % 2 == 0);

		pd_buf_char(out, start ? 'M' : 'L');
		place(out, m->xy + 2 * i);
		if (m->kind == PD_MARK_DOTS)
			pd_buf_add(out, "h0");
	}
	pd_buf_add(out, m->kind == PD_MARK_AREA ? "Z\"/>\n" : "\"/>\n");
}

/* From the view to the end of desc. */
static void write_head(const pd_scene *s, const char *id, const char *title,
                       const char *desc, pd_buf *out)
{
	pd_buf_add(out, " viewBox=\"0 0 ");
	pd_number_place(out, s->width);
	pd_buf_char(out, ' ');
	pd_number_place(out, s->height);
	pd_buf_char(out, '"');
	attribute(out, "width", s->width);
	attribute(out, "height", s->height);
	pd_buf_print(out, ">\n<title id=\"%s-t\">", id);
	pd_clean_add_html(out, title);
	pd_buf_print(out, "</title>\n<desc id=\"%s-d\">", id);
	pd_clean_add_html(out, desc);
	pd_buf_add(out, "</desc>\n");
}

static void write_marks(const pd_scene *s, bool alone, pd_buf *out)
{
	for (size_t i = 0; i < s->n_marks; i++) {
		if (s->mark[i].kind == PD_MARK_TEXT)
			write_text(&s->mark[i], alone, out);
		else
			write_path(&s->mark[i], alone, out);
	}
	pd_buf_add(out, "</svg>\n");
}

void pd_svg_write(const pd_scene *s, const char *id, const char *kind,
                  const char *title, const char *desc, pd_buf *out)
{
	pd_buf_print(out,
	             "<svg class=\"scene %s\" role=\"img\" "
	             "aria-labelledby=\"%s-t %s-d\"",
	             kind, id, id);
	write_head(s, id, title, desc, out);
	write_marks(s, false, out);
}

void pd_svg_write_file(const pd_scene *s, const char *language,
                       const char *title, const char *desc, pd_buf *out)
{
	pd_buf_add(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
	                "<svg xmlns=\"http://www.w3.org/2000/svg\" "
	                "version=\"1.1\" role=\"img\" "
	                "aria-labelledby=\"figure-t figure-d\" "
	                "font-family=\"Arial, 'Liberation Sans', Helvetica, "
	                "sans-serif\" xml:lang=\"");
	pd_clean_add_html(out, language);
	pd_buf_char(out, '"');
	write_head(s, "figure", title, desc, out);
	pd_buf_print(out, "<rect width=\"100%%\" height=\"100%%\" "
	                  "fill=\"%s\"/>\n",
	             pd_ink_hex(PD_INK_PAGE, false, true));
	write_marks(s, true, out);
}
