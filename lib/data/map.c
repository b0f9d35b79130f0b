/*
 * map.c - the parsed map: looking things up in it. mapfile.c reads its text.
 */
#include "data/map.h"

#include <stdlib.h>
#include <string.h>

void pd_map_free(pd_map *m)
{
	if (!m)
		return;
	free(m->column);
	pd_arena_free(m->arena);
	free(m);
}

int pd_map_wants_key(const pd_map *m)
{
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (m->pseudonym[f])
			return 1;
	return 0;
}

pd_map_column *pd_map_find(const pd_map *m, const char *header, size_t n)
{
	for (size_t i = 0; i < m->n_columns; i++)
		if (pd_same_word(header, n, m->column[i].header))
			return &m->column[i];
	return NULL;
}

const pd_map_value *pd_map_lookup(const pd_map_value *list, const char *s,
                                  size_t n)
{
	for (; list; list = list->next)
		if (list->length == n && pd_same_word(s, n, list->from))
			return list;
	return NULL;
}

const char *pd_nearest_header(const char *s, size_t n)
{
	const char *best = NULL;
	unsigned least = 0;

	for (int f = 0; f < PD_N_FIELDS; f++) {
		const char *header = pd_field_about((pd_field)f)->header;
		unsigned d = pd_word_distance(s, n, header);

		/* "volume" is nearer to volume_ml than to "value" */
		if (n >= 3 && strlen(header) > n && header[n] == '_') {
			unsigned whole = d;

			d = 0;
			for (size_t i = 0; i < n; i++)
				d += pd_lower(s[i]) != header[i];
			d = d == 0 ? 0 : whole;
		}
		if (!best || d < least) {
			best = header;
			least = d;
		}
	}
	return best;
}

const char *pd_date_form_words(const pd_date_form *form, char out[40])
{
	size_t n = 0;

	for (int i = 0; i < 3; i++) {
		char part = form->order[i];
		const char *word = part == 'y' ? "year"
		                   : part == 'm' ? "month"
		                   : part == 'b' ? "mon"
		                                 : "day";

		if (i)
			out[n++] = form->separator;
		memcpy(out + n, word, strlen(word));
		n += strlen(word);
	}
	out[n] = '\0';
	return out;
}

/* Common practice, no source; a clinic's own words come through its map. */
static const struct state_word {
	const char *word;
	pd_state state;
} state_words[] = {
	{ "TNTC", PD_UNCOUNTABLE },
	{ "too numerous to count", PD_UNCOUNTABLE },
	{ "too many to count", PD_UNCOUNTABLE },
	{ "uncountable", PD_UNCOUNTABLE },
	{ "confluent", PD_UNCOUNTABLE },
	{ "overgrown", PD_UNCOUNTABLE },
	{ "failed", PD_FAILED },
	{ "failure", PD_FAILED },
	{ "culture failed", PD_FAILED },
	{ "contaminated", PD_FAILED },
	{ "contamination", PD_FAILED },
	{ "no adherence", PD_FAILED },
	{ "not ordered", PD_NOT_ORDERED },
	{ "not requested", PD_NOT_ORDERED },
	{ "not done", PD_NOT_ORDERED },
	{ "not performed", PD_NOT_ORDERED },
	{ "ND", PD_NOT_DETECTED },
	{ "n.d.", PD_NOT_DETECTED },
	{ "not detected", PD_NOT_DETECTED },
	{ "none detected", PD_NOT_DETECTED },
	{ "undetectable", PD_NOT_DETECTED },
	{ "below detection", PD_NOT_DETECTED },
	{ "<LOD", PD_NOT_DETECTED },
};

pd_state pd_state_by_word(const char *s, size_t n)
{
	for (size_t i = 0; i < sizeof state_words / sizeof *state_words; i++)
		if (pd_same_word(s, n, state_words[i].word))
			return state_words[i].state;
	return PD_MEASURED;
}
