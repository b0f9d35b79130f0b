/* ink.c - see ink.h. */
#include "report/ink.h"

#include <stdlib.h>

static const struct ink {
	const char *class, *light, *dark;
} inks[PD_N_INKS] = {
#define ROW(name, variable, class, light, dark)                               \
	[PD_INK_##name] = { class, light, dark },
	PD_INK_LIST(ROW)
#undef ROW
};

const char *pd_ink_hex(pd_ink ink, bool dark, bool paper)
{
	if (ink == PD_INK_PAGE && paper)
		return "#ffffff";
	return dark ? inks[ink].dark : inks[ink].light;
}

pd_colour pd_ink_colour(pd_ink ink, bool dark, bool paper)
{
	unsigned long v = strtoul(pd_ink_hex(ink, dark, paper) + 1, NULL, 16);

	return (pd_colour){ (double)(v >> 16) / 255,
		            (double)(v >> 8 & 0xff) / 255,
		            (double)(v & 0xff) / 255 };
}

const char *pd_ink_class(pd_ink ink)
{
	return inks[ink].class;
}

double pd_mark_sheer(const pd_mark *m)
{
	if (m->kind == PD_MARK_DOTS)
		return PD_DOTS_SHEER;
	if (m->kind == PD_MARK_AREA && m->ink == PD_INK_FIT_BAND)
		return PD_FIT_BAND_SHEER;
	if ((m->kind == PD_MARK_LINES || m->kind == PD_MARK_CHAIN) &&
	    m->ink == PD_INK_DATA)
		return PD_DATA_LINE_SHEER;
	return 1;
}

bool pd_mark_edged(const pd_mark *m)
{
	return m->kind == PD_MARK_AREA && !m->hollow &&
	       (m->ink == PD_INK_BAND || m->ink == PD_INK_FIT_BAND);
}

bool pd_mark_edge_dotted(const pd_mark *m)
{
	return m->ink == PD_INK_BAND;
}
