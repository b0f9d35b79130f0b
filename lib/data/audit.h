/*
 * audit.h - the append-only chain of what was done to a store. Each row's
 * hash is SHA-256 over the row's parts and the hash of the row before:
 *
 *   seq LF at LF uid LF what LF bytes of detail LF detail LF previous LF
 *
 * numbers in decimal, hashes in lower-case hex, the first row's previous is
 * 64 zeros. Whoever holds a printed hash can show that the rows up to it are
 * the same; a file's owner can replace the whole file, nothing here stops it.
 */
#ifndef PERDRAW_DATA_AUDIT_H
#define PERDRAW_DATA_AUDIT_H

#include "data/store.h"

#include <stdint.h>

/* SHA-256 in hex, NUL-ended, of bytes[size]. */
void pd_sha256_hex(const void *bytes, size_t size, char out[65]);

/* Number of the user where none is recorded. */
enum { PD_AUDIT_NOBODY = -1 };

typedef struct pd_audit_row {
	int64_t seq, uid;
	const char *at, *what, *detail, *previous;
} pd_audit_row;

/* 64 zeros: what the first row follows. */
extern const char pd_audit_first[];
/* The hash of a row as above. */
pd_status pd_audit_hash(const pd_audit_row *r, char out[65], pd_error *err);

/*
 * Add a row inside the caller's transaction. date: ISO date of the act, or
 * "" for the present time in UTC. what: create, migrate, load, supersede,
 * plan, look, release or claim. Where the environment holds SOURCE_DATE_EPOCH, seconds since
 * 1970, that time stands for the present one, and the user's number is left
 * out (PD_AUDIT_NOBODY), so that the same files give the same chain whoever
 * loads them; PD_USAGE where it holds something else.
 */
pd_status pd_audit_add(pd_store *s, const char *what, const char *detail,
                       const char *date, pd_error *err);

/* Hash of the newest row, and the number of rows. */
pd_status pd_audit_head(pd_store *s, char out[65], int64_t *n, pd_error *err);
/* Hash of the newest row that changed data, "" when the chain is empty. */
pd_status pd_audit_data_state(pd_store *s, char out[65], pd_error *err);

#endif
