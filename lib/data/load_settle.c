/*
 * load_settle.c - the tree written when the file is at its end: new names,
 * patients, cases and sites, and what the file changed on stored ones.
 */
#include "data/load_own.h"
#include "data/sql_text.h"

static void bind_patient(struct load *L, sqlite3_stmt *q, int at, uint32_t k)
{
	const struct patient *p = &L->patient[k];

	sqlite3_bind_int64(q, at + 1, p->e.id);
	pd_db_bind_text(q, at + 2, pd_table_word(L->labels[0], k));
	load_bind_facts(q, at + 3, OF_PATIENT, p->fact, N_PATIENT_FACTS);
	load_bind_end(L, q, at + 3 + N_PATIENT_FACTS, p->e.line);
}

static void bind_case(struct load *L, sqlite3_stmt *q, int at, uint32_t k)
{
	const struct case_ *c = &L->case_[k];

	sqlite3_bind_int64(q, at + 1, c->e.id);
	pd_db_bind_text(q, at + 2, pd_table_word(L->labels[1], k));
	sqlite3_bind_int64(q, at + 3, L->patient[c->patient].e.id);
	load_bind_facts(q, at + 4, OF_CASE, c->fact, N_CASE_FACTS);
	load_bind_end(L, q, at + 4 + N_CASE_FACTS, c->e.line);
}

static void bind_site(struct load *L, sqlite3_stmt *q, int at, uint32_t k)
{
	const struct site *s = &L->site[k];

	sqlite3_bind_int64(q, at + 1, s->e.id);
	load_bind_facts(q, at + 2, OF_SITE, s->fact, N_SITE_FACTS);
	load_bind_end(L, q, at + 2 + N_SITE_FACTS, s->e.line);
}


/* Write the new ones among n records; entity(L, k) gives each one's head. */
static void write_new(struct load *L, const char *sql, load_bind *bind,
                      const struct entity *(*entity)(struct load *, size_t),
                      size_t n)
{
	struct bulk b;
	uint32_t which[BULK_ROWS];
	size_t n_waiting = 0;

	load_bulk_open(L, &b, sql);
	for (size_t k = 0; k < n && L->st == PD_OK; k++) {
		if (entity(L, k)->stored)
			continue;
		which[n_waiting++] = (uint32_t)k;
		if (n_waiting == BULK_ROWS) {
			load_write_rows(L, &b, bind, which, n_waiting);
			n_waiting = 0;
		}
	}
	load_write_rows(L, &b, bind, which, n_waiting);
	load_bulk_close(&b);
}

static const struct entity *patient_at(struct load *L, size_t k)
{
	return &L->patient[k].e;
}

static const struct entity *case_at(struct load *L, size_t k)
{
	return &L->case_[k].e;
}

static const struct entity *site_at(struct load *L, size_t k)
{
	return &L->site[k].e;
}

/* A stored record that the file filled or replaced facts of. */
static void change(struct load *L, record of, struct entity *e,
                   const double *fact, const uint32_t *at, int n)
{
	sqlite3_stmt *q = L->put[of];

	if (!e->stored || !(e->filled || e->replaced))
		return;
	for (int k = 0; k < n; k++)
		if (at[k])
			e->line = at[k];
	load_keep(L, of, e);
	sqlite3_bind_int64(q, 1, e->id);
	load_bind_facts(q, 2, of, fact, n);
	load_bind_end(L, q, 2 + n, e->line);
	load_fail(L, pd_db_do(L->s, q, L->err));
}

void load_write_tree(struct load *L)
{
	write_new(L, pd_sql_add_patient, bind_patient, patient_at,
	          L->n_patients);
	write_new(L, pd_sql_add_case, bind_case, case_at, L->n_cases);
	write_new(L, pd_sql_add_site, bind_site, site_at, L->n_sites);
	for (size_t k = 0; k < L->n_patients && L->st == PD_OK; k++)
		change(L, OF_PATIENT, &L->patient[k].e, L->patient[k].fact,
		       L->patient[k].at, N_PATIENT_FACTS);
	for (size_t k = 0; k < L->n_cases && L->st == PD_OK; k++)
		change(L, OF_CASE, &L->case_[k].e, L->case_[k].fact,
		       L->case_[k].at, N_CASE_FACTS);
	for (size_t k = 0; k < L->n_sites && L->st == PD_OK; k++)
		change(L, OF_SITE, &L->site[k].e, L->site[k].fact,
		       L->site[k].at, N_SITE_FACTS);
}

void load_write_names(struct load *L)
{
	static const char *const sql[] = {
		pd_sql_add_operator, pd_sql_add_device, pd_sql_add_method,
	};

	for (int t = 0; t < 3 && L->st == PD_OK; t++) {
		sqlite3_stmt *q = NULL;
		size_t n = pd_table_count(L->names[t]);

		load_fail(L, pd_db_prepare(L->s, sql[t], &q, L->err));
		for (size_t k = L->n_old_names[t]; k < n && L->st == PD_OK;
		     k++) {
			/* method versions count from 0, the nameless one */
			sqlite3_bind_int64(q, 1, (int64_t)k + (t != 2));
			pd_db_bind_text(q, 2, pd_table_word(L->names[t],
			                                    (uint32_t)k));
			load_fail(L, pd_db_do(L->s, q, L->err));
		}
		sqlite3_finalize(q);
	}
}
