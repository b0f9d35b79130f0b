/*
 * load_row.c - one row of the file: which case, site and aliquot it is about,
 * what it says of each, and which results it carries.
 */
#include "data/load_own.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What the file has, learnt from its first batch. */
static void get_ready(struct load *L, const pd_batch *b)
{
	static const int n_of[] = {
		[OF_PATIENT] = N_PATIENT_FACTS, [OF_CASE] = N_CASE_FACTS,
		[OF_SITE] = N_SITE_FACTS, [OF_ALIQUOT] = N_ALIQUOT_FACTS,
	};

	for (int f = 0; f < PD_N_FIELDS; f++)
		L->has[f] = b->cell[f].number || b->cell[f].code ||
		            b->cell[f].text;
	for (record of = OF_PATIENT; of <= OF_ALIQUOT; of++)
		for (int k = 0; k < n_of[of]; k++) {
			pd_field f = load_fact_field(of, k);

			L->is_real[of][k] = pd_field_about(f)->kind ==
			                    PD_FIELD_NUMBER;
			if (L->has[f])
				L->fact[of][L->n_facts[of]++] = k;
		}
	for (int k = 0; k < N_VALUES; k++)
		if (L->has[load_value_field(k)])
			L->value[L->n_values++] = k;
	L->is_long = L->has[PD_F_OUTCOME];
	/* a row of draws says more of a draw than which one it is */
	L->has_draws = L->n_facts[OF_ALIQUOT] > 0 ||
	               (L->n_values == 0 && !L->is_long);
	L->last_case = NONE;
	L->ready = true;
}

static bool has_result(const struct assay *a)
{
	if (a->states)
		return true;
	for (int k = 0; k < N_RESULTS; k++)
		if (!isnan(a->value[k]))
			return true;
	return false;
}

/* One result cell into the assay; blank leaves it blank. */
static void set_result(struct assay *a, int k, double number, uint8_t state)
{
	if (state == PD_BLANK || (state == PD_MEASURED && isnan(number)))
		return;
	a->states |= (uint64_t)state << 4 * k;
	a->value[k] = number;
}

static void take_outcome(const pd_batch *b, size_t i, struct assay *a)
{
	const pd_cells *which = &b->cell[PD_F_OUTCOME];
	const pd_cells *value = &b->cell[PD_F_VALUE];

	if (!which->code || which->code[i] < 0 || !value->number)
		return;
	set_result(a, which->code[i], value->number[i], value->state[i]);
}

static void take_method(struct load *L, const pd_batch *b, size_t i,
                        struct assay *a)
{
	double method = load_cell(L, b, i, PD_F_METHOD_VERSION);
	double material = load_cell(L, b, i, PD_F_MATERIAL);

	if (method > MOST_METHODS)
		load_find(L, "too-many-methods", PD_ERROR, b->line[i],
		          PD_F_METHOD_VERSION,
		          "at most 8191 method versions in a database",
		          "one more method version");
	a->e.id = (isnan(material) ? 0 : (int64_t)material << METHOD_BITS) |
	          (isnan(method) ? 0 : (int64_t)method & MOST_METHODS);
}

/* The results of row i; false when it has none. */
static bool take_results(struct load *L, const pd_batch *b, size_t i,
                         struct assay *a)
{
	a->e = (struct entity){ .line = b->line[i] };
	a->states = 0;
	for (int k = 0; k < N_VALUES; k++)
		a->value[k] = NAN;
	for (int j = 0; j < L->n_values; j++) {
		int k = L->value[j];
		const pd_cells *c = &b->cell[load_value_field(k)];

		if (k < N_RESULTS)
			set_result(a, k, c->number[i], c->state[i]);
		else
			a->value[k] = c->number[i];
	}
	if (L->is_long)
		take_outcome(b, i, a);
	if (!has_result(a))
		return false;
	take_method(L, b, i, a);
	return true;
}

static bool has_text(const pd_batch *b, pd_field f, size_t i)
{
	return b->cell[f].text && b->cell[f].text[i];
}

static bool has_number(const pd_batch *b, pd_field f, size_t i)
{
	return b->cell[f].number && !isnan(b->cell[f].number[i]);
}

/* A result that belongs to a pool waits until every draw is known. */
static void wait_as_pool(struct load *L, const pd_batch *b, size_t i,
                         uint32_t c, const struct assay *a)
{
	const int8_t *side = b->cell[PD_F_SIDE].code;
	const char *letter = !side || side[i] < 0 ? "" : side[i] ? "R" : "L";
	char members[24];
	struct pooled *p;

	if (L->n_pooled == L->room_pooled) {
		size_t room = L->room_pooled ? 2 * L->room_pooled : 256;
		void *grown = realloc(L->pooled, room * sizeof *L->pooled);

		if (!grown) {
			load_fail(L, pd_fail(L->err, PD_NO_MEMORY,
			                     "out of memory"));
			return;
		}
		L->pooled = grown;
		L->room_pooled = room;
	}
	p = &L->pooled[L->n_pooled++];
	*p = (struct pooled){ .assay = *a, .case_ = c, .line = b->line[i] };
	if (has_number(b, PD_F_SITE_NO, i))
		snprintf(members, sizeof members, "%s%.10g", letter,
		         b->cell[PD_F_SITE_NO].number[i]);
	else
		snprintf(members, sizeof members, "%s",
		         *letter ? letter : "case");
	p->only_label = has_text(b, PD_F_SAMPLE, i) &&
	                !has_text(b, PD_F_POOL, i);
	p->members = pd_arena_copy(L->arena, has_text(b, PD_F_POOL, i) ?
	                           b->cell[PD_F_POOL].text[i] : members);
	if (has_text(b, PD_F_SAMPLE, i))
		p->label = pd_arena_copy(L->arena,
		                         b->cell[PD_F_SAMPLE].text[i]);
	if (!p->members || (has_text(b, PD_F_SAMPLE, i) && !p->label))
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
}

/* Count a row that said nothing that is not stored already. */
void load_said_again(struct load *L, uint32_t line)
{
	if (L->n_again++ == 0)
		L->first_again = line;
}

/* The aliquot a row names: its site's index, or NONE after a finding. */
static uint32_t site_of_row(struct load *L, const pd_batch *b, size_t i,
                            uint32_t c)
{
	if (!has_number(b, PD_F_SITE_NO, i)) {
		load_find(L, "site-missing", PD_ERROR, b->line[i],
		          PD_F_ALIQUOT_NO,
		          "the number of the site the pull is from",
		          "a pull number without a site number");
		return NONE;
	}
	return load_find_site(L, c, b, i);
}

/* A result of one aliquot, for the rule on values copied down a case. */
static void note_copied(struct case_ *c, const struct assay *a)
{
	static const int which[N_COPIED] = { 0, 1, 6, 8 };

	for (int j = 0; j < N_COPIED; j++) {
		int k = which[j];

		if (isnan(a->value[k]) || a->value[k] <= 0 ||
		    a->states >> 4 * k & 15)
			continue;
		if (c->n_copied[j] == 0)
			c->copied[j] = a->value[k];
		else if (c->copied[j] != a->value[k])
			c->differs[j] = true;
		if (c->n_copied[j] < UINT16_MAX)
			c->n_copied[j]++;
	}
}

/*
 * A row about one aliquot: a is its result or NULL; said_more where the row
 * carries a result of any sample.
 */
static void take_aliquot(struct load *L, const pd_batch *b, size_t i,
                         uint32_t c, uint32_t site, struct assay *a,
                         bool said_more)
{
	double no = b->cell[PD_F_ALIQUOT_NO].number[i];
	put drawn, counted = PUT_SAME;

	if (no < 1 || no > MOST_NUMBER) {
		load_find(L, "number-range", PD_ERROR, b->line[i],
		          PD_F_ALIQUOT_NO, "1 to 255",
		          "pull number %.10g", no);
		return;
	}
	drawn = load_put_aliquot(L, site, (int)no, b, i);
	if (drawn == PUT_BAD)
		return;
	int64_t id = L->site[site].e.id << ALIQUOT_BITS | (int64_t)no;

	if (has_text(b, PD_F_SAMPLE, i) && !has_text(b, PD_F_POOL, i))
		load_put_label(L, b->cell[PD_F_SAMPLE].text[i], id,
		               b->line[i]);
	if (drawn == PUT_NEW && L->has_draws) {
		L->case_[c].touched = true;
		L->site[site].touched = true;
		if (has_number(b, PD_F_VOLUME, i))
			L->case_[c].total_ml += b->cell[PD_F_VOLUME].number[i];
	}
	if (a) {
		a->e.id |= id << ASSAY_BITS;
		counted = load_put_assay(L, a, drawn == PUT_NEW);
		if (counted == PUT_NEW)
			note_copied(&L->case_[c], a);
	}
	if (drawn == PUT_REPEATED && !said_more)
		load_find(L, "duplicate-key", PD_ERROR, b->line[i],
		          PD_F_ALIQUOT_NO,
		          "one row a pull, or another result of it",
		          "pull %.10g of this site was in an earlier row", no);
	if (drawn == PUT_SAME && counted == PUT_SAME && L->st == PD_OK)
		load_said_again(L, b->line[i]);
}

static void take_row(struct load *L, const pd_batch *b, size_t i)
{
	struct assay a;
	uint32_t c, site = NONE;

	/* a lab's file may know only its own labels */
	if (!has_text(b, PD_F_CASE, i) && has_text(b, PD_F_SAMPLE, i) &&
	    !L->has_draws) {
		if (take_results(L, b, i, &a))
			wait_as_pool(L, b, i, NONE, &a);
		return;
	}
	c = load_find_case(L, b, i);
	if (c == NONE)
		return;
	struct case_ *k = &L->case_[c];
	struct patient *p = &L->patient[k->patient];

	load_agree_row(L, OF_PATIENT, &p->e, p->fact, p->at, b, i);
	load_agree_row(L, OF_CASE, &k->e, k->fact, k->at, b, i);
	bool counted = take_results(L, b, i, &a);
	bool pulled = has_number(b, PD_F_ALIQUOT_NO, i);
	bool pool = has_text(b, PD_F_POOL, i) || !pulled;

	if (pulled || has_number(b, PD_F_SITE_NO, i)) {
		site = site_of_row(L, b, i, c);
		if (site == NONE)
			return;
		struct site *s = &L->site[site];

		load_agree_row(L, OF_SITE, &s->e, s->fact, s->at, b, i);
	}
	if (pulled)
		take_aliquot(L, b, i, c, site, counted && !pool ? &a : NULL,
		             counted);
	if (counted && pool)
		wait_as_pool(L, b, i, c, &a);
}

void load_take_batch(struct load *L, const pd_batch *b)
{
	if (!L->ready)
		get_ready(L, b);
	for (size_t i = 0; i < b->n_rows && L->st == PD_OK; i++)
		take_row(L, b, i);
}
