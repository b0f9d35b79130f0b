/*
 * near.h - the name somebody probably meant: the closest of the names there
 * are, suggested where it is close enough. Nothing is ever taken for another
 * name; a suggestion is only words in a message.
 */
#ifndef PERDRAW_BASE_NEAR_H
#define PERDRAW_BASE_NEAR_H

#include <stdbool.h>
#include <stddef.h>

/* The search for the closest to `given`; zeroed but for `given`. */
typedef struct pd_near {
	const char *given;
	const char *best;      /* borrowed from the candidates; NULL: none     */
	unsigned distance;
	char words[96];        /* of pd_near_words                             */
} pd_near;

/*
 * Is `name` near enough to `given` to be suggested for it: at most two slips
 * (letter changed, missing, too many, neighbours swapped) and fewer than
 * `given` has letters, or `given` is its beginning, of three letters or more.
 */
bool pd_near_is(const char *given, const char *name);
/* A further candidate; the first of equally close ones stays. */
void pd_near_try(pd_near *n, const char *name);
/* "; did you mean 'review'?", or "" where nothing is near. Borrowed from n. */
const char *pd_near_words(pd_near *n);

#endif
