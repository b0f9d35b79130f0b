/* history.c - the chain walked and held against the tables. */
#include "data/history.h"
#include "base/buf.h"
#include "base/version.h"
#include "data/audit.h"
#include "data/content.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* A file, a plan or a question as its table holds it. */
struct thing {
	int64_t id;
	const char *sha256, *name;
	int64_t n, more;
	bool named;        /* a row of the chain spoke of it */
};

struct things {
	size_t n;
	struct thing *at;
};

struct walk {
	pd_store *s;
	const pd_history_request *ask;
	pd_arena *arena;
	pd_history *out;
	size_t room, gap_room;
	struct things sources, plans, looks, claims;
	size_t n_plans, n_looks, n_claims; /* rows of the chain met so far */
	char before[65];
	int64_t seq;
};

static pd_status no_memory(pd_error *err)
{
	return pd_fail(err, PD_NO_MEMORY, "out of memory in the history");
}

/* ---- growing arrays of the arena ------------------------------------- */

static void *grown(pd_arena *arena, void *old, size_t n, size_t *room,
                   size_t size)
{
	size_t wanted = *room ? 2 * *room : 64;
	void *to;

	if (n < *room)
		return old;
	to = pd_arena_alloc(arena, wanted, size);
	if (to && n)
		memcpy(to, old, n * size);
	*room = to ? wanted : *room;
	return to;
}

static pd_status add_gap(struct walk *w, const char *text, pd_error *err)
{
	pd_history *h = w->out;
	const char **to = grown(w->arena, h->gap, h->n_gaps, &w->gap_room,
	                        sizeof *to);

	if (!to || !text)
		return no_memory(err);
	h->gap = to;
	h->gap[h->n_gaps++] = text;
	return PD_OK;
}

/* ---- the tables ------------------------------------------------------ */

/* with_id: the first column is a number, then hash and name change places. */
static bool take_thing(struct walk *w, sqlite3_stmt *q, bool with_id,
                       struct thing *t)
{
	int hash = with_id ? 2 : 0;

	t->id = with_id ? sqlite3_column_int64(q, 0) : 0;
	t->sha256 = pd_arena_copy(w->arena, pd_db_text(q, hash));
	t->name = pd_arena_copy(w->arena, pd_db_text(q, 1));
	t->n = sqlite3_column_int64(q, with_id ? 3 : 2);
	t->more = sqlite3_column_int64(q, 3);
	return t->sha256 && t->name;
}

static pd_status read_things(struct walk *w, const char *sql, bool with_id,
                             struct things *out, pd_error *err)
{
	sqlite3_stmt *q;
	size_t room = 0;
	bool row = true;
	pd_status st = pd_db_prepare(w->s, sql, &q, err);

	while (st == PD_OK && row) {
		struct thing *to;

		st = pd_db_step(w->s, q, &row, err);
		if (st != PD_OK || !row)
			break;
		to = grown(w->arena, out->at, out->n, &room, sizeof *to);
		if (!to) {
			st = no_memory(err);
			break;
		}
		out->at = to;
		if (!take_thing(w, q, with_id, &to[out->n++]))
			st = no_memory(err);
	}
	sqlite3_finalize(q);
	return st;
}

/* ---- what a row speaks of -------------------------------------------- */

/* The 64 signs after `mark` in the text, or "". */
static void hash_after(const char *text, const char *mark, char out[65])
{
	const char *at = strstr(text, mark);

	snprintf(out, 65, "%.64s", at ? at + strlen(mark) : "");
}

/* What follows `mark`, or the whole text. */
static const char *tail(const char *text, const char *mark)
{
	const char *at = strstr(text, mark);

	return at ? at + strlen(mark) : text;
}

static struct thing *source_of(struct walk *w, const char *detail)
{
	unsigned id = 0;

	if (sscanf(detail, "source %u", &id) != 1)
		return NULL;
	for (size_t i = 0; i < w->sources.n; i++)
		if (w->sources.at[i].id == id)
			return &w->sources.at[i];
	return NULL;
}

static pd_status of_load(struct walk *w, pd_history_row *r, const char *detail,
                         pd_error *err)
{
	struct thing *t = source_of(w, detail);
	char hash[65];

	hash_after(detail, "sha256 ", hash);
	r->words = pd_arena_print(w->arena, "%s; SHA-256 %.12s...",
	                          tail(detail, ": "), hash);
	if (!r->words)
		return no_memory(err);
	if (!t)
		return add_gap(w, pd_arena_print(
		    w->arena, "row %lld loaded a file that the database no "
		    "longer holds", r->seq), err);
	t->named = true;
	r->subject = t->name;
	r->words = pd_arena_print(w->arena, "%" PRId64 " rows: %s; SHA-256 "
	                          "%.12s...", t->n, tail(detail, ": "), hash);
	if (!r->words)
		return no_memory(err);
	return strcmp(hash, t->sha256) == 0
	           ? PD_OK
	           : add_gap(w, pd_arena_print(
	                 w->arena, "row %lld and the database give the file "
	                 "'%s' different SHA-256", r->seq, t->name), err);
}

/* SHA-256 of the rows source `id` moved to history, as load.c takes it. */
static pd_status replaced(struct walk *w, int64_t id, char sha256[65],
                          pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_buf b;
	pd_status st = pd_db_prepare(w->s, pd_sql_audit_replaced, &q, err);

	pd_buf_init(&b);
	if (st == PD_OK)
		sqlite3_bind_int64(q, 1, id);
	while (st == PD_OK && row) {
		st = pd_db_step(w->s, q, &row, err);
		for (int k = 0; st == PD_OK && row && k < 5; k++)
			pd_buf_print(&b, "%s\n", pd_db_text(q, k));
	}
	sqlite3_finalize(q);
	if (st == PD_OK && !pd_buf_ok(&b))
		st = no_memory(err);
	if (st == PD_OK)
		pd_sha256_hex(pd_buf_text(&b), b.length, sha256);
	pd_buf_clear(&b);
	return st;
}

static pd_status of_supersede(struct walk *w, pd_history_row *r,
                              const char *detail, pd_error *err)
{
	const struct thing *t = source_of(w, detail);
	const char *from = strstr(detail, "replaced ");
	const char *to = strstr(detail, ", history sha256 ");
	char hash[65], now[65] = "";
	pd_status st = PD_OK;

	hash_after(detail, "history sha256 ", hash);
	r->subject = t ? t->name : NULL;
	r->words = from && to && to > from
	               ? pd_arena_print(w->arena, "%.*s; %s",
	                                (int)(to - from), from,
	                                tail(detail, "reason: "))
	               : pd_arena_copy(w->arena, detail);
	if (!r->words)
		return no_memory(err);
	if (t)
		st = replaced(w, t->id, now, err);
	if (st == PD_OK && strcmp(now, hash) != 0)
		st = add_gap(w, pd_arena_print(
		    w->arena, "the rows that row %lld moved to history are not "
		    "those it wrote down", r->seq), err);
	return st;
}

/* The k-th plan or look of the chain is the k-th of its table. */
static pd_status of_reading(struct walk *w, pd_history_row *r,
                            const char *detail, struct things *in, size_t k,
                            const char *mark, pd_error *err)
{
	struct thing *t = k < in->n ? &in->at[k] : NULL;
	char hash[65];

	hash_after(detail, mark, hash);
	if (!t || strcmp(t->sha256, hash) != 0) {
		r->words = pd_arena_copy(w->arena, detail);
		return !r->words ? no_memory(err)
		       : add_gap(w, pd_arena_print(
		           w->arena, "row %lld speaks of a %s that the "
		           "database does not hold in that place", r->seq,
		           r->what), err);
	}
	t->named = true;
	r->subject = t->name;
	r->words = in == &w->plans
	               ? pd_arena_print(w->arena, "SHA-256 %.12s...", hash)
	           : in == &w->claims
	               ? pd_arena_print(w->arena, "in %" PRId64 " patients "
	                                "here; file SHA-256 %.12s...", t->more,
	                                hash)
	               : pd_arena_print(w->arena, "%" PRId64 " rows of %" PRId64
	                                " patients; question %.12s...", t->n,
	                                t->more, hash);
	return r->words ? PD_OK : no_memory(err);
}

/* Given away: the words stand in the row itself, nothing is kept of it. */
static pd_status of_release(struct walk *w, pd_history_row *r,
                            const char *detail, pd_error *err)
{
	char hash[65];

	hash_after(detail, "manifest sha256 ", hash);
	r->subject = "data set for others";
	r->words = pd_arena_print(w->arena, "%s; manifest SHA-256 %.12s...",
	                          tail(detail, ": "), hash);
	return r->words ? PD_OK : no_memory(err);
}

static pd_status tell(struct walk *w, pd_history_row *r, const char *detail,
                      pd_error *err)
{
	if (strcmp(r->what, "load") == 0)
		return of_load(w, r, detail, err);
	if (strcmp(r->what, "supersede") == 0)
		return of_supersede(w, r, detail, err);
	if (strcmp(r->what, "plan") == 0)
		return of_reading(w, r, detail, &w->plans, w->n_plans++,
		                  "plan ", err);
	if (strcmp(r->what, "look") == 0)
		return of_reading(w, r, detail, &w->looks, w->n_looks++,
		                  "question ", err);
	if (strcmp(r->what, "claim") == 0)
		return of_reading(w, r, detail, &w->claims, w->n_claims++,
		                  "claim ", err);
	if (strcmp(r->what, "release") == 0)
		return of_release(w, r, detail, err);
	r->words = pd_arena_print(w->arena, "database %s, %s",
	                          strcmp(r->what, "create") == 0 ? "made"
	                                                         : "changed",
	                          detail);
	return r->words ? PD_OK : no_memory(err);
}

/* ---- the chain ------------------------------------------------------- */

/* What differs at a row whose words give `hash`; NULL when nothing does.
 * *ok false: out of memory. */
static const char *differs(const struct walk *w, const pd_audit_row *r,
                           const char *hash, const char *stored, bool *ok)
{
	bool words = strcmp(hash, stored) != 0;
	bool link = strcmp(r->previous, w->before) != 0;
	const char *text;

	*ok = true;
	if (r->seq != w->seq)
		text = pd_arena_print(w->arena, "row %" PRId64 " should stand "
		                      "here and is missing", w->seq);
	else if (words && link)
		text = pd_arena_print(w->arena, "it follows %.12s..., the row "
		                      "before it has %.12s..., and its own "
		                      "words give the hash %.12s..., it "
		                      "carries %.12s...", r->previous, w->before, hash,
		                      stored);
	else if (words)
		text = pd_arena_print(w->arena, "its words give the hash "
		                      "%.12s..., it carries %.12s...", hash,
		                      stored);
	else if (link)
		text = pd_arena_print(w->arena, "it follows %.12s..., the row "
		                      "before it has %.12s...", r->previous,
		                      w->before);
	else
		return NULL;
	*ok = text != NULL;
	return text;
}

static pd_status judge(struct walk *w, const pd_audit_row *r,
                       const char *stored, const char **broken, pd_error *err)
{
	char hash[65];
	bool ok;
	pd_status st = pd_audit_hash(r, hash, err);

	if (st != PD_OK)
		return st;
	w->seq++;
	*broken = differs(w, r, hash, stored, &ok);
	if (!ok)
		return no_memory(err);
	w->out->n_broken += *broken != NULL;
	w->seq = r->seq;
	snprintf(w->before, sizeof w->before, "%.64s", stored);
	return PD_OK;
}

static bool passes(const pd_history_request *ask, const pd_history_row *r)
{
	return (!ask->what || strcmp(ask->what, r->what) == 0) &&
	       (!ask->since || strncmp(r->at, ask->since, 10) >= 0);
}

static bool changes_data(const char *what)
{
	return strcmp(what, "create") == 0 || strcmp(what, "load") == 0 ||
	       strcmp(what, "supersede") == 0;
}

static pd_status add_row(struct walk *w, sqlite3_stmt *q, pd_error *err)
{
	pd_audit_row a = {
		.seq = sqlite3_column_int64(q, 0), .at = pd_db_text(q, 1),
		.uid = sqlite3_column_int64(q, 2), .what = pd_db_text(q, 3),
		.detail = pd_db_text(q, 4), .previous = pd_db_text(q, 5),
	};
	pd_history *h = w->out;
	pd_history_row *r = grown(w->arena, h->row, h->n_rows, &w->room,
	                          sizeof *r);
	const char *stored = pd_db_text(q, 6);

	if (!r)
		return no_memory(err);
	h->row = r;
	r += h->n_rows++;
	*r = (pd_history_row){ .seq = a.seq, .uid = a.uid,
		               .at = pd_arena_copy(w->arena, a.at),
		               .what = pd_arena_copy(w->arena, a.what),
		               .hash = pd_arena_copy(w->arena, stored) };
	if (!r->at || !r->what || !r->hash)
		return no_memory(err);
	pd_status st = judge(w, &a, stored, &r->broken, err);

	if (st == PD_OK)
		st = tell(w, r, a.detail, err);
	r->shown = passes(w->ask, r);
	h->n_shown += r->shown;
	h->head = r->hash;
	if (changes_data(r->what))
		h->data_state = r->hash;
	if (w->ask->printed && strcmp(w->ask->printed, r->hash) == 0)
		h->printed_row = r->seq;
	return st;
}

static pd_status walk_chain(struct walk *w, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	pd_status st = pd_db_prepare(w->s, pd_sql_audit_all, &q, err);

	while (st == PD_OK && row) {
		st = pd_db_step(w->s, q, &row, err);
		if (st == PD_OK && row)
			st = add_row(w, q, err);
	}
	sqlite3_finalize(q);
	if (st == PD_OK && w->out->n_rows == 0)
		st = pd_fail_at(err, PD_BROKEN, w->s->path, 0, 0,
		                "audit chain is empty");
	return st;
}

/* What a table holds and no row of the chain speaks of. */
static pd_status unspoken(struct walk *w, const struct things *of,
                          const char *kind, pd_error *err)
{
	pd_status st = PD_OK;

	for (size_t i = 0; st == PD_OK && i < of->n; i++)
		if (!of->at[i].named)
			st = add_gap(w, pd_arena_print(
			    w->arena, "the database holds a %s, '%s', that the "
			    "chain does not speak of in that place", kind,
			    of->at[i].name), err);
	return st;
}

/* Rows changed behind the chain's back are a gap like others. */
static pd_status hold_rows(struct walk *w, pd_error *err)
{
	pd_error why = { .text = "" };
	pd_status st = pd_content_verify(w->s, &why);

	if (st == PD_BROKEN)
		return add_gap(w, pd_arena_copy(w->arena, why.text), err);
	if (st != PD_OK && err)
		*err = why;
	return st;
}

pd_status pd_history_read(pd_store *s, const pd_history_request *ask,
                          pd_arena *arena, pd_history *out, pd_error *err)
{
	struct walk w = { .s = s, .ask = ask, .arena = arena, .out = out };
	pd_status st = pd_db_begin_read(s, err);

	*out = (pd_history){ .version = PD_VERSION, .since = ask->since,
		             .only = ask->what, .printed = ask->printed,
		             .head = "", .data_state = "" };
	snprintf(w.before, sizeof w.before, "%s", pd_audit_first);
	if (st == PD_OK)
		st = read_things(&w, pd_sql_audit_sources, true, &w.sources,
		                 err);
	if (st == PD_OK)
		st = read_things(&w, pd_sql_audit_plans, false, &w.plans, err);
	if (st == PD_OK)
		st = read_things(&w, pd_sql_audit_looks, false, &w.looks, err);
	if (st == PD_OK && s->version >= 3)
		st = read_things(&w, pd_sql_audit_claims, false, &w.claims,
		                 err);
	if (st == PD_OK)
		st = walk_chain(&w, err);
	if (st == PD_OK)
		st = unspoken(&w, &w.sources, "file", err);
	if (st == PD_OK)
		st = unspoken(&w, &w.plans, "plan", err);
	if (st == PD_OK)
		st = unspoken(&w, &w.looks, "reading", err);
	if (st == PD_OK)
		st = unspoken(&w, &w.claims, "claim", err);
	if (st == PD_OK)
		st = hold_rows(&w, err);
	return pd_db_end(s, st, err);
}
