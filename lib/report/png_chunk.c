/* png_chunk.c - see png_chunk.h. */
#include "report/png_chunk.h"

#include <string.h>

/* The signature, and the head chunk with its length, type and check sum. */
enum { SIGNATURE = 8, HEAD = 25 };

uint32_t pd_png_crc(const void *bytes, size_t n)
{
	const unsigned char *at = bytes;
	uint32_t c = 0xffffffffu;

	for (size_t i = 0; i < n; i++) {
		c ^= at[i];
		for (int bit = 0; bit < 8; bit++)
			c = c & 1 ? c >> 1 ^ 0xedb88320u : c >> 1;
	}
	return ~c;
}

static void add_whole(pd_buf *out, uint32_t v)
{
	for (int shift = 24; shift >= 0; shift -= 8)
		pd_buf_char(out, (char)(v >> shift & 0xff));
}

/* data: the type's four letters and what follows them. */
static void add_chunk(pd_buf *out, const pd_buf *data)
{
	if (!pd_buf_ok(data)) {
		out->failed = true;
		return;
	}
	add_whole(out, (uint32_t)data->length - 4);
	pd_buf_add_n(out, data->data, data->length);
	add_whole(out, pd_png_crc(data->data, data->length));
}

static void add_size(pd_buf *out, unsigned dpi)
{
	uint32_t a_metre = (uint32_t)(dpi / 0.0254 + 0.5);
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, "pHYs");
	add_whole(&b, a_metre);
	add_whole(&b, a_metre);
	pd_buf_char(&b, 1); /* the unit is the metre */
	add_chunk(out, &b);
	pd_buf_clear(&b);
}

static void add_words(pd_buf *out, const char *keyword, const char *words)
{
	pd_buf b;

	if (!*words)
		return;
	pd_buf_init(&b);
	pd_buf_add(&b, "iTXt");
	pd_buf_add_n(&b, keyword, strlen(keyword) + 1);
	/* not compressed, no language, no translated keyword */
	pd_buf_add_n(&b, "\0\0\0\0", 4);
	pd_buf_add(&b, words);
	add_chunk(out, &b);
	pd_buf_clear(&b);
}

bool pd_png_describe(const char *png, size_t n, unsigned dpi,
                     const char *title, const char *description, pd_buf *out)
{
	if (n < SIGNATURE + HEAD ||
	    memcmp(png, "\x89PNG\r\n\x1a\n\0\0\0\rIHDR", SIGNATURE + 8) != 0)
		return false;
	pd_buf_add_n(out, png, SIGNATURE + HEAD);
	add_size(out, dpi);
	add_words(out, "Title", title);
	add_words(out, "Description", description);
	pd_buf_add_n(out, png + SIGNATURE + HEAD, n - SIGNATURE - HEAD);
	return true;
}
