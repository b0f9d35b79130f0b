/*
 * mapfile.c - reading a map: sections of `key = value` lines, strict. An
 * unknown or repeated key, field, unit or word is an error with line and
 * column, for a slip here would turn one quantity into another in silence.
 */
#include "data/map.h"
#include "base/near.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum section { NO_SECTION, IN_FILE, IN_COLUMNS, IN_VALUES, IN_CONSTANT };

/* A piece of the map's text. */
struct piece {
	const char *s;
	size_t n;
};

struct parser {
	pd_map *m;
	const char *line_start;
	uint32_t line;
	enum section section;
	pd_field values_of;
	const pd_map_value **tail; /* where the next value is hung           */
	unsigned seen_keys;        /* of [file]                              */
	bool seen_section[IN_CONSTANT + 1], seen_values[PD_N_FIELDS];
	pd_error *err;
};

static uint32_t column_of(const struct parser *p, const char *at)
{
	return (uint32_t)pd_utf8_count(p->line_start,
	                               (size_t)(at - p->line_start)) + 1;
}

#define FAIL(p, at, ...)                                                       \
	pd_fail_at((p)->err, PD_DATA, (p)->m->name, (p)->line,                 \
	           column_of(p, at), __VA_ARGS__)
#define SHOW(x) (int)((x).n > 60 ? 60 : (x).n), (x).s

static struct piece trim(const char *s, const char *e)
{
	while (s < e && (*s == ' ' || *s == '\t'))
		s++;
	while (s < e && (e[-1] == ' ' || e[-1] == '\t' || e[-1] == '\r'))
		e--;
	return (struct piece){ s, (size_t)(e - s) };
}

static bool is(struct piece x, const char *word)
{
	return pd_same_word(x.s, x.n, word);
}

static pd_status no_memory(struct parser *p)
{
	return pd_fail(p->err, PD_NO_MEMORY, "out of memory");
}

/* Text in double quotes loses them, "" inside stands for one. */
static const char *plain_text(struct parser *p, struct piece x)
{
	char *out = pd_arena_copy_n(p->m->arena, x.s, x.n);
	size_t n = 0;

	if (!out || x.n < 2 || x.s[0] != '"' || x.s[x.n - 1] != '"')
		return out;
	for (size_t i = 1; i + 1 < x.n; i++) {
		out[n++] = x.s[i];
		i += x.s[i] == '"' && x.s[i + 1] == '"';
	}
	out[n] = '\0';
	return out;
}

/* Next of a list divided by commas; quoted parts may hold commas. */
static bool next_of_list(struct piece *rest, struct piece *out)
{
	const char *s = rest->s, *e = s + rest->n;
	bool quoted = false;

	if (rest->n == 0)
		return false;
	for (; s < e && (quoted || *s != ','); s++)
		quoted ^= *s == '"';
	*out = trim(rest->s, s);
	*rest = s < e ? trim(s + 1, e) : (struct piece){ e, 0 };
	return true;
}

static pd_status find_field(struct parser *p, struct piece x, pd_field *out)
{
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (is(x, pd_field_about((pd_field)f)->header)) {
			*out = (pd_field)f;
			return PD_OK;
		}
	return FAIL(p, x.s, "no field is called '%.*s', nearest is '%s'",
	            SHOW(x), pd_nearest_header(x.s, x.n));
}

/* ---- [file] ---- */

static pd_status set_delimiter(struct parser *p, struct piece v)
{
	static const struct { const char *word; char is; } words[] = {
		{ "comma", ',' },     { "semicolon", ';' }, { "tab", '\t' },
		{ "vertical bar", '|' }, { ",", ',' },      { ";", ';' },
		{ "|", '|' },
	};

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (is(v, words[i].word)) {
			p->m->delimiter = words[i].is;
			p->m->delimiter_set = true;
			return PD_OK;
		}
	return FAIL(p, v.s, "unknown delimiter '%.*s', expected comma, "
	            "semicolon, tab or vertical bar", SHOW(v));
}

static pd_status set_decimal(struct parser *p, struct piece v)
{
	if (is(v, "comma") || is(v, "point")) {
		p->m->decimal = is(v, "comma") ? ',' : '.';
		return PD_OK;
	}
	return FAIL(p, v.s, "unknown decimal mark '%.*s', expected point or "
	            "comma", SHOW(v));
}

static pd_status set_dates(struct parser *p, struct piece v)
{
	static const char *const words[] = { "year", "month", "day", "mon" };
	pd_date_form form = { "", 0 };
	const char *s = v.s, *e = v.s + v.n;
	bool good = true;

	for (int i = 0; i < 3 && good; i++) {
		size_t k = 0, n = 0;

		if (i && s < e) {
			good = strchr("-./ ", *s) &&
			       (i == 1 || *s == form.separator);
			form.separator = *s++;
		}
		while (s + n < e && pd_is_letter(s[n]))
			n++;
		while (k < 4 && !pd_same_word(s, n, words[k]))
			k++;
		good = good && k < 4 && !strchr(form.order, "ymdb"[k]);
		if (good)
			form.order[i] = "ymdb"[k];
		s += n;
	}
	if (!good || s != e || (strchr(form.order, 'm') &&
	                        strchr(form.order, 'b')) ||
	    !strchr(form.order, 'y') || !strchr(form.order, 'd'))
		return FAIL(p, v.s, "unknown date form '%.*s', expected year, "
		            "month (or mon for its name) and day, as in "
		            "day.month.year or year-month-day", SHOW(v));
	p->m->dates = form;
	return PD_OK;
}

static pd_status set_missing(struct parser *p, struct piece v)
{
	struct piece word;
	size_t room = v.n / 2 + 1;

	p->m->missing = PD_NEW(p->m->arena, const char *, room);
	if (!p->m->missing)
		return no_memory(p);
	while (next_of_list(&v, &word)) {
		const char *text = plain_text(p, word);

		if (!text)
			return no_memory(p);
		if (!*text)
			return FAIL(p, word.s, "an empty missing code: a blank "
			            "cell is missing anyway");
		p->m->missing[p->m->n_missing++] = text;
	}
	return PD_OK;
}

static pd_status set_kind(struct parser *p, struct piece v)
{
	static const char *const words[] = { "draws", "results", "both" };

	for (int k = 0; k < 3; k++)
		if (is(v, words[k])) {
			p->m->kind = k + 1;
			return PD_OK;
		}
	return FAIL(p, v.s, "unknown kind '%.*s', expected draws, results or "
	            "both", SHOW(v));
}

static pd_status set_encoding(struct parser *p, struct piece v)
{
	static const char *const words[] = { "utf-8", "latin-1",
		                             "windows-1252" };

	for (int k = 0; k < 3; k++)
		if (is(v, words[k])) {
			p->m->encoding = (pd_encoding)k;
			return PD_OK;
		}
	return FAIL(p, v.s, "unknown encoding '%.*s', expected utf-8, latin-1 "
	            "or windows-1252", SHOW(v));
}

static pd_status set_pseudonym(struct parser *p, struct piece v)
{
	struct piece word;
	pd_field f;

	while (next_of_list(&v, &word)) {
		pd_status st = find_field(p, word, &f);

		if (st != PD_OK)
			return st;
		if (pd_field_about(f)->kind != PD_FIELD_TEXT ||
		    f == PD_F_UNIT)
			return FAIL(p, word.s, "'%.*s' is not a label: only "
			            "labels can become pseudonyms", SHOW(word));
		p->m->pseudonym[f] = true;
	}
	return PD_OK;
}

static const struct file_key {
	const char *key;
	pd_status (*set)(struct parser *p, struct piece value);
} file_keys[] = {
	{ "delimiter", set_delimiter }, { "decimal", set_decimal },
	{ "dates", set_dates },         { "missing", set_missing },
	{ "kind", set_kind },           { "encoding", set_encoding },
	{ "pseudonym", set_pseudonym },
};

static pd_status file_line(struct parser *p, struct piece key,
                           struct piece value)
{
	for (unsigned k = 0; k < sizeof file_keys / sizeof *file_keys; k++) {
		if (!is(key, file_keys[k].key))
			continue;
		if (p->seen_keys & 1u << k)
			return FAIL(p, key.s, "'%.*s' is said twice",
			            SHOW(key));
		p->seen_keys |= 1u << k;
		return file_keys[k].set(p, value);
	}
	char given[64];
	pd_near near = { .given = given };

	snprintf(given, sizeof given, "%.*s", SHOW(key));
	for (unsigned k = 0; k < sizeof file_keys / sizeof *file_keys; k++)
		pd_near_try(&near, file_keys[k].key);
	return FAIL(p, key.s, "unknown key '%.*s' in [file], expected "
	            "delimiter, decimal, dates, missing, kind, encoding or "
	            "pseudonym%s", SHOW(key), pd_near_words(&near));
}

/* ---- [columns] ---- */

/* FIELD or FIELD in UNIT */
static pd_status set_target(struct parser *p, struct piece x,
                            pd_map_column *c)
{
	struct piece field = x, unit = { NULL, 0 };
	const char *why = NULL;
	char list[512];
	pd_status st;
	size_t k = c->n_targets;

	for (size_t i = 0; i + 4 <= x.n && !unit.s; i++)
		if (memcmp(x.s + i, " in ", 4) == 0) {
			field = trim(x.s, x.s + i);
			unit = trim(x.s + i + 4, x.s + x.n);
		}
	if (k == PD_MAP_TARGETS)
		return FAIL(p, x.s, "more than %d fields from one column",
		            PD_MAP_TARGETS);
	st = find_field(p, field, &c->field[k]);
	if (st != PD_OK)
		return st;
	c->unit[k] = (pd_unit){ PD_WAY_SHIFT, 0, 1 };
	c->n_targets++;
	if (!unit.s)
		return PD_OK;
	if (pd_unit_find(c->field[k], unit.s, unit.n, &c->unit[k], &why))
		return PD_OK;
	if (why)
		return FAIL(p, unit.s, "unit '%.*s' for %s is refused: %s",
		            SHOW(unit), pd_field_about(c->field[k])->header,
		            why);
	pd_unit_list(c->field[k], list, sizeof list);
	return FAIL(p, unit.s, "unknown unit '%.*s' for %s, expected %s",
	            SHOW(unit), pd_field_about(c->field[k])->header,
	            list[0] ? list : "none: the field has no unit");
}

static pd_status column_line(struct parser *p, struct piece key,
                             struct piece value)
{
	pd_map *m = p->m;
	struct piece word;
	pd_status st = PD_OK;

	if (m->n_columns == m->column_room) {
		size_t room = m->column_room ? 2 * m->column_room : 32;
		pd_map_column *c = realloc(m->column, room * sizeof *c);

		if (!c)
			return no_memory(p);
		m->column = c;
		m->column_room = room;
	}
	pd_map_column c = { .header = plain_text(p, key), .line = p->line };

	if (!c.header)
		return no_memory(p);
	if (pd_map_find(m, c.header, strlen(c.header)))
		return FAIL(p, key.s, "column '%s' is said twice", c.header);
	if (!is(value, "ignore"))
		while (st == PD_OK && next_of_list(&value, &word))
			st = set_target(p, word, &c);
	if (st == PD_OK)
		m->column[m->n_columns++] = c;
	return st;
}

/* ---- [values FIELD] ---- */

static pd_status set_value(struct parser *p, pd_map_value *v,
                           struct piece to)
{
	pd_field f = p->values_of;
	const char *text = plain_text(p, to);
	pd_near near = { .given = text };

	if (!text)
		return no_memory(p);
	switch (pd_field_about(f)->kind) {
	case PD_FIELD_WORD:
		v->code = (int8_t)pd_vocab_code(f, text);
		if (v->code >= 0)
			return PD_OK;
		for (const char *const *w = pd_vocab_words(f); w && *w; w++)
			pd_near_try(&near, *w);
		return FAIL(p, to.s, "'%s' is no word of %s (docs/fields.md "
		            "lists them)%s", text, pd_field_about(f)->header,
		            pd_near_words(&near));
	case PD_FIELD_RESULT:
		v->state = (uint8_t)pd_state_by_word(text, strlen(text));
		if (v->state != PD_MEASURED)
			return PD_OK;
		return FAIL(p, to.s, "'%s' is no state of a result, expected "
		            "TNTC, failed, not ordered, ND or missing", text);
	case PD_FIELD_WHOLE:
	case PD_FIELD_NUMBER:
		if (pd_scan_number(text, strlen(text), '.', 0, &v->number))
			return PD_OK;
		return FAIL(p, to.s, "'%s' is not a number", text);
	default:
		v->text = text;
		return PD_OK;
	}
}

static pd_status value_line(struct parser *p, struct piece key,
                            struct piece value)
{
	pd_map_value *v = PD_NEW(p->m->arena, pd_map_value, 1);
	const char *from = plain_text(p, key);

	if (!v || !from)
		return no_memory(p);
	v->from = from;
	v->length = strlen(from);
	v->code = -1;
	if (pd_map_lookup(p->m->values[p->values_of], from, v->length))
		return FAIL(p, key.s, "'%s' is said twice", from);
	v->blank = is(value, "missing");
	pd_status st = v->blank ? PD_OK : set_value(p, v, value);

	if (st == PD_OK) {
		*p->tail = v;
		p->tail = &v->next;
	}
	return st;
}

/* ---- [constant] ---- */

static pd_status constant_line(struct parser *p, struct piece key,
                               struct piece value)
{
	pd_field f = PD_F_PATIENT;
	pd_status st = find_field(p, key, &f);
	pd_map_constant *c = &p->m->constant[f];
	pd_map_value v = { .code = -1 };

	if (st != PD_OK)
		return st;
	if (c->set)
		return FAIL(p, key.s, "'%.*s' is said twice", SHOW(key));
	pd_field_kind kind = pd_field_about(f)->kind;

	if (kind == PD_FIELD_RESULT || kind == PD_FIELD_POOL ||
	    kind == PD_FIELD_DATE)
		return FAIL(p, key.s, "'%.*s' cannot be the same in every row",
		            SHOW(key));
	p->values_of = f;
	st = set_value(p, &v, value);
	*c = (pd_map_constant){ true, v.code, v.number, v.text, p->line };
	if (st == PD_OK && kind == PD_FIELD_WHOLE &&
	    v.number != (double)(long long)v.number)
		st = FAIL(p, value.s, "'%.*s' is not whole", SHOW(value));
	return st;
}

/* ---- lines ---- */

static pd_status section_line(struct parser *p, struct piece x)
{
	struct piece name = trim(x.s + 1, x.s + x.n - 1);
	static const char *const words[] = { "", "file", "columns", "",
		                             "constant" };

	if (x.s[x.n - 1] != ']')
		return FAIL(p, x.s, "a section without its closing bracket");
	if (name.n > 7 && pd_same_word(name.s, 7, "values ")) {
		struct piece field = trim(name.s + 7, name.s + name.n);
		pd_status st = find_field(p, field, &p->values_of);

		if (st != PD_OK)
			return st;
		pd_field_kind kind = pd_field_about(p->values_of)->kind;

		if (kind == PD_FIELD_DATE || kind == PD_FIELD_POOL)
			return FAIL(p, field.s, "%.*s takes no dictionary",
			            SHOW(field));
		if (p->seen_values[p->values_of])
			return FAIL(p, x.s, "section '%.*s' is there twice",
			            SHOW(name));
		p->seen_values[p->values_of] = true;
		p->tail = &p->m->values[p->values_of];
		p->section = IN_VALUES;
		return PD_OK;
	}
	for (int k = IN_FILE; k <= IN_CONSTANT; k++)
		if (words[k][0] && is(name, words[k])) {
			if (p->seen_section[k])
				return FAIL(p, x.s, "section '%.*s' is there "
				            "twice", SHOW(name));
			p->seen_section[k] = true;
			p->section = (enum section)k;
			return PD_OK;
		}
	return FAIL(p, x.s, "unknown section '%.*s', expected file, columns, "
	            "values FIELD or constant", SHOW(name));
}

/* Up to a comment: a '#' at the start or behind a blank, outside quotes. */
static const char *cut_comment(const char *s, const char *e)
{
	bool quoted = false;

	for (const char *c = s; c < e; c++) {
		if (*c == '"')
			quoted = !quoted;
		if (*c == '#' && !quoted &&
		    (c == s || c[-1] == ' ' || c[-1] == '\t'))
			return c;
	}
	return e;
}

static pd_status one_line(struct parser *p, const char *s, const char *e)
{
	struct piece x = trim(s, cut_comment(s, e));
	const char *equals = x.s, *end = x.s + x.n;
	bool quoted = false;

	if (x.n == 0)
		return PD_OK;
	if (x.s[0] == '[')
		return section_line(p, x);
	for (; equals < end && (quoted || *equals != '='); equals++)
		quoted ^= *equals == '"';
	if (equals == end)
		return FAIL(p, x.s, "expected `name = value`, found '%.*s' "
		            "(names with '=' or '#' go in double quotes)",
		            SHOW(x));
	struct piece key = trim(x.s, equals), value = trim(equals + 1, end);

	if (key.n == 0 || value.n == 0)
		return FAIL(p, x.s, "nothing %s the equals sign",
		            key.n ? "after" : "before");
	switch (p->section) {
	case IN_FILE:
		return file_line(p, key, value);
	case IN_COLUMNS:
		return column_line(p, key, value);
	case IN_VALUES:
		return value_line(p, key, value);
	case IN_CONSTANT:
		return constant_line(p, key, value);
	default:
		return FAIL(p, x.s, "a line before the first section, "
		            "expected [file], [columns], [values FIELD] or "
		            "[constant]");
	}
}

/* What lines said one by one must also make sense together. */
static pd_status check_whole(struct parser *p)
{
	const pd_map *m = p->m;

	if (m->decimal == ',' && m->delimiter == ',' && m->delimiter_set)
		return pd_fail_at(p->err, PD_DATA, m->name, 0, 0,
		                  "comma is both delimiter and decimal mark");
	return PD_OK;
}

static pd_status parse(struct parser *p, const char *text, size_t size)
{
	const char *s = text, *end = text + size;
	pd_status st = PD_OK;
	size_t bad = pd_utf8_bad(text, size);

	if (size >= 3 && memcmp(s, "\xef\xbb\xbf", 3) == 0)
		s += 3;
	for (p->line = 1; s < end && st == PD_OK; p->line++) {
		const char *e = memchr(s, '\n', (size_t)(end - s));

		e = e ? e : end;
		p->line_start = s;
		if (bad < size && text + bad < e)
			return FAIL(p, text + bad, "not UTF-8 text");
		if (memchr(s, '\0', (size_t)(e - s)))
			return FAIL(p, s, "a NUL byte");
		st = one_line(p, s, e);
		s = e + (e < end);
	}
	return st == PD_OK ? check_whole(p) : st;
}

pd_status pd_map_parse(const char *text, size_t size, const char *name,
                       pd_map **out, pd_error *err)
{
	pd_map *m = calloc(1, sizeof *m);
	struct parser p = { .m = m, .err = err };
	pd_status st = PD_OK;

	*out = NULL;
	if (m)
		m->arena = pd_arena_new();
	if (m && m->arena)
		m->name = pd_arena_copy(m->arena, name ? name : "");
	if (!m || !m->arena || !m->name) {
		pd_map_free(m);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	m->delimiter = ',';
	m->decimal = '.';
	m->dates = pd_date_iso;
	if (text)
		st = parse(&p, text, size);
	if (st != PD_OK) {
		pd_map_free(m);
		return st;
	}
	*out = m;
	return PD_OK;
}
