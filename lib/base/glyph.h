/*
 * glyph.h - does a character show? One answer for files that are read, for
 * reports and for the terminal.
 */
#ifndef PERDRAW_BASE_GLYPH_H
#define PERDRAW_BASE_GLYPH_H

#include <stdbool.h>
#include <stdint.h>

/*
 * True for what prints as nothing, or hides, turns around or moves what stands
 * beside it: controls (Cc), line and paragraph separators, interlinear marks,
 * surrogates, noncharacters and all of Default_Ignorable_Code_Point (joiners,
 * changes of direction, variation selectors, tags, fillers, soft hyphen).
 * Blanks are no such characters.
 * Source: Unicode Character Database 15.0, DerivedCoreProperties.txt and
 * UnicodeData.txt; The Unicode Standard 15.0, 23.7 (noncharacters).
 */
bool pd_glyph_unseen(uint32_t c);

#endif
