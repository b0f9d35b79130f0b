/*
 * load.c - one file from its first byte to the commit. Three things go on at
 * once: a thread parses and checks rows (load_feed.c), a thread hashes the
 * bytes (source.c), and this one writes what was read. Everything happens in
 * one transaction, which an error-level finding or a failure rolls back.
 */
#include "base/buf.h"
#include "base/scan.h"
#include "data/audit.h"
#include "data/content.h"
#include "data/load_own.h"
#include "data/privacy.h"
#include "data/source.h"
#include "data/sql_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* What is read before the database is touched. */
struct input {
	char *bytes, *map_text;
	size_t size, map_size;
	pd_map *map;
	unsigned char key[PD_KEY_BYTES];
	bool has_key;
	pd_source_hash *hash;
};

static const char *base_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

static pd_status open_input(const pd_load_request *r, struct input *in,
                            pd_error *err)
{
	pd_status st = pd_source_read(r->path, &in->bytes, &in->size, err);

	if (st == PD_OK)
		st = pd_source_hash_begin(in->bytes, in->size, &in->hash, err);
	if (st == PD_OK && r->map_path)
		st = pd_source_read(r->map_path, &in->map_text, &in->map_size,
		                    err);
	if (st == PD_OK)
		st = pd_map_parse(in->map_text, in->map_size,
		                  r->map_path ? base_name(r->map_path) : NULL,
		                  &in->map, err);
	if (st == PD_OK && pd_map_wants_key(in->map) && !r->key_path)
		st = pd_fail_at(err, PD_USAGE, r->map_path, 0, 0,
		                "map asks for pseudonyms, which need a key "
		                "file");
	if (st == PD_OK && r->key_path) {
		st = pd_key_read(r->key_path, in->key, err);
		in->has_key = st == PD_OK;
	}
	return st;
}

static void close_input(struct input *in)
{
	pd_source_hash_free(in->hash);
	pd_map_free(in->map);
	pd_key_forget(in->key);
	free(in->bytes);
	free(in->map_text);
}

/* ---- begin and end of a load ---- */

static void read_ids(struct load *L)
{
	sqlite3_stmt *q = NULL;
	bool row = false;

	load_fail(L, pd_db_prepare(L->s, pd_sql_next_ids, &q, L->err));
	if (L->st == PD_OK)
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
	if (row) {
		L->next_patient = sqlite3_column_int64(q, 0) + 1;
		L->next_case = sqlite3_column_int64(q, 1) + 1;
		L->source_id = (uint32_t)sqlite3_column_int64(q, 2) + 1;
		L->last_history = sqlite3_column_int64(q, 3);
		L->store_empty = L->next_patient == 1;
	}
	sqlite3_finalize(q);
}

static void open_load(struct load *L)
{
	bool ok;

	L->own = pd_findings_new();
	L->arena = pd_arena_new();
	L->changed = pd_table_new();
	L->spread = calloc(MOST_METHODS + 1, sizeof *L->spread);
	ok = L->own && L->arena && L->changed && L->spread;
	for (int k = 0; k < 2; k++)
		ok = (L->labels[k] = pd_table_new()) && ok;
	for (int k = 0; k < 3; k++)
		ok = (L->names[k] = pd_table_new()) && ok;
	if (!ok)
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
	if (L->st == PD_OK)
		read_ids(L);
	if (L->st == PD_OK)
		load_tree_open(L);
	if (L->st == PD_OK)
		load_write_open(L);
}

static void close_load(struct load *L)
{
	load_write_close(L);
	for (int k = 0; k < 2; k++)
		pd_table_free(L->labels[k]);
	for (int k = 0; k < 3; k++)
		pd_table_free(L->names[k]);
	for (int m = 0; L->spread && m <= MOST_METHODS; m++)
		free(L->spread[m]);
	free(L->spread);
	pd_table_free(L->changed);
	free(L->given);
	free(L->patient);
	free(L->case_);
	free(L->site);
	free(L->pooled);
	pd_findings_free(L->own);
	pd_arena_free(L->arena);
}

/* ---- the file's own rows ---- */

static bool is_loaded(struct load *L, const char *sha256)
{
	sqlite3_stmt *q = NULL;
	bool row = false;

	load_fail(L, pd_db_prepare(L->s, pd_sql_find_source, &q, L->err));
	if (L->st == PD_OK) {
		pd_db_bind_text(q, 1, sha256);
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
	}
	sqlite3_finalize(q);
	return row;
}

/* Only a file of a stored one's size needs its hash before it is read. */
static bool may_be_loaded(struct load *L, size_t size)
{
	sqlite3_stmt *q = NULL;
	bool row = false, may = false;

	load_fail(L, pd_db_prepare(L->s, pd_sql_same_size, &q, L->err));
	if (L->st == PD_OK) {
		sqlite3_bind_int64(q, 1, (int64_t)size);
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		may = row && sqlite3_column_int64(q, 0) > 0;
	}
	sqlite3_finalize(q);
	return may;
}

static void write_source(struct load *L, const struct input *in,
                         const void *kept, size_t kept_size)
{
	sqlite3_stmt *q = NULL;

	load_fail(L, pd_db_prepare(L->s, pd_sql_add_source, &q, L->err));
	if (L->st == PD_OK) {
		sqlite3_bind_int64(q, 1, L->source_id);
		pd_db_bind_text(q, 2, base_name(L->request->path));
		pd_db_bind_text(q, 3, L->report->sha256);
		sqlite3_bind_int64(q, 4, (int64_t)in->size);
		sqlite3_bind_int64(q, 5, (int64_t)L->report->n_rows);
		pd_db_bind_text(q, 6, in->map_text);
		pd_db_bind_text(q, 7, L->request->date ? L->request->date
		                                       : "");
		load_fail(L, pd_db_do(L->s, q, L->err));
	}
	sqlite3_finalize(q);
	q = NULL;
	load_fail(L, pd_db_prepare(L->s, pd_sql_add_source_bytes, &q, L->err));
	if (L->st == PD_OK) {
		sqlite3_bind_int64(q, 1, L->source_id);
		sqlite3_bind_blob64(q, 2, kept, kept_size, SQLITE_STATIC);
		load_fail(L, pd_db_do(L->s, q, L->err));
	}
	sqlite3_finalize(q);
}

static void write_findings(struct load *L, const pd_findings *list)
{
	static const char *const level[] = { "note", "warning", "error" };
	sqlite3_stmt *q = NULL;

	load_fail(L, pd_db_prepare(L->s, pd_sql_add_finding, &q, L->err));
	for (size_t i = 0; L->st == PD_OK && i < pd_findings_stored(list);
	     i++) {
		const pd_finding *f = pd_findings_at(list, i);

		sqlite3_bind_int64(q, 1, L->source_id);
		pd_db_bind_text(q, 2, f->code);
		pd_db_bind_text(q, 3, level[f->level]);
		sqlite3_bind_int64(q, 4, f->line);
		sqlite3_bind_int64(q, 5, f->column);
		pd_db_bind_text(q, 6, f->found);
		pd_db_bind_text(q, 7, f->expected);
		load_fail(L, pd_db_do(L->s, q, L->err));
	}
	sqlite3_finalize(q);
}

/* A note where this file's map is not the one of files before. */
static void compare_maps(struct load *L, const struct input *in)
{
	sqlite3_stmt *q = NULL;
	bool row = false;

	load_fail(L, pd_db_prepare(L->s, pd_sql_other_maps, &q, L->err));
	if (L->st == PD_OK) {
		pd_db_bind_text(q, 1, in->map_text);
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
	}
	if (row)
		load_find(L, "unit-provenance", PD_NOTE, 0, PD_N_FIELDS,
		          "the same units as before, or a map that declares "
		          "the change",
		          "columns are declared otherwise than for '%s'",
		          pd_db_text(q, 0));
	sqlite3_finalize(q);
}

/* ---- audit ---- */

/* One hash over the rows this load moved into history. */
static void hash_history(struct load *L, char sha256[65])
{
	sqlite3_stmt *q = NULL;
	bool row = true;
	pd_buf b;

	pd_buf_init(&b);
	load_fail(L, pd_db_prepare(L->s, pd_sql_history_since, &q, L->err));
	if (L->st == PD_OK)
		sqlite3_bind_int64(q, 1, L->last_history);
	while (L->st == PD_OK && row) {
		load_fail(L, pd_db_step(L->s, q, &row, L->err));
		for (int k = 0; row && k < 5; k++)
			pd_buf_print(&b, "%s\n", pd_db_text(q, k));
	}
	sqlite3_finalize(q);
	if (!pd_buf_ok(&b))
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
	pd_sha256_hex(pd_buf_text(&b), b.length, sha256);
	pd_buf_clear(&b);
}

static void write_audit(struct load *L, const struct input *in)
{
	char hash[65] = "none";
	const char *why = L->request->reason;
	pd_buf b;

	pd_buf_init(&b);
	if (L->report->n_superseded || L->n_filled) {
		hash_history(L, hash);
		pd_buf_print(&b, "source %u replaced %zu rows and filled "
		             "blanks of %u, history sha256 %s, reason: %s",
		             L->source_id, L->report->n_superseded,
		             L->n_filled, hash,
		             why && *why ? why : "none given");
		load_fail(L, pd_audit_add(L->s, "supersede", pd_buf_text(&b),
		                          L->request->date, L->err));
		pd_buf_reset(&b);
	}
	snprintf(hash, sizeof hash, "canonical");
	if (in->map_text)
		pd_sha256_hex(in->map_text, in->map_size, hash);
	pd_buf_print(&b, "source %u, sha256 %s, %zu rows, map %s, ",
	             L->source_id, L->report->sha256, L->report->n_rows, hash);
	load_fail(L, pd_content_describe(L->s, &b, L->err));
	pd_buf_print(&b, ": %zu patients, %zu cases, %zu sites, %zu aliquots, "
	             "%zu results new", L->report->n_patients,
	             L->report->n_cases, L->report->n_sites,
	             L->report->n_aliquots, L->report->n_results);
	if (!pd_buf_ok(&b))
		load_fail(L, pd_fail(L->err, PD_NO_MEMORY, "out of memory"));
	if (L->st == PD_OK)
		load_fail(L, pd_audit_add(L->s, "load", pd_buf_text(&b),
		                          L->request->date, L->err));
	if (L->st == PD_OK)
		load_fail(L, pd_content_signed(L->s, L->err));
	pd_buf_clear(&b);
}

/* ---- findings ---- */

/* Looking a place up costs up to 0.2 ms: beyond these the line must do. */
enum { MOST_PLACES = 5000 };

/* The loader's findings to the caller's, with their places in the file. */
static void hand_over(struct load *L, load_feed *feed, pd_findings *to)
{
	for (size_t i = 0; L->st == PD_OK && i < pd_findings_stored(L->own);
	     i++) {
		const pd_finding *f = pd_findings_at(L->own, i);
		uint32_t line = f->line, column = 0;

		if (f->column && f->line && i < MOST_PLACES)
			load_feed_place(feed, f->line,
			                (pd_field)(f->column - 1), &line,
			                &column);
		load_fail(L, pd_findings_add(to, f->code, f->level, line,
		                             column, f->found, f->expected));
	}
	pd_findings_sort(to);
}

/* ---- the whole ---- */

/* Rows, rules, and what the file leaves behind; inside the transaction. */
static void take_file(struct load *L, struct input *in, load_feed *feed,
                      pd_findings *findings)
{
	const pd_batch *b;
	const void *kept;
	size_t size, n_rows = 0;

	while (L->st == PD_OK && (b = load_feed_next(feed)))
		load_take_batch(L, b);
	load_fail(L, load_feed_join(feed, &n_rows, L->err));
	L->report->n_rows = n_rows;
	bool whole = pd_findings_count(findings, PD_ERROR) == 0;

	if (L->st == PD_OK)
		load_write_pools(L);
	load_flush(L);
	load_write_tree(L);
	load_write_names(L);
	compare_maps(L, in);
	if (L->st == PD_OK)
		load_rules(L, whole);
	hand_over(L, feed, findings);
	size_t n = pd_findings_count(findings, PD_ERROR);

	if (n > 0)
		load_fail(L, pd_fail_at(L->err, PD_DATA, L->request->path, 0,
		                        0, "%zu errors, nothing was stored",
		                        n));
	pd_source_hash_wait(in->hash, L->report->sha256);
	kept = load_feed_kept(feed, &size);
	if (L->st == PD_OK && is_loaded(L, L->report->sha256)) {
		L->report->already_loaded = 1;
		return;
	}
	if (L->st == PD_OK)
		write_source(L, in, kept, size);
	load_write_profiles(L);
	write_findings(L, findings);
	if (L->st == PD_OK)
		write_audit(L, in);
}

/*
 * An empty store is filled under a rollback journal: it holds the few pages
 * there were, while a write-ahead log would hold every new page and copy it
 * again. As safe, and a tenth faster. Where others have the store open the
 * log stays. `on` false: back to the log.
 */
static void choose_journal(pd_store *s, bool on)
{
	sqlite3_int64 n = 1;

	if (!s->wal)
		return;
	sqlite3_busy_timeout(s->db, 0); /* not worth waiting for */
	if (on && pd_db_number(s, pd_sql_count_sources, &n, NULL) == PD_OK &&
	    n == 0)
		pd_db_run(s, pd_sql_rollback_journal, NULL);
	else if (!on)
		pd_db_run(s, pd_sql_journal, NULL);
	sqlite3_busy_timeout(s->db, PD_DB_BUSY_MS);
}

/* Day of the load: as asked for, else by the clock, UTC. */
static int32_t load_day(const char *date)
{
	int32_t day;

	if (date && pd_scan_date(date, strlen(date), &pd_date_iso, &day))
		return day;
	return (int32_t)(time(NULL) / 86400);
}

static pd_status load_rows(pd_store *s, const pd_load_request *request,
                           struct input *in, pd_findings *findings,
                           pd_load_report *report, pd_error *err)
{
	struct load L = { .s = s, .request = request, .report = report,
		          .err = err, .day = load_day(request->date) };
	load_feed *feed = NULL;
	bool store = false;

	choose_journal(s, true);
	load_fail(&L, pd_db_run(s, pd_sql_load_on, err));
	if (L.st == PD_OK)
		load_fail(&L, pd_db_begin_write(s, err));
	if (L.st == PD_OK && may_be_loaded(&L, in->size)) {
		pd_source_hash_wait(in->hash, report->sha256);
		report->already_loaded = is_loaded(&L, report->sha256);
	}
	/* what is signed at the end must be what was signed before */
	if (L.st == PD_OK && !report->already_loaded)
		load_fail(&L, pd_content_verify(s, err));
	if (L.st == PD_OK && !report->already_loaded) {
		open_load(&L);
		if (L.st == PD_OK)
			load_fail(&L, load_feed_open(in->bytes, in->size,
			          in->map, in->has_key ? in->key : NULL,
			          findings, &feed, err));
		if (L.st == PD_OK)
			take_file(&L, in, feed, findings);
		store = L.st == PD_OK && !report->already_loaded;
		load_feed_free(feed);
		close_load(&L);
	}
	if (store && !request->dry_run)
		load_fail(&L, pd_db_end(s, PD_OK, err));
	else
		pd_db_end(s, PD_REFUSED, NULL); /* any failure: roll back */
	pd_db_run(s, pd_sql_load_off, NULL);
	choose_journal(s, false);
	if (L.st == PD_OK && store)
		report->n_accepted = report->n_rows;
	return L.st;
}

/* After a roll back nothing is new, whatever had been counted. */
static void forget_counts(pd_load_report *r)
{
	r->n_accepted = r->n_patients = r->n_cases = r->n_sites = 0;
	r->n_aliquots = r->n_results = r->n_superseded = 0;
}

pd_status pd_load_file(pd_store *s, const pd_load_request *request,
                       pd_findings *findings, pd_load_report *report,
                       pd_error *err)
{
	struct input in = { .bytes = NULL };
	pd_status st;

	*report = (pd_load_report){ .n_rows = 0 };
	if (!s->writable)
		return pd_fail_at(err, PD_NO_PERMISSION, s->path, 0, 0,
		                  "database was opened for reading only");
	st = open_input(request, &in, err);
	if (st == PD_OK)
		st = load_rows(s, request, &in, findings, report, err);
	if (st != PD_OK || report->already_loaded)
		forget_counts(report);
	close_input(&in);
	return st;
}
