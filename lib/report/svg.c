/* svg.c - marks as SVG elements; see svg.h. Dots are zero-length strokes with
 * round ends, so a thousand of them are one element. */
#include "report/svg.h"
#include "report/clean.h"
#include "report/number.h"

/* Class names the page's style sheet colours, in the order of pd_ink. */
static const char *const ink_class[PD_N_INKS] = {
	"i-text", "i-muted",   "i-axis", "i-grid", "i-band",
	"i-gain", "i-loss",    "i-same", "i-open", "i-data",
	"i-fit",  "i-fitband", "i-page"
};

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

static void write_text(const pd_mark *m, pd_buf *out)
{
	static const char *const anchor[] = { "start", "middle", "end" };

	pd_buf_print(out, "<text class=\"%s%s\"", ink_class[m->ink],
	             m->strong ? " strong" : "");
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

static void write_path(const pd_mark *m, pd_buf *out)
{
	static const char *const kind[] = { "line", "line", "area", "dots" };

	pd_buf_print(out, "<path class=\"%s %s%s\"", kind[m->kind],
	             ink_class[m->ink], m->hollow ? " hollow" : "");
	if (m->kind != PD_MARK_AREA || m->hollow)
		attribute(out, "stroke-width", m->size);
	if (m->dashed)
		pd_buf_add(out, " stroke-dasharray=\"5 4\"");
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

void pd_svg_write(const pd_scene *s, const char *id, const char *kind,
                  const char *title, const char *desc, pd_buf *out)
{
	pd_buf_print(out,
	             "<svg class=\"scene %s\" role=\"img\" "
	             "aria-labelledby=\"%s-t %s-d\" viewBox=\"0 0 ",
	             kind, id, id);
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
	for (size_t i = 0; i < s->n_marks; i++) {
		if (s->mark[i].kind == PD_MARK_TEXT)
			write_text(&s->mark[i], out);
		else
			write_path(&s->mark[i], out);
	}
	pd_buf_add(out, "</svg>\n");
}
