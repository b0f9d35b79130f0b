/*
 * scene_read.h - a scene read back for the tests: is every mark inside, does
 * text lie on text, and what places do marks of a kind and ink have?
 */
#ifndef PERDRAW_TESTS_SCENE_READ_H
#define PERDRAW_TESTS_SCENE_READ_H

#include "report/figure.h"

struct box { double x0, y0, x1, y1; };

/* The box of a text mark, by pd_text_width. */
struct box scene_text_box(const pd_mark *m);
/* Fails unless every place is a number inside the scene (text with its size),
 * and no text lies on another. */
void scene_sound(const pd_scene *s, const char *what);
/* Mark `k` of the given kind and ink, NULL past the last. */
const pd_mark *scene_mark(const pd_scene *s, pd_mark_kind kind, pd_ink ink,
                          size_t k);
/* The text mark that reads `text`, NULL where there is none. */
const pd_mark *scene_text(const pd_scene *s, const char *text);
size_t scene_count(const pd_scene *s, pd_mark_kind kind, pd_ink ink);
/* Arrow heads: filled triangles of three places, 10 wide or high. */
size_t scene_arrows(const pd_scene *s);

#endif
