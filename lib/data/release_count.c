/*
 * release_count.c - groups of patients counted from a table's bytes alone, as
 * somebody counts them who has nothing else: no part of what made the table
 * is used.
 */
#include "data/release.h"
#include "base/scan.h"
#include "data/csv.h"

#include <stdlib.h>
#include <string.h>

enum { C_PATIENT, C_CASE, C_LANDMARK, C_SEX, C_AGE, C_BMI, C_YEAR, C_EVENT,
       N_READ };

struct line {
	const char *patient, *case_, *told, *landmark;
};

struct count {
	pd_arena *arena;
	size_t at[N_READ];       /* columns                                  */
	struct line *line;
	size_t n, room;
	const char **event;      /* "event\tpatient", one a site of a line   */
	size_t n_events, event_room;
	const char **told;       /* a patient each                           */
	size_t n_told;
	pd_error *err;
};

static const char *const names[N_READ] = { "patient", "case", "landmark", "sex",
	                                   "age", "bmi_band", "year",
	                                   "adverse_event" };

static pd_status no_memory(struct count *c)
{
	return pd_fail(c->err, PD_NO_MEMORY, "out of memory");
}

static pd_status find_columns(struct count *c, const pd_csv_record *head)
{
	for (int k = 0; k < N_READ; k++) {
		c->at[k] = head->n;
		for (size_t i = 0; i < head->n; i++)
			if (pd_same_word(head->cell[i].text,
			                 head->cell[i].length, names[k]))
				c->at[k] = i;
		if (c->at[k] == head->n)
			return pd_fail(c->err, PD_DATA,
			               "no table of a release: it has no "
			               "column '%s'", names[k]);
	}
	return PD_OK;
}

static bool same_text(const char *text, const pd_csv_cell *cell)
{
	return strncmp(text, cell->text, cell->length) == 0 &&
	       !text[cell->length];
}

static void *room_for(void *old, size_t n, size_t *room, size_t size)
{
	if (n < *room)
		return old;
	*room = *room ? 2 * *room : 1024;
	return realloc(old, *room * size);
}

static const char *copy(struct count *c, const pd_csv_cell *cell)
{
	return pd_arena_copy_n(c->arena, cell->text, cell->length);
}

static pd_status add_event(struct count *c, const pd_csv_cell *cell,
                           const pd_csv_cell *patient)
{
	void *to = room_for(c->event, c->n_events, &c->event_room,
	                    sizeof *c->event);

	if (!to)
		return no_memory(c);
	c->event = to;
	c->event[c->n_events] = pd_arena_print(
	    c->arena, "%.*s\t%.*s", (int)cell->length, cell->text,
	    (int)patient->length, patient->text);
	return c->event[c->n_events++] ? PD_OK : no_memory(c);
}

static pd_status add_line(struct count *c, const pd_csv_record *r)
{
	const pd_csv_cell *cell = r->cell;
	const pd_csv_cell *event = &cell[c->at[C_EVENT]];
	const pd_csv_cell *landmark = &cell[c->at[C_LANDMARK]];
	struct line *last = c->n ? &c->line[c->n - 1] : NULL;
	pd_status st = PD_OK;

	if (event->length && !pd_same_word(event->text, event->length, "none"))
		st = add_event(c, event, &cell[c->at[C_PATIENT]]);
	/* rows of a site repeat what is told of its case */
	if (st != PD_OK || (last && same_text(last->case_, &cell[c->at[C_CASE]])
	                    && same_text(last->landmark, landmark)))
		return st;
	void *to = room_for(c->line, c->n, &c->room, sizeof *c->line);

	if (!to)
		return no_memory(c);
	c->line = to;
	last = &c->line[c->n++];
	*last = (struct line){ copy(c, &cell[c->at[C_PATIENT]]),
		               copy(c, &cell[c->at[C_CASE]]), NULL,
		               copy(c, landmark) };
	last->told = pd_arena_print(
	    c->arena, "%.*s|%.*s|%.*s|%.*s", (int)cell[c->at[C_SEX]].length,
	    cell[c->at[C_SEX]].text, (int)cell[c->at[C_AGE]].length,
	    cell[c->at[C_AGE]].text, (int)cell[c->at[C_BMI]].length,
	    cell[c->at[C_BMI]].text, (int)cell[c->at[C_YEAR]].length,
	    cell[c->at[C_YEAR]].text);
	return last->patient && last->case_ && last->told && last->landmark
	           ? PD_OK : no_memory(c);
}

static int by_text(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static int by_line(const void *a, const void *b)
{
	const struct line *x = a, *y = b;
	int d = strcmp(x->patient, y->patient);

	if (d == 0)
		d = strcmp(x->case_, y->case_);
	if (d == 0)
		d = strcmp(x->landmark, y->landmark);
	return d ? d : strcmp(x->told, y->told);
}

/* What is told of the case that starts at line i; *next: the one after. */
static const char *case_told(struct count *c, size_t i, size_t *next)
{
	const struct line *l = &c->line[i];
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_add(&b, l->told);
	for (*next = i; *next < c->n &&
	     strcmp(c->line[*next].case_, l->case_) == 0 &&
	     strcmp(c->line[*next].patient, l->patient) == 0; ++*next) {
		const struct line *k = &c->line[*next];
		bool again = *next > i &&
		             strcmp(k->landmark, k[-1].landmark) == 0;

		if (*k->landmark && !again)
			pd_buf_print(&b, "+%s", k->landmark);
		if (strcmp(k->told, l->told) != 0)
			pd_buf_print(&b, "!%s", k->told);
	}
	const char *text = pd_buf_ok(&b)
	                       ? pd_arena_copy(c->arena, pd_buf_text(&b))
	                       : NULL;

	pd_buf_clear(&b);
	return text;
}

/* The different ones of n texts, sorted, joined. */
static const char *join_set(struct count *c, const char **text, size_t n)
{
	pd_buf b;

	pd_buf_init(&b);
	qsort(text, n, sizeof *text, by_text);
	for (size_t i = 0; i < n; i++)
		if (i == 0 || strcmp(text[i], text[i - 1]) != 0)
			pd_buf_print(&b, "%s\n", text[i]);
	const char *all = pd_buf_ok(&b)
	                      ? pd_arena_copy(c->arena, pd_buf_text(&b))
	                      : NULL;

	pd_buf_clear(&b);
	return all;
}

static pd_status tell_patients(struct count *c)
{
	const char **set = malloc((c->n + 1) * sizeof *set);

	c->told = malloc((c->n + 1) * sizeof *c->told);
	if (c->n)
		qsort(c->line, c->n, sizeof *c->line, by_line);
	for (size_t i = 0, next; set && c->told && i < c->n;) {
		const char *patient = c->line[i].patient;
		size_t n = 0;

		for (; i < c->n && strcmp(c->line[i].patient, patient) == 0;
		     i = next) {
			set[n] = case_told(c, i, &next);
			if (!set[n++]) {
				free(set);
				return no_memory(c);
			}
		}
		c->told[c->n_told] = join_set(c, set, n);
		if (!c->told[c->n_told++]) {
			free(set);
			return no_memory(c);
		}
	}
	bool memory = set && c->told;

	free(set);
	return memory ? PD_OK : no_memory(c);
}

static void count_groups(struct count *c, unsigned smallest,
                         pd_release_groups *out)
{
	qsort(c->told, c->n_told, sizeof *c->told, by_text);
	out->n_patients = c->n_told;
	for (size_t i = 0, k; i < c->n_told; i = k) {
		for (k = i + 1; k < c->n_told &&
		     strcmp(c->told[i], c->told[k]) == 0;)
			k++;
		out->n_groups++;
		if (!out->smallest || k - i < out->smallest)
			out->smallest = k - i;
		if (k - i < smallest) {
			out->n_small++;
			out->small_patients += k - i;
		}
	}
}

static size_t kind_length(const char *event)
{
	return strcspn(event, "\t");
}

/* Patients of the rarest kind of event. */
static size_t fewest_event(struct count *c)
{
	size_t fewest = 0, n = 0;

	if (!c->n_events)
		return 0;
	qsort(c->event, c->n_events, sizeof *c->event, by_text);
	for (size_t i = 0; i < c->n_events; i++) {
		const char *e = c->event[i];
		const char *next = i + 1 < c->n_events ? c->event[i + 1] : "\t";

		n += strcmp(e, next) != 0;
		if (kind_length(e) == kind_length(next) &&
		    strncmp(e, next, kind_length(e)) == 0)
			continue;
		fewest = !fewest || n < fewest ? n : fewest;
		n = 0;
	}
	return fewest;
}

static pd_status read_lines(struct count *c, const char *csv, size_t size)
{
	pd_csv *reader = NULL;
	pd_csv_record r;
	size_t columns = 0;
	pd_status st = pd_csv_new(csv, size, ',', NULL, &reader, c->err);

	while (st == PD_OK && pd_csv_next(reader, &r, &st, c->err)) {
		if (r.bad || (columns && r.n != columns))
			st = pd_fail(c->err, PD_DATA, "line %u of the table "
			             "cannot be read back", r.line);
		else if (columns)
			st = add_line(c, &r);
		else
			st = find_columns(c, &r);
		columns = r.n;
	}
	pd_csv_free(reader);
	if (st == PD_OK && !columns)
		st = pd_fail(c->err, PD_DATA, "the table is empty");
	return st;
}

pd_status pd_release_recount(const char *csv, size_t size, unsigned smallest,
                             pd_release_groups *out, pd_error *err)
{
	struct count c = { .arena = pd_arena_new(), .err = err };
	pd_status st = c.arena ? read_lines(&c, csv, size) : no_memory(&c);

	*out = (pd_release_groups){ .file = out->file };
	if (st == PD_OK)
		st = tell_patients(&c);
	if (st == PD_OK) {
		count_groups(&c, smallest, out);
		out->fewest_event = fewest_event(&c);
	}
	free(c.line);
	free(c.event);
	free(c.told);
	pd_arena_free(c.arena);
	return st;
}
