/* audit.c - rows of the chain added and walked. */
#include "data/audit.h"
#include "base/buf.h"
#include "base/scan.h"
#include "data/db.h"
#include "data/sql_text.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

const char pd_audit_first[] = "00000000000000000000000000000000"
                              "00000000000000000000000000000000";

void pd_sha256_hex(const void *bytes, size_t size, char out[65])
{
	unsigned char hash[crypto_hash_sha256_BYTES];

	crypto_hash_sha256(hash, bytes, size);
	sodium_bin2hex(out, 65, hash, sizeof hash);
}

pd_status pd_audit_hash(const pd_audit_row *r, char out[65], pd_error *err)
{
	pd_buf b;

	pd_buf_init(&b);
	pd_buf_print(&b, "%" PRId64 "\n%s\n%" PRId64 "\n%s\n%zu\n%s\n%s\n",
	             r->seq, r->at, r->uid, r->what, strlen(r->detail),
	             r->detail, r->previous);
	bool ok = pd_buf_ok(&b);

	if (ok)
		pd_sha256_hex(b.data, b.length, out);
	pd_buf_clear(&b);
	return ok ? PD_OK : pd_fail(err, PD_NO_MEMORY, "out of memory");
}

/* Newest row's number and hash; 0 and the first row's previous when empty. */
static pd_status newest(pd_store *s, const char *sql, int64_t *seq,
                        char hash[65], pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, sql, &q, err);

	*seq = 0;
	snprintf(hash, 65, "%s", pd_audit_first);
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row) {
		*seq = sqlite3_column_int64(q, 0);
		snprintf(hash, 65, "%s", pd_db_text(q, 1));
	}
	sqlite3_finalize(q);
	return st;
}

pd_status pd_audit_head(pd_store *s, char out[65], int64_t *n, pd_error *err)
{
	return newest(s, pd_sql_audit_last, n, out, err);
}

pd_status pd_audit_data_state(pd_store *s, char out[65], pd_error *err)
{
	sqlite3_stmt *q;
	bool row = false;
	pd_status st = pd_db_prepare(s, pd_sql_audit_data_state, &q, err);

	out[0] = '\0';
	if (st == PD_OK)
		st = pd_db_step(s, q, &row, err);
	if (row)
		snprintf(out, 65, "%s", pd_db_text(q, 0));
	sqlite3_finalize(q);
	return st;
}

/* The present moment in UTC, or the one that stands for it. *fixed: that. */
static pd_status moment(char now[24], bool *fixed, pd_error *err)
{
	const char *epoch = getenv("SOURCE_DATE_EPOCH");
	time_t t = time(NULL);
	int64_t seconds;
	struct tm utc;

	*fixed = epoch && *epoch;
	if (*fixed) {
		if (!pd_scan_whole(epoch, strlen(epoch), &seconds) ||
		    seconds < 0 || seconds > 253402300799)
			return pd_fail(err, PD_USAGE, "SOURCE_DATE_EPOCH wants "
			               "seconds since 1970, found '%s'", epoch);
		t = (time_t)seconds;
	}
	gmtime_r(&t, &utc);
	strftime(now, 24, "%Y-%m-%dT%H:%M:%SZ", &utc);
	return PD_OK;
}

pd_status pd_audit_add(pd_store *s, const char *what, const char *detail,
                       const char *date, pd_error *err)
{
	char previous[65], hash[65], now[24];
	bool fixed = false;
	sqlite3_stmt *q = NULL;
	pd_audit_row r = { .what = what, .detail = detail,
		           .previous = previous };
	pd_status st = moment(now, &fixed, err);

	r.at = date && *date ? date : now;
	r.uid = fixed ? PD_AUDIT_NOBODY : (int64_t)getuid();
	if (st == PD_OK)
		st = newest(s, pd_sql_audit_last, &r.seq, previous, err);
	r.seq++;
	if (st == PD_OK)
		st = pd_audit_hash(&r, hash, err);
	if (st == PD_OK)
		st = pd_db_prepare(s, pd_sql_audit_add, &q, err);
	if (st == PD_OK) {
		sqlite3_bind_int64(q, 1, r.seq);
		pd_db_bind_text(q, 2, r.at);
		sqlite3_bind_int64(q, 3, r.uid);
		pd_db_bind_text(q, 4, what);
		pd_db_bind_text(q, 5, detail);
		pd_db_bind_text(q, 6, previous);
		pd_db_bind_text(q, 7, hash);
		st = pd_db_do(s, q, err);
	}
	sqlite3_finalize(q);
	return st;
}

/* One row against the chain so far; `before` becomes its hash. */
static pd_status check_row(pd_store *s, sqlite3_stmt *q, int64_t seq,
                           char before[65], pd_error *err)
{
	pd_audit_row r = {
		.seq = sqlite3_column_int64(q, 0), .at = pd_db_text(q, 1),
		.uid = sqlite3_column_int64(q, 2), .what = pd_db_text(q, 3),
		.detail = pd_db_text(q, 4), .previous = pd_db_text(q, 5),
	};
	const char *stored = pd_db_text(q, 6);
	char hash[65];

	if (r.seq != seq)
		return pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
		                  "audit row %" PRId64 " is missing, found row "
		                  "%" PRId64 " in its place", seq, r.seq);
	if (strcmp(r.previous, before) != 0)
		return pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
		                  "audit row %" PRId64 " does not follow the "
		                  "row before it", seq);
	pd_status st = pd_audit_hash(&r, hash, err);

	if (st == PD_OK && strcmp(hash, stored) != 0)
		return pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
		                  "audit row %" PRId64 " was changed: its "
		                  "hash is not that of its words", seq);
	memcpy(before, hash, sizeof hash);
	return st;
}

pd_status pd_store_audit_verify(pd_store *s, pd_error *err)
{
	sqlite3_stmt *q;
	bool row = true;
	char before[65];
	int64_t seq = 0;
	pd_status st = pd_db_prepare(s, pd_sql_audit_all, &q, err);

	snprintf(before, sizeof before, "%s", pd_audit_first);
	while (st == PD_OK && row) {
		st = pd_db_step(s, q, &row, err);
		if (st == PD_OK && row)
			st = check_row(s, q, ++seq, before, err);
	}
	sqlite3_finalize(q);
	if (st == PD_OK && seq == 0)
		st = pd_fail_at(err, PD_BROKEN, s->path, 0, 0,
		                "audit chain is empty");
	return st;
}
