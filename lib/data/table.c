/* table.c - open addressing over words kept in an arena. */
#include "data/table.h"
#include "base/arena.h"

#include <stdlib.h>
#include <string.h>

struct word {
	const char *text;
	uint32_t length, hash;
};

struct pd_table {
	pd_arena *arena;
	struct word *word;
	size_t n, room;
	uint32_t *slot; /* number + 1, 0 where free */
	size_t n_slots; /* a power of two           */
};

/* FNV-1a with its high bits folded down. */
static uint32_t hash_of(const char *word, size_t length)
{
	uint64_t h = 14695981039346656037u;

	for (size_t i = 0; i < length; i++)
		h = (h ^ (unsigned char)word[i]) * 1099511628211u;
	return (uint32_t)(h ^ (h >> 32));
}

struct pd_table *pd_table_new(void)
{
	struct pd_table *t = calloc(1, sizeof *t);

	if (!t)
		return NULL;
	t->arena = pd_arena_new();
	t->n_slots = 64;
	t->slot = calloc(t->n_slots, sizeof *t->slot);
	if (!t->arena || !t->slot) {
		pd_table_free(t);
		return NULL;
	}
	return t;
}

void pd_table_free(struct pd_table *t)
{
	if (!t)
		return;
	pd_arena_free(t->arena);
	free(t->word);
	free(t->slot);
	free(t);
}

size_t pd_table_count(const struct pd_table *t)
{
	return t->n;
}

static size_t place(const struct pd_table *t, const char *word, size_t length,
                    uint32_t hash)
{
	size_t i = hash & (t->n_slots - 1);

	for (; t->slot[i]; i = (i + 1) & (t->n_slots - 1)) {
		const struct word *w = &t->word[t->slot[i] - 1];

		if (w->hash == hash && w->length == length &&
		    memcmp(w->text, word, length) == 0)
			break;
	}
	return i;
}

uint32_t pd_table_find(const struct pd_table *t, const char *word,
                       size_t length)
{
	size_t i = place(t, word, length, hash_of(word, length));

	return t->slot[i] ? t->slot[i] - 1 : PD_TABLE_NONE;
}

static bool grow(struct pd_table *t)
{
	size_t room = t->room ? 2 * t->room : 32;
	struct word *word = realloc(t->word, room * sizeof *word);

	if (!word)
		return false;
	t->word = word;
	t->room = room;
	if (2 * room <= t->n_slots)
		return true;
	uint32_t *slot = calloc(4 * room, sizeof *slot);

	if (!slot)
		return false;
	free(t->slot);
	t->slot = slot;
	t->n_slots = 4 * room;
	for (size_t k = 0; k < t->n; k++) {
		size_t i = t->word[k].hash & (t->n_slots - 1);

		while (slot[i])
			i = (i + 1) & (t->n_slots - 1);
		slot[i] = (uint32_t)k + 1;
	}
	return true;
}

uint32_t pd_table_add(struct pd_table *t, const char *word, size_t length)
{
	uint32_t hash = hash_of(word, length);
	size_t i = place(t, word, length, hash);

	if (t->slot[i])
		return t->slot[i] - 1;
	if (length > UINT32_MAX || t->n >= UINT32_MAX / 8)
		return PD_TABLE_NONE;
	if (t->n == t->room) {
		if (!grow(t))
			return PD_TABLE_NONE;
		i = place(t, word, length, hash);
	}
	char *copy = pd_arena_copy_n(t->arena, word, length);

	if (!copy)
		return PD_TABLE_NONE;
	t->word[t->n] = (struct word){ copy, (uint32_t)length, hash };
	t->slot[i] = (uint32_t)++t->n;
	return (uint32_t)t->n - 1;
}

const char *pd_table_word(const struct pd_table *t, uint32_t number)
{
	return t->word[number].text;
}

size_t pd_table_length(const struct pd_table *t, uint32_t number)
{
	return t->word[number].length;
}
