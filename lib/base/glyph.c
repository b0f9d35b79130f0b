/* glyph.c - the characters that do not show; see glyph.h. */
#include "base/glyph.h"

#include <stddef.h>

struct range {
	uint32_t from, to;
};

/* In order. The last two of every plane are never characters either. */
static const struct range unseen[] = {
	{ 0x0000, 0x001F },   { 0x007F, 0x009F },   { 0x00AD, 0x00AD },
	{ 0x034F, 0x034F },   { 0x061C, 0x061C },   { 0x115F, 0x1160 },
	{ 0x17B4, 0x17B5 },   { 0x180B, 0x180F },   { 0x200B, 0x200F },
	{ 0x2028, 0x202E },   { 0x2060, 0x206F },   { 0x3164, 0x3164 },
	{ 0xD800, 0xDFFF },   { 0xFDD0, 0xFDEF },   { 0xFE00, 0xFE0F },
	{ 0xFEFF, 0xFEFF },   { 0xFFA0, 0xFFA0 },   { 0xFFF0, 0xFFFB },
	{ 0x1BCA0, 0x1BCA3 }, { 0x1D173, 0x1D17A }, { 0xE0000, 0xE0FFF },
};

bool pd_glyph_unseen(uint32_t c)
{
	if (c >= 0x20 && c < 0x7F)
		return false;
	for (size_t i = 0; i < sizeof unseen / sizeof *unseen; i++)
		if (c <= unseen[i].to)
			return c >= unseen[i].from || (c & 0xFFFE) == 0xFFFE;
	return (c & 0xFFFE) == 0xFFFE || c > 0x10FFFF;
}
