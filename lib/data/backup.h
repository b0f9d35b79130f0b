/*
 * backup.h - a checked copy of a store in a new file.
 */
#ifndef PERDRAW_DATA_BACKUP_H
#define PERDRAW_DATA_BACKUP_H

#include "data/store.h"

typedef struct pd_backup {
	size_t bytes;            /* of the copy                               */
	size_t n_audit;          /* rows of its audit chain                   */
	char audit_head[65];     /* hash of the newest of them                */
	char sha256[65];         /* of the copy's bytes                       */
	pd_store_counts counts;  /* what the copy holds                       */
} pd_backup;

/*
 * Copy s to `path`, which must not exist (PD_CANNOT_CREATE). The copy is what
 * s held at one moment; others may read and write s meanwhile. It is made
 * beside its place under another name, mode 0600, checked (every page, index
 * and rule of the tables; parents; the tables' texts; the audit chain, whose
 * head must be that of s), synced and hashed before it gets its name; on any
 * failure nothing is left. It needs no second file: its journal mode is the
 * rollback journal's until it is next opened for writing.
 *
 * progress: called with pages done and to do; may be NULL.
 *
 * PD_CANNOT_CREATE or PD_NO_PERMISSION for the place, PD_IO for a full disk
 * or a failed read or write, PD_BUSY where the store stays locked, PD_DATA
 * for a damaged store, PD_BROKEN for a broken chain.
 */
typedef void (*pd_backup_progress)(void *user, size_t done, size_t of);
pd_status pd_store_backup(pd_store *s, const char *path,
                          pd_backup_progress progress, void *user,
                          pd_backup *out, pd_error *err);

#endif
