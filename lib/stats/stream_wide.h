/*
 * stream_wide.h - the stream's numbers in bulk, 32 blocks at a time. Inside
 * the room of stream.h: everything here is whole-numbered, so that every
 * kernel gives the same bytes; which one runs depends on the processor alone.
 */
#ifndef PERDRAW_STATS_STREAM_WIDE_H
#define PERDRAW_STATS_STREAM_WIDE_H

#include <stddef.h>
#include <stdint.h>

/* A kernel's call makes four groups of eight blocks of four words. */
enum {
	PD_WIDE_LANES = 8, PD_WIDE_GROUPS = 4,
	PD_WIDE_BLOCKS = PD_WIDE_LANES * PD_WIDE_GROUPS,
	PD_WIDE_WORDS = 4 * PD_WIDE_LANES /* of one group                    */
};

typedef struct pd_wide_kernel {
	const char *name;
	/* Blocks first .. first + 31 as pd_stream_bits would give them. */
	void (*bits)(uint64_t seed, uint64_t stream, uint64_t first,
	             uint64_t out[2 * PD_WIDE_BLOCKS]);
	/*
	 * Two indices below n from each word w of the same blocks; in a group
	 * words stand in the order first words, second words, third, fourth:
	 * low half of out[g][k] floor(w n / 2^32), high half floor(r n / 2^32)
	 * with r = w n mod 2^32. Bit k of passed[g]: r n mod 2^32 is below
	 * `uneven`, the word is to be passed over.
	 */
	void (*pairs)(uint64_t seed, uint64_t stream, uint64_t first,
	             uint32_t n, uint32_t uneven,
	             uint64_t out[PD_WIDE_GROUPS][PD_WIDE_WORDS],
	             uint32_t passed[PD_WIDE_GROUPS]);
} pd_wide_kernel;

/* The i-th this processor can run, 0 the portable one, later ones faster;
 * NULL past the last. */
const pd_wide_kernel *pd_wide_kernel_at(size_t i);
/* The last of them. */
const pd_wide_kernel *pd_wide_kernel_best(void);

#endif
