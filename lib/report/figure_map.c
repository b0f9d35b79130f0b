/*
 * figure_map.c - cells of a map, their greys, names at two edges and a key.
 * The greys are inks that stay apart in black and white; numbers on the two
 * dark ones are written in the page's own colour.
 */
#include "report/figure_map.h"
#include "report/figure_axes.h"

#include <math.h>
#include <string.h>

static const pd_ink greys[4] = { PD_INK_PAGE, PD_INK_GRID, PD_INK_MUTED,
	                         PD_INK_AXIS };

struct place {
	double left, top, wide, high; /* of the cells; of one cell            */
	double height;           /* of text                                    */
};

static size_t grey_of(const pd_map *m, double shade)
{
	size_t k = 0;

	while (k < 3 && shade >= m->step[k])
		k++;
	return k;
}

static pd_ink text_on(size_t grey)
{
	return grey > 1 ? PD_INK_PAGE : PD_INK_TEXT;
}

/* One line, or the two halves of what is too wide for the cell. */
static void cell_text(pd_scene *s, const struct place *p, double x, double y,
                      pd_ink ink, bool strong, const char *text)
{
	double size = strong ? p->height : p->height - 2;
	const char *gap = strchr(text, ' ');

	if (!gap || pd_text_width(text, size) <= p->wide - 6) {
		pd_scene_text(s, ink, size, PD_MIDDLE, strong, x,
		              y + size * 0.35, text);
		return;
	}
	char *first = pd_arena_copy_n(s->arena, text, (size_t)(gap - text));

	if (!first) {
		s->failed = true;
		return;
	}
	pd_scene_text(s, ink, size, PD_MIDDLE, strong, x, y - size * 0.15,
	              first);
	pd_scene_text(s, ink, size, PD_MIDDLE, strong, x, y + size * 0.85,
	              gap + 1);
}

static void draw_cell(pd_scene *s, const pd_map *m, const struct place *p,
                      size_t i, size_t j)
{
	const pd_map_cell *c = &m->cell[j * m->n_across + i];
	double x = p->left + p->wide * (double)i;
	double y = p->top + p->high * (double)j;
	double mid_x = x + p->wide / 2, mid_y = y + p->high / 2;

	if (isnan(c->shade)) {
		cell_text(s, p, mid_x, mid_y, PD_INK_MUTED, false, c->text);
		return;
	}
	size_t grey = grey_of(m, c->shade);

	if (grey)
		pd_scene_box(s, greys[grey], x, y, x + p->wide, y + p->high);
	cell_text(s, p, mid_x, mid_y, text_on(grey), true, c->text);
}

static void draw_lines(pd_scene *s, const pd_map *m, const struct place *p)
{
	double right = p->left + p->wide * (double)m->n_across;
	double foot = p->top + p->high * (double)m->n_down;

	for (size_t i = 0; i <= m->n_across; i++) {
		double x = p->left + p->wide * (double)i;

		pd_scene_line(s, PD_INK_AXIS, 1, false, x, p->top, x, foot);
	}
	for (size_t j = 0; j <= m->n_down; j++) {
		double y = p->top + p->high * (double)j;

		pd_scene_line(s, PD_INK_AXIS, 1, false, p->left, y, right, y);
	}
}

static void draw_names(pd_scene *s, const pd_map *m, const struct place *p)
{
	double middle = p->left + p->wide * (double)m->n_across / 2;
	double half = p->top + p->high * (double)m->n_down / 2;

	pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_MIDDLE, false, middle,
	              p->top - 24, m->across_words);
	pd_scene_side_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, 13, half,
	                   m->down_words);
	for (size_t i = 0; i < m->n_across; i++)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_MIDDLE, true,
		              p->left + p->wide * ((double)i + 0.5), p->top - 7,
		              m->across[i]);
	for (size_t j = 0; j < m->n_down; j++)
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_TEXT, PD_END, true,
		              p->left - 7,
		              p->top + p->high * ((double)j + 0.5) + 4.5,
		              m->down[j]);
}

/* The key below, a box and its words each, in as many lines as needed. */
static void draw_key(pd_scene *s, const pd_map *m, double y, double width)
{
	double x = 4;

	for (size_t k = 0; k < 4; k++) {
		double need = 22 + pd_text_width(m->key[k], PD_FIGURE_SMALL) +
		              14;

		if (x > 4 && x + need > width) {
			x = 4;
			y += 20;
		}
		if (k)
			pd_scene_box(s, greys[k], x, y - 11, x + 16, y + 2);
		pd_scene_line(s, PD_INK_AXIS, 1, false, x, y - 11, x + 16,
		              y - 11);
		pd_scene_line(s, PD_INK_AXIS, 1, false, x, y + 2, x + 16,
		              y + 2);
		pd_scene_line(s, PD_INK_AXIS, 1, false, x, y - 11, x, y + 2);
		pd_scene_line(s, PD_INK_AXIS, 1, false, x + 16, y - 11, x + 16,
		              y + 2);
		pd_scene_text(s, PD_INK_TEXT, PD_FIGURE_SMALL, PD_START, false,
		              x + 22, y, m->key[k]);
		x += need;
	}
}

pd_scene *pd_figure_map(pd_arena *arena, const pd_map *m, bool narrow)
{
	double width = narrow ? 330 : 560, names = 0;

	for (size_t j = 0; j < m->n_down; j++)
		names = fmax(names, pd_text_width(m->down[j], PD_FIGURE_TEXT));
	struct place p = { .left = 26 + names + 8, .top = 44,
		           .high = narrow ? 38 : 42,
		           .height = narrow && m->n_across > 7 ? 12 : 14 };

	p.wide = fmin((width - p.left - 4) / (double)m->n_across, 76);
	double foot = p.top + p.high * (double)m->n_down;
	pd_scene *s = pd_scene_new(arena, width, foot + (narrow ? 66 : 46));

	if (!s)
		return NULL;
	for (size_t j = 0; j < m->n_down; j++)
		for (size_t i = 0; i < m->n_across; i++)
			draw_cell(s, m, &p, i, j);
	draw_lines(s, m, &p);
	draw_names(s, m, &p);
	draw_key(s, m, foot + 24, width);
	return s;
}
