/* page_fit.c - how a scene lies on a sheet; needs no drawing library. */
#include "report/page_figure.h"

#include <math.h>

pd_fit pd_page_fit(const pd_scene *s, double width_mm)
{
	pd_fit f = { .width_pt = width_mm / 25.4 * 72, .text_pt = INFINITY };

	f.scale = f.width_pt / s->width;
	for (size_t i = 0; i < s->n_marks; i++)
		if (s->mark[i].kind == PD_MARK_TEXT &&
		    s->mark[i].size < f.text_pt)
			f.text_pt = s->mark[i].size;
	if (f.text_pt * f.scale > PD_PAGE_MOST_PT && isfinite(f.text_pt))
		f.scale = PD_PAGE_MOST_PT / f.text_pt;
	f.text_pt *= f.scale;
	f.height_pt = s->height * f.scale;
	f.left_pt = (f.width_pt - s->width * f.scale) / 2;
	return f;
}
