/*
 * map.c - the parsed map: looking things up in it. mapfile.c reads its text.
 */
#include "data/map.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

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

/* How many words of s (three letters or more) are parts of the header. */
static int shared_words(const char *s, size_t n, const char *header)
{
	int shared = 0;

	for (size_t i = 0; i < n;) {
		size_t k = i;

		while (k < n && (pd_is_letter(s[k]) || pd_is_digit(s[k])))
			k++;
		for (const char *h = header; k - i >= 3 && *h;) {
			size_t m = strcspn(h, "_");

			shared += m == k - i && strncasecmp(h, s + i, m) == 0;
			h += m + (h[m] == '_');
		}
		i = k + 1;
	}
	return shared;
}

/* Low where the spelling is close or whole words are shared: "Date" belongs
 * to case_date although `side` is fewer strokes away. */
static int strangeness(const char *s, size_t n, pd_field f)
{
	const pd_field_info *about = pd_field_about(f);
	int header = 2 * (int)pd_word_distance(s, n, about->header) -
	             8 * shared_words(s, n, about->header);
	int words = 2 * (int)pd_word_distance(s, n, about->words);

	return header < words ? header : words;
}

const char *pd_nearest_header(const char *s, size_t n)
{
	char word[64];
	int best = 0, least = 0;

	if (n < sizeof word) { /* WBC, CFU-F and the like */
		memcpy(word, s, n);
		word[n] = '\0';
		pd_field f = pd_outcome_field(pd_vocab_code(PD_F_OUTCOME, word));

		if (f != PD_N_FIELDS)
			return pd_field_about(f)->header;
	}
	for (int f = 0; f < PD_N_FIELDS; f++) {
		int d = strangeness(s, n, (pd_field)f);

		if (f == 0 || d < least) {
			best = f;
			least = d;
		}
	}
	return pd_field_about((pd_field)best)->header;
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
