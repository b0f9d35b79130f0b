/* cell.c - a cell's text into a number, state, word, date or label. */
#include "data/cell.h"
#include "data/damage.h"
#include "data/privacy.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CHUNK = 64 * 1024 };

void pd_labels_reset(pd_labels *l)
{
	l->now = l->used = 0;
}

void pd_labels_clear(pd_labels *l)
{
	for (size_t i = 0; i < l->n; i++)
		free(l->chunk[i]);
	free(l->chunk);
	*l = (pd_labels){ 0 };
}

/* NUL-ended copy of a label; NULL without memory. */
static const char *keep_label(pd_labels *l, const char *s, size_t n)
{
	if (l->n && l->used + n + 1 > CHUNK) {
		l->now++;
		l->used = 0;
	}
	if (l->now == l->n) {
		char **chunk = realloc(l->chunk, (l->n + 1) * sizeof *chunk);

		if (!chunk)
			return NULL;
		l->chunk = chunk;
		chunk[l->n] = malloc(CHUNK);
		if (!chunk[l->n])
			return NULL;
		l->n++;
		l->used = 0;
	}
	char *to = l->chunk[l->now] + l->used;

	memcpy(to, s, n);
	to[n] = '\0';
	l->used += n + 1;
	return to;
}

bool pd_rule_is_private(pd_rule rule)
{
	return rule >= PD_RULE_ID_HEADER && rule <= PD_RULE_OPERATOR_NAME;
}

static const pd_value blank = { NAN, NULL, 0, PD_BLANK, -1 };

static bool is_missing(const pd_cell_rules *c, const char *s, size_t n)
{
	for (size_t i = 0; i < c->map->n_missing; i++)
		if (pd_same_word(s, n, c->map->missing[i]))
			return true;
	return false;
}

/* "1 in 28000", "1:28000", "1/28000" or "28000" -> the 28000. */
static void cut_one_in(const char **s, size_t *n)
{
	static const char *const heads[] = { "1 in ", "1:", "1/" };

	for (int k = 0; k < 3; k++) {
		size_t m = strlen(heads[k]);

		if (*n > m && pd_same_word(*s, m, heads[k])) {
			*s += m;
			*n -= m;
			return;
		}
	}
}

/* The number in canonical unit; percentages of TNC stay percentages. */
static bool read_number(const pd_cell_rules *c, const pd_unit *unit,
                        const char *s, size_t n, double *out)
{
	if (unit->way == PD_WAY_ONE_IN)
		cut_one_in(&s, &n);
	if (!pd_scan_number(s, n, c->map->decimal, unit->shift, out))
		return false;
	if (unit->way == PD_WAY_TIMES)
		*out *= unit->times;
	if (unit->way == PD_WAY_ONE_IN) {
		if (!(*out > 0))
			return false;
		*out = 1e6 / *out;
	}
	return true;
}

/* < or > with its number, in the spellings met. */
static bool read_limit(const pd_cell_rules *c, const pd_unit *unit,
                       const char *s, size_t n, pd_value *out)
{
	static const struct { const char *sign; pd_state state; } signs[] = {
		{ "<=", PD_BELOW }, { "<", PD_BELOW }, { ">=", PD_ABOVE },
		{ ">", PD_ABOVE },  { "\xe2\x89\xa4", PD_BELOW },
		{ "\xe2\x89\xa5", PD_ABOVE },
	};

	for (size_t k = 0; k < sizeof signs / sizeof *signs; k++) {
		size_t m = strlen(signs[k].sign);

		if (n <= m || memcmp(s, signs[k].sign, m) != 0)
			continue;
		for (s += m, n -= m; n && *s == ' '; s++)
			n--;
		if (!read_number(c, unit, s, n, &out->number))
			return false;
		out->state = (uint8_t)signs[k].state;
		if (unit->way == PD_WAY_ONE_IN) /* fewer in N is more */
			out->state = out->state == PD_BELOW ? PD_ABOVE
			                                    : PD_BELOW;
		return true;
	}
	return false;
}

static pd_rule read_result(pd_cell_rules *c, pd_intake *in, const char *s,
                           uint32_t n, pd_value *out)
{
	const pd_map_value *v = in->values
	                            ? pd_map_lookup(in->values, s, n)
	                            : NULL;

	if (v) {
		if (!v->blank)
			out->state = v->state;
		return PD_RULE_NONE;
	}
	if (read_number(c, &in->unit, s, n, &out->number)) {
		out->state = PD_MEASURED;
		return PD_RULE_NONE;
	}
	out->number = NAN;
	if (read_limit(c, &in->unit, s, n, out))
		return PD_RULE_NONE;
	out->number = NAN;
	pd_state state = pd_state_by_word(s, n);

	if (state != PD_MEASURED) {
		bool short_word = pd_same_word(s, n, "nd") ||
		                  pd_same_word(s, n, "n.d.");

		out->state = (uint8_t)state;
		if (!short_word || c->nd_told)
			return PD_RULE_NONE;
		c->nd_told = true;
		return PD_RULE_ND_READ;
	}
	out->state = PD_BLANK;
	pd_rule rule = pd_damage_number(s, n, c->map->decimal);

	return rule == PD_RULE_NOT_NUMBER ? PD_RULE_RESULT_UNKNOWN : rule;
}

static pd_rule read_plain_number(pd_cell_rules *c, pd_intake *in,
                                 const char *s, uint32_t n, pd_value *out)
{
	const pd_map_value *v = in->values
	                            ? pd_map_lookup(in->values, s, n)
	                            : NULL;
	uint32_t m = n;

	if (v) {
		out->number = v->blank ? NAN : v->number;
		return PD_RULE_NONE;
	}
	if (in->field == PD_F_GAUGE && n > 1 && pd_lower(s[n - 1]) == 'g')
		m -= s[n - 2] == ' ' && n > 2 ? 2u : 1u;
	if (!read_number(c, &in->unit, s, m, &out->number)) {
		out->number = NAN;
		if (in->field == PD_F_BIRTH_YEAR &&
		    pd_private_look(PD_F_PATIENT, s, n) == PD_RULE_ID_DATE)
			return PD_RULE_ID_DATE;
		return pd_damage_number(s, n, c->map->decimal);
	}
	if (in->kind == PD_FIELD_WHOLE && out->number != floor(out->number)) {
		out->number = NAN;
		return PD_RULE_NOT_WHOLE;
	}
	return PD_RULE_NONE;
}

static pd_rule read_date(pd_cell_rules *c, const char *s, uint32_t n,
                         pd_value *out)
{
	const pd_date_form *form = &c->map->dates;
	char words[40];
	int32_t days;

	if (pd_scan_date(s, n, form, &days)) {
		if (days < pd_days_of(1950, 1, 1) ||
		    days > pd_days_of(2100, 12, 31))
			return PD_RULE_DATE_RANGE;
		out->number = days;
		return PD_RULE_NONE;
	}
	pd_rule damage = pd_damage(s, n);

	if (damage != PD_RULE_NONE)
		return damage;
	if (pd_damage_serial(s, n, c->map->decimal))
		return PD_RULE_DATE_SERIAL;
	snprintf(c->expected, sizeof c->expected,
	         "a day of the calendar as %s, the form declared for the file",
	         pd_date_form_words(form, words));
	return PD_RULE_DATE_FORM;
}

static void list_words(pd_field f, char *out, size_t size)
{
	const char *const *words = pd_vocab_words(f);
	size_t n = (size_t)snprintf(out, size, "one of");

	for (int k = 0; words && words[k] && n < size; k++)
		n += (size_t)snprintf(out + n, size - n, "%s %s", k ? "," : "",
		                      words[k]);
	if (n < size)
		snprintf(out + n, size - n,
		         "; or a line under [values %s] in the map",
		         pd_field_about(f)->header);
}

static pd_rule look_up_word(pd_cell_rules *c, pd_intake *in, const char *s,
                            uint32_t n, pd_value *out)
{
	const pd_map_value *v = pd_map_lookup(in->values, s, n);
	char word[64];

	if (v) {
		out->code = v->code;
		return PD_RULE_NONE;
	}
	if (n < sizeof word) {
		memcpy(word, s, n);
		word[n] = '\0';
		out->code = (int8_t)pd_vocab_code(in->field, word);
		if (out->code >= 0)
			return PD_RULE_NONE;
	}
	pd_rule damage = pd_damage(s, n);

	if (damage != PD_RULE_NONE)
		return damage;
	list_words(in->field, c->expected, sizeof c->expected);
	return PD_RULE_WORD_UNKNOWN;
}

/* Words come from short lists: a small table of those met answers most. */
static pd_rule read_word(pd_cell_rules *c, pd_intake *in, const char *s,
                         uint32_t n, pd_value *out)
{
	unsigned h = (unsigned)(unsigned char)s[0] * 7u +
	             (unsigned)(unsigned char)s[n - 1] * 3u + n;
	pd_word_slot *slot = &in->slot[h % PD_WORD_SLOTS];

	if (slot->length == n && memcmp(slot->word, s, n) == 0) {
		out->code = slot->code;
		return PD_RULE_NONE;
	}
	pd_rule rule = look_up_word(c, in, s, n, out);

	if (rule == PD_RULE_NONE && n <= PD_WORD_LENGTH) {
		slot->length = (uint8_t)n;
		slot->code = out->code;
		memcpy(slot->word, s, n);
	}
	return rule;
}

/* `case`, or side letters with site and aliquot: L, L1, L1.2, by `+`. */
static bool is_pool(const char *s, size_t n)
{
	const char *e = s + n;

	if (pd_same_word(s, n, "case"))
		return true;
	for (;;) {
		while (s < e && *s == ' ')
			s++;
		if (s == e || (pd_lower(*s) != 'l' && pd_lower(*s) != 'r'))
			return false;
		const char *d = ++s;

		while (s < e && pd_is_digit(*s))
			s++;
		if (s > d && s < e && *s == '.') {
			d = ++s;
			while (s < e && pd_is_digit(*s))
				s++;
			if (s == d)
				return false;
		}
		while (s < e && *s == ' ')
			s++;
		if (s == e)
			return true;
		if (*s++ != '+')
			return false;
	}
}

static pd_rule keep_text(pd_cell_rules *c, const char *s, size_t n,
                         pd_value *out, pd_rule rule)
{
	out->text = keep_label(&c->labels, s, n);
	out->length = (uint32_t)n;
	c->no_memory |= out->text == NULL;
	return rule;
}

static pd_rule read_text(pd_cell_rules *c, pd_intake *in, const char *s,
                         uint32_t n, pd_value *out)
{
	const pd_map_value *v = pd_map_lookup(in->values, s, n);
	char pseudonym[PD_PSEUDONYM];
	pd_rule rule = pd_damage(s, n);

	if (v && v->blank)
		return PD_RULE_NONE;
	if (v) {
		s = v->text;
		n = (uint32_t)strlen(s);
		rule = PD_RULE_NONE;
	}
	if (rule != PD_RULE_NONE)
		return rule;
	if (n > PD_LABEL_LENGTH)
		return PD_RULE_TEXT_LONG;
	if (in->pseudonym) {
		if (!c->key)
			return PD_RULE_NONE; /* told once for the file */
		pd_pseudonym(c->key, s, n, pseudonym);
		return keep_text(c, pseudonym, PD_PSEUDONYM - 1, out,
		                 PD_RULE_NONE);
	}
	if (in->field != PD_F_UNIT && !v) {
		rule = pd_damage_label(s, n);
		if (rule == PD_RULE_NONE)
			rule = pd_private_look(in->field, s, n);
	}
	if (rule != PD_RULE_NONE && pd_rule_about(rule)->level == PD_ERROR)
		return rule;
	return keep_text(c, s, n, out, rule);
}

static pd_rule read_kind(pd_cell_rules *c, pd_intake *in, const char *s,
                         uint32_t n, pd_value *out)
{
	pd_rule rule;

	switch (in->kind) {
	case PD_FIELD_RESULT:
		return read_result(c, in, s, n, out);
	case PD_FIELD_WHOLE:
	case PD_FIELD_NUMBER:
		return read_plain_number(c, in, s, n, out);
	case PD_FIELD_DATE:
		return read_date(c, s, n, out);
	case PD_FIELD_WORD:
		return read_word(c, in, s, n, out);
	case PD_FIELD_POOL:
		if (is_pool(s, n) && n <= PD_LABEL_LENGTH)
			return keep_text(c, s, n, out, PD_RULE_NONE);
		rule = pd_damage(s, n);
		return rule != PD_RULE_NONE ? rule : PD_RULE_POOL_SYNTAX;
	case PD_FIELD_TEXT:
		break;
	}
	return read_text(c, in, s, n, out);
}

pd_rule pd_cell_read(pd_cell_rules *c, pd_intake *in, const char *s,
                     uint32_t n, pd_value *out)
{
	*out = blank;
	c->expected[0] = '\0';
	if (n == 0)
		return PD_RULE_NONE;
	if (c->missing_first[(unsigned char)pd_lower(s[0])] &&
	    is_missing(c, s, n))
		return PD_RULE_NONE;
	return read_kind(c, in, s, n, out);
}
