/*
 * png_chunk.h - what a PNG says beside its dots: size in metres and words
 * (PNG specification, third edition: chunks pHYs and iTXt). Inside the report
 * room only.
 */
#ifndef PERDRAW_REPORT_PNG_CHUNK_H
#define PERDRAW_REPORT_PNG_CHUNK_H

#include "base/buf.h"
#include <stdint.h>

/* The check sum of a chunk's type and data: CRC-32 of ISO 3309, as PNG has it. */
uint32_t pd_png_crc(const void *bytes, size_t n);
/*
 * A copy of the whole PNG png[n] with pHYs of `dpi` dots an inch and iTXt
 * "Title" and "Description" (UTF-8, kept whole) right behind its head; false
 * when it does not begin as one.
 */
bool pd_png_describe(const char *png, size_t n, unsigned dpi,
                     const char *title, const char *description, pd_buf *out);

#endif
