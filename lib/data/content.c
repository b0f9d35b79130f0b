/* content.c - one walk over all rows, a digest a table. */
#include "data/content.h"
#include "data/audit.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <sodium.h>
#include <stdint.h>
#include <string.h>

enum { DIGEST = 16, NAME_ROOM = 32, MOST_TABLES = 32, PIECE = 32768 };

struct digests {
	size_t n;
	char name[MOST_TABLES][NAME_ROOM], hex[MOST_TABLES][2 * DIGEST + 1];
};

struct taking {
	crypto_generichash_state state;
	size_t n;
	bool no_memory;
	unsigned char piece[PIECE];
};

static void take(struct taking *t, const void *bytes, size_t n)
{
	if (n > PIECE - t->n) {
		crypto_generichash_update(&t->state, t->piece, t->n);
		t->n = 0;
	}
	if (n > PIECE) {
		crypto_generichash_update(&t->state, bytes, n);
		return;
	}
	if (n)
		memcpy(t->piece + t->n, bytes, n);
	t->n += n;
}

/* The kind of a column and 8 bytes, least first on every machine. */
static void take_word(struct taking *t, char kind, uint64_t word)
{
	unsigned char b[9] = { (unsigned char)kind };

	for (int i = 0; i < 8; i++)
		b[1 + i] = (unsigned char)(word >> (8 * i));
	take(t, b, sizeof b);
}

static void take_column(struct taking *t, sqlite3_stmt *q, int k)
{
	double real;
	uint64_t word;
	int kind = sqlite3_column_type(q, k);

	switch (kind) {
	case SQLITE_INTEGER:
		take_word(t, 'i', (uint64_t)sqlite3_column_int64(q, k));
		break;
	case SQLITE_FLOAT:
		real = sqlite3_column_double(q, k);
		memcpy(&word, &real, sizeof word);
		take_word(t, 'r', word);
		break;
	case SQLITE_TEXT:
	case SQLITE_BLOB: {
		const void *bytes = kind == SQLITE_TEXT
		                        ? (const void *)sqlite3_column_text(q, k)
		                        : sqlite3_column_blob(q, k);
		size_t n = (size_t)sqlite3_column_bytes(q, k);

		/* an empty blob has no bytes; anything else has */
		t->no_memory |= !bytes && (n || kind == SQLITE_TEXT);
		take_word(t, kind == SQLITE_TEXT ? 't' : 'b', n);
		take(t, bytes, bytes ? n : 0);
		break;
	}
	default:
		take(t, "n", 1);
	}
}

/* The rows of one table, its name in their first column. */
static pd_status digest_rows(pd_store *s, sqlite3_stmt *q, struct taking *t,
                             struct digests *d, pd_error *err)
{
	unsigned char hash[DIGEST];
	bool row = true;
	int n = sqlite3_column_count(q);
	/* the name stands in the statement, also where there is no row */
	const char *name = strchr(sqlite3_sql(q), '\'');
	size_t length = name ? strcspn(++name, "'") : 0;

	if (!length || length >= NAME_ROOM || d->n >= MOST_TABLES)
		return pd_fail(err, PD_INTERNAL, "no table in '%s'",
		               sqlite3_sql(q));
	memcpy(d->name[d->n], name, length);
	d->name[d->n][length] = '\0';
	crypto_generichash_init(&t->state, NULL, 0, DIGEST);
	t->n = 0;
	t->no_memory = false;
	for (;;) {
		pd_status st = pd_db_step(s, q, &row, err);

		if (st != PD_OK)
			return st;
		if (!row)
			break;
		for (int k = 1; k < n; k++)
			take_column(t, q, k);
		if (t->no_memory)
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	crypto_generichash_update(&t->state, t->piece, t->n);
	crypto_generichash_final(&t->state, hash, DIGEST);
	sodium_bin2hex(d->hex[d->n++], 2 * DIGEST + 1, hash, DIGEST);
	return PD_OK;
}

static pd_status digest_all(pd_store *s, struct digests *d, pd_error *err)
{
	struct taking t;
	const char *rest = pd_sql_content;
	pd_status st = PD_OK;

	d->n = 0;
	while (st == PD_OK && rest && *rest) {
		sqlite3_stmt *q = NULL;
		int rc = sqlite3_prepare_v2(s->db, rest, -1, &q, &rest);

		st = pd_db_fail(s, rc, err);
		if (st == PD_OK && !q)
			break; /* blanks after the last */
		if (st == PD_OK)
			st = digest_rows(s, q, &t, d, err);
		sqlite3_finalize(q);
	}
	return st;
}

pd_status pd_content_describe(pd_store *s, pd_buf *out, pd_error *err)
{
	struct digests d;
	pd_status st = digest_all(s, &d, err);

	if (st != PD_OK)
		return st;
	pd_buf_add(out, "tables");
	for (size_t i = 0; i < d.n; i++)
		pd_buf_print(out, " %s=%s", d.name[i], d.hex[i]);
	return pd_buf_ok(out) ? PD_OK
	                      : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* Is that what a load noted of the table? True where it noted none. */
static bool noted_so(const char *noted, const char *name, const char *hex)
{
	char mark[NAME_ROOM + 2];
	size_t n = (size_t)snprintf(mark, sizeof mark, " %s=", name);
	const char *at = strstr(noted, mark);

	return !at || strncmp(at + n, hex, 2 * DIGEST) == 0;
}

/* Every table against what the newest act on the data noted. */
static pd_status hold(pd_store *s, const char *noted, pd_error *err)
{
	struct digests d;
	pd_status st = digest_all(s, &d, err);

	for (size_t i = 0; st == PD_OK && i < d.n; i++)
		if (!noted_so(noted, d.name[i], d.hex[i]))
			st = pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
			                "rows of table '%s' are not those that "
			                "the last load left: the file is "
			                "damaged, or another program wrote "
			                "into it; go back to a copy",
			                d.name[i]);
	return st;
}

static pd_status verify(pd_store *s, pd_error *err)
{
	sqlite3_stmt *q = NULL;
	bool row = false;
	const char *noted = NULL;
	pd_status st = pd_db_prepare(s, pd_sql_audit_content, &q, err);

	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (st == PD_OK && row)
		noted = strstr(pd_db_text(q, 0), "tables ");
	if (noted)
		st = hold(s, noted + strlen("tables"), err);
	sqlite3_finalize(q);
	return st;
}

pd_status pd_content_verify(pd_store *s, pd_error *err)
{
	char state[65];
	bool alone = sqlite3_get_autocommit(s->db) != 0;
	/* note and rows of one moment */
	pd_status st = alone ? pd_db_begin_read(s, err) : PD_OK;

	if (st == PD_OK)
		st = pd_audit_data_state(s, state, err);
	if (st == PD_OK && strcmp(state, s->held_state) != 0) {
		st = verify(s, err);
		if (st == PD_OK)
			memcpy(s->held_state, state, sizeof state);
	}
	return alone ? pd_db_end(s, st, err) : st;
}

pd_status pd_content_signed(pd_store *s, pd_error *err)
{
	return pd_audit_data_state(s, s->held_state, err);
}
