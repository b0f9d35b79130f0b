/* scene_read.c - see scene_read.h. */
#include "scene_read.h"

#include <check.h>
#include <math.h>
#include <string.h>

struct box scene_text_box(const pd_mark *m)
{
	double w = pd_text_width(m->text, m->size);
	double h = 0.75 * m->size; /* above the line */
	double x = m->xy[0], y = m->xy[1];
	double before = m->anchor == PD_START ? 0
	                : m->anchor == PD_END ? w
	                                      : w / 2;

	if (m->turn != 0)
		return (struct box){ x - h, y - w / 2, x, y + w / 2 };
	return (struct box){ x - before, y - h, x - before + w, y };
}

static void inside(const pd_scene *s, const pd_mark *m, const struct box *b,
                   const char *what)
{
	ck_assert_msg(b->x0 >= -1 && b->x1 <= s->width + 1 && b->y0 >= -1 &&
	                  b->y1 <= s->height + 1,
	              "%s: '%s' leaves the scene (%g %g %g %g in %g %g)", what,
	              m->text ? m->text : "a mark", b->x0, b->y0, b->x1, b->y1,
	              s->width, s->height);
}

/* Boxes that share more than a hair. */
static bool touch(const struct box *a, const struct box *b)
{
	return a->x0 < b->x1 - 0.5 && b->x0 < a->x1 - 0.5 &&
	       a->y0 < b->y1 - 0.5 && b->y0 < a->y1 - 0.5;
}

static void apart(const pd_scene *s, size_t i, const char *what)
{
	struct box a = scene_text_box(&s->mark[i]);

	for (size_t k = i + 1; k < s->n_marks; k++) {
		if (s->mark[k].kind != PD_MARK_TEXT)
			continue;
		struct box b = scene_text_box(&s->mark[k]);

		ck_assert_msg(!touch(&a, &b), "%s: '%s' lies on '%s'", what,
		              s->mark[i].text, s->mark[k].text);
	}
}

void scene_sound(const pd_scene *s, const char *what)
{
	ck_assert_ptr_nonnull(s);
	ck_assert(!s->failed);
	for (size_t i = 0; i < s->n_marks; i++) {
		const pd_mark *m = &s->mark[i];

		if (m->kind == PD_MARK_TEXT) {
			struct box b = scene_text_box(m);

			inside(s, m, &b, what);
			apart(s, i, what);
			continue;
		}
		for (size_t k = 0; k < m->n; k++) {
			struct box b = { m->xy[2 * k], m->xy[2 * k + 1],
				         m->xy[2 * k], m->xy[2 * k + 1] };

			inside(s, m, &b, what);
		}
	}
}

const pd_mark *scene_mark(const pd_scene *s, pd_mark_kind kind, pd_ink ink,
                          size_t k)
{
	for (size_t i = 0; i < s->n_marks; i++)
		if (s->mark[i].kind == kind && s->mark[i].ink == ink &&
		    k-- == 0)
			return &s->mark[i];
	return NULL;
}

const pd_mark *scene_text(const pd_scene *s, const char *text)
{
	for (size_t i = 0; i < s->n_marks; i++)
		if (s->mark[i].kind == PD_MARK_TEXT &&
		    strcmp(s->mark[i].text, text) == 0)
			return &s->mark[i];
	return NULL;
}

size_t scene_count(const pd_scene *s, pd_mark_kind kind, pd_ink ink)
{
	size_t n = 0;

	for (size_t i = 0; i < s->n_marks; i++)
		n += s->mark[i].kind == kind && s->mark[i].ink == ink;
	return n;
}

/* An arrow head's first place is its point; the others lie 9 behind it and 5
 * to either side. */
static bool is_arrow(const pd_mark *m)
{
	double dx, dy, ex, ey;

	if (m->kind != PD_MARK_AREA || m->n != 3 || m->hollow)
		return false;
	dx = m->xy[2] - m->xy[0];
	dy = m->xy[3] - m->xy[1];
	ex = m->xy[4] - m->xy[0];
	ey = m->xy[5] - m->xy[1];
	return (fabs(fabs(dx) - 9) < 1e-9 && fabs(dx - ex) < 1e-9 &&
	        fabs(dy + ey) < 1e-9) ||
	       (fabs(fabs(dy) - 9) < 1e-9 && fabs(dy - ey) < 1e-9 &&
	        fabs(dx + ex) < 1e-9);
}

size_t scene_arrows(const pd_scene *s)
{
	size_t n = 0;

	for (size_t i = 0; i < s->n_marks; i++)
		n += is_arrow(&s->mark[i]);
	return n;
}
