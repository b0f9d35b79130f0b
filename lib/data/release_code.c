/*
 * release_code.c - random codes. All come from 32 secret bytes: the system's
 * random source by default, or a hash of the user's seed, so that the same
 * seed gives the same codes. A code is drawn for a place in the store's
 * order, never computed from a name: who holds a code and guesses the name
 * cannot check the guess (45 CFR 164.514(c)).
 */
#include "data/release_own.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

enum { SIGNS = RL_CODE - 2, BYTES = 7 };

static const char letter[RL_KINDS + 1] = "PCSONMF";

static void spell(const unsigned char *from, char first, rl_code to)
{
	static const char sign[] = "0123456789abcdefghjkmnpqrstvwxyz";
	uint64_t bits = 0;

	for (int i = 0; i < BYTES; i++)
		bits = bits << 8 | from[i];
	to[0] = first;
	/* a digit, so that no code reads like a word or a name */
	to[1] = sign[bits % 10];
	bits /= 10;
	for (int i = 2; i <= SIGNS; i++, bits >>= 5)
		to[i] = sign[bits & 31];
	to[SIGNS + 1] = '\0';
}

static int by_text(const void *a, const void *b)
{
	return memcmp(a, b, RL_CODE);
}

static bool all_differ(const rl_code *code, size_t n, rl_code *sorted)
{
	memcpy(sorted, code, n * sizeof *sorted);
	qsort(sorted, n, sizeof *sorted, by_text);
	for (size_t i = 1; i < n; i++)
		if (memcmp(sorted[i - 1], sorted[i], RL_CODE) == 0)
			return false;
	return true;
}

/* The stream of one try at the codes of one kind. */
static void draw(const unsigned char secret[32], enum rl_kind kind,
                 unsigned char attempt, size_t n, unsigned char *bytes)
{
	unsigned char what[2] = { (unsigned char)kind, attempt };
	unsigned char seed[randombytes_SEEDBYTES];

	crypto_generichash(seed, sizeof seed, what, sizeof what, secret, 32);
	randombytes_buf_deterministic(bytes, n * BYTES, seed);
	sodium_memzero(seed, sizeof seed);
}

pd_status rl_codes_draw(const unsigned char secret[32], enum rl_kind kind,
                        size_t n, rl_code *to, pd_error *err)
{
	unsigned char *bytes = malloc(n ? n * BYTES : 1);
	rl_code *sorted = malloc(n ? n * sizeof *sorted : 1);
	bool good = false;

	/* 10 * 2^45 codes: of a million, one try in 700 has a pair */
	for (unsigned attempt = 0; bytes && sorted && !good && attempt < 100;
	     attempt++) {
		draw(secret, kind, (unsigned char)attempt, n, bytes);
		for (size_t i = 0; i < n; i++)
			spell(bytes + i * BYTES, letter[kind], to[i]);
		good = all_differ(to, n, sorted);
	}
	bool memory = bytes && sorted;

	free(bytes);
	free(sorted);
	if (!memory)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return good ? PD_OK
	            : pd_fail(err, PD_INTERNAL, "no different codes were "
	                                        "drawn");
}

pd_status rl_secret(const pd_release_request *ask, unsigned char to[32],
                    pd_error *err)
{
	static const char what[] = "perdraw release";
	unsigned char seed[8];

	if (sodium_init() < 0)
		return pd_fail(err, PD_INTERNAL, "no cryptography");
	if (!ask->seeded) {
		randombytes_buf(to, 32);
		return PD_OK;
	}
	for (int i = 0; i < 8; i++)
		seed[i] = (unsigned char)(ask->seed >> 8 * i);
	crypto_generichash(to, 32, seed, sizeof seed,
	                   (const unsigned char *)what, sizeof what - 1);
	return PD_OK;
}
