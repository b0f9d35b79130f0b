/*
 * load_pool.c - results of samples made of several draws, taken when every
 * draw of the file is known. A pool names its draws by terms joined with `+`:
 * `case`, a side `L`, a site `L1`, one draw `L1.2`; without a side letter a
 * site is found on whichever side has that number. A pool of one draw is that
 * draw; any other is a sample of its own and never an aliquot row.
 */
#include "data/load_own.h"
#include "data/sql_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Draws a pool may hold; more is no plausible pool. */
enum { MOST_MEMBERS = 512 };

struct pool {
	sqlite3_stmt *members, *find, *find_label, *next, *add, *add_member,
	    *has;
	int64_t draw[MOST_MEMBERS];
	size_t n;
};

/* One term: side 0..2 or -1, site and pull 0 where not named. */
struct term {
	int side;
	unsigned site, pull;
};

static bool read_number(const char **at, unsigned *out)
{
	unsigned x = 0;
	const char *p = *at;

	while (*p >= '0' && *p <= '9' && x < 100000)
		x = 10 * x + (unsigned)(*p++ - '0');
	if (p == *at || x < 1 || x > MOST_NUMBER)
		return false;
	*at = p;
	*out = x;
	return true;
}

/* The term at *at, which is moved behind it and its `+`. */
static bool read_term(const char **at, struct term *t)
{
	const char *p = *at;

	*t = (struct term){ .side = -1 };
	while (*p == ' ')
		p++;
	if (strncmp(p, "case", 4) == 0) {
		p += 4;
	} else {
		if (*p == 'L' || *p == 'l' || *p == 'R' || *p == 'r')
			t->side = *p == 'L' || *p == 'l' ? 1 : 2, p++;
		if (*p >= '0' && *p <= '9' && !read_number(&p, &t->site))
			return false;
		if (t->site && *p == '.' &&
		    (p++, !read_number(&p, &t->pull)))
			return false;
		if (t->side < 0 && !t->site)
			return false;
	}
	while (*p == ' ')
		p++;
	if (*p == '+')
		p++;
	else if (*p)
		return false;
	*at = p;
	return true;
}

/* Draws with keys from low to high; true when there are any. */
static bool add_range(struct load *L, struct pool *p, int64_t low,
                      int64_t high)
{
	bool row = true, any = false;

	sqlite3_bind_int64(p->members, 1, low);
	sqlite3_bind_int64(p->members, 2, high);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, p->members, &row, L->err));
		if (!row)
			break;
		int64_t id = sqlite3_column_int64(p->members, 0);
		bool there = false;

		any = true;
		for (size_t k = 0; k < p->n && !there; k++)
			there = p->draw[k] == id;
		if (!there && p->n < MOST_MEMBERS)
			p->draw[p->n++] = id;
	}
	sqlite3_reset(p->members);
	return any;
}

/* Draws of one side that the term names; true when there are any. */
static bool add_side(struct load *L, struct pool *p, int64_t case_id, int side,
                     const struct term *t)
{
	int64_t key = case_id << SITE_BITS | (int64_t)side << 8 | t->site;

	if (t->pull)
		return add_range(L, p, key << ALIQUOT_BITS | t->pull,
		                 key << ALIQUOT_BITS | t->pull);
	return add_range(L, p, key << ALIQUOT_BITS, key << ALIQUOT_BITS |
	                 (t->site ? MOST_NUMBER : 0xffff));
}

static int by_key(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

static void bad_pool(struct load *L, const struct pooled *r,
                     const char *expected, const char *what)
{
	load_find(L, "pool-members", PD_ERROR, r->line,
	          L->has[PD_F_POOL] ? PD_F_POOL : PD_F_CASE, expected,
	          "'%s' %s", r->members, what);
}

/* The draws a pool names, sorted, into p->draw; false after a finding. */
static bool find_members(struct load *L, struct pool *p,
                         const struct pooled *r)
{
	int64_t id = L->case_[r->case_].e.id;
	const char *at = r->members;

	p->n = 0;
	while (*at) {
		struct term t;
		size_t n_sides = 0;

		if (!read_term(&at, &t)) {
			bad_pool(L, r, "case, L, L1 or L1.2, joined by +",
			         "is not a pool");
			return false;
		}
		for (int side = 0; side < POOL_SIDE; side++)
			if (t.side < 0 || t.side == side)
				n_sides += add_side(L, p, id, side, &t);
		if (n_sides == 0) {
			load_find(L, "unknown-draw", PD_ERROR, r->line,
			          L->has[PD_F_POOL] ? PD_F_POOL : PD_F_CASE,
			          "draws that are stored or in this file",
			          "no draws of case '%s' for '%s'",
			          pd_table_word(L->labels[1], r->case_),
			          r->members);
			return false;
		}
		if (t.side < 0 && t.site && n_sides > 1) {
			bad_pool(L, r, "the side before the number, as in L1",
			         "is on both sides");
			return false;
		}
	}
	if (p->n == MOST_MEMBERS)
		bad_pool(L, r, "fewer than 512 draws", "is too large");
	qsort(p->draw, p->n, sizeof *p->draw, by_key);
	return p->n > 0 && p->n < MOST_MEMBERS;
}

/* Are the stored pool's draws those just found? */
static bool same_members(struct load *L, struct pool *p, int64_t sample)
{
	size_t n = 0;
	bool row = true, same = true;

	sqlite3_bind_int64(p->has, 1, sample);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, p->has, &row, L->err));
		if (!row)
			break;
		same = same && n < p->n &&
		       p->draw[n] == sqlite3_column_int64(p->has, 0);
		n++;
	}
	sqlite3_reset(p->has);
	return same && n == p->n;
}

/* First column of a statement on a case and a label; 0 where no row. */
static int64_t ask(struct load *L, sqlite3_stmt *q, int64_t case_id,
                   const char *label)
{
	bool row = false;
	int64_t found = 0;

	sqlite3_bind_int64(q, 1, case_id);
	if (label)
		pd_db_bind_text(q, 2, label);
	load_fail(L, pd_db_step(L->s, q, &row, L->err));
	if (row)
		found = sqlite3_column_int64(q, 0);
	sqlite3_reset(q);
	return found;
}

static int64_t make_pool(struct load *L, struct pool *p,
                         const struct pooled *r, const char *label)
{
	int64_t case_id = L->case_[r->case_].e.id;
	int64_t sample = ask(L, p->next, case_id, NULL);

	if (sample >> SAMPLE_BITS != case_id) {
		bad_pool(L, r, "fewer than 65536 pools of a case",
		         "is one pool too many");
		return 0;
	}
	sqlite3_bind_int64(p->add, 1, sample);
	pd_db_bind_text(p->add, 2, label);
	pd_db_bind_text(p->add, 3, r->members);
	load_bind_end(L, p->add, 4, r->line);
	load_fail(L, pd_db_do(L->s, p->add, L->err));
	for (size_t k = 0; k < p->n && L->st == PD_OK; k++) {
		sqlite3_bind_int64(p->add_member, 1, sample);
		sqlite3_bind_int64(p->add_member, 2, p->draw[k]);
		load_fail(L, pd_db_do(L->s, p->add_member, L->err));
	}
	return sample;
}

/* The one sample that carries the lab's label; 0 after a finding. */
static int64_t by_label(struct load *L, struct pool *p,
                        const struct pooled *r)
{
	sqlite3_stmt *q = p->find_label;
	int64_t case_id = r->case_ == NONE ? 0 : L->case_[r->case_].e.id;
	int64_t sample = 0;
	int n = 0;
	bool row = true;

	sqlite3_bind_int64(q, 1, case_id);
	pd_db_bind_text(q, 2, r->label);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		if (row && n++ == 0)
			sample = sqlite3_column_int64(q, 0);
	}
	sqlite3_reset(q);
	if (n == 1)
		return sample;
	load_find(L, n ? "sample-of-two-draws" : "unknown-draw", PD_ERROR,
	          r->line, PD_F_SAMPLE,
	          n ? "the case too, or one draw or pool a label" :
	          "a label stored with its draws, or `case` or draws in the "
	          "pool column",
	          n ? "sample label '%s' is on several draws" :
	          "sample label '%s' is not known", r->label);
	return 0;
}

/* Key of the sample a waiting result is of; 0 after a finding. */
static int64_t sample_of(struct load *L, struct pool *p,
                         const struct pooled *r)
{
	int64_t case_id, sample;
	const char *label = r->label ? r->label : r->members;

	if (r->only_label)
		return by_label(L, p, r);
	case_id = L->case_[r->case_].e.id;
	if (!find_members(L, p, r))
		return 0;
	if (p->n == 1)
		return p->draw[0];
	sample = ask(L, p->find, case_id, label);
	if (sample && !same_members(L, p, sample)) {
		load_find(L, "pool-members", PD_ERROR, r->line,
		          L->has[PD_F_POOL] ? PD_F_POOL : PD_F_CASE,
		          "the same draws, or another sample label",
		          "sample '%s' of case '%s' is stored with other draws",
		          label, pd_table_word(L->labels[1], r->case_));
		return 0;
	}
	return sample ? sample : make_pool(L, p, r, label);
}

void load_write_pools(struct load *L)
{
	struct pool p = { .n = 0 };
	const struct {
		const char *sql;
		sqlite3_stmt **q;
	} all[] = {
		{ pd_sql_members, &p.members }, { pd_sql_find_pool, &p.find },
		{ pd_sql_find_label, &p.find_label },
		{ pd_sql_next_pool, &p.next }, { pd_sql_add_pool, &p.add },
		{ pd_sql_add_member, &p.add_member },
		{ pd_sql_pool_members, &p.has },
	};
	enum { N = sizeof all / sizeof *all };

	load_flush(L);
	for (size_t i = 0; L->n_pooled && i < N; i++)
		load_fail(L, pd_db_prepare(L->s, all[i].sql, all[i].q,
		                           L->err));
	for (size_t i = 0; i < L->n_pooled && L->st == PD_OK; i++) {
		struct pooled *r = &L->pooled[i];
		int64_t sample = sample_of(L, &p, r);

		if (!sample || L->st != PD_OK)
			continue;
		r->assay.e.id |= sample << ASSAY_BITS;
		/* several rows may speak of one sample, as labels come */
		if (r->label && !r->only_label)
			load_put_label(L, r->label, sample, r->line);
		if (load_put_assay(L, &r->assay, false) == PUT_SAME)
			load_said_again(L, r->line);
	}
	for (size_t i = 0; i < N; i++)
		sqlite3_finalize(*all[i].q);
}
