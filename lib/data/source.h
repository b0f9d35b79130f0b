/*
 * source.h - a file's bytes: read whole, hashed beside other work, and taken
 * back out of the store.
 */
#ifndef PERDRAW_DATA_SOURCE_H
#define PERDRAW_DATA_SOURCE_H

#include "base/buf.h"
#include "data/store.h"
#include <stdbool.h>

/* The whole of a regular file; the caller frees *bytes. PD_NO_INPUT where it
 * cannot be read, PD_DATA above 2 GiB. */
pd_status pd_source_read(const char *path, char **bytes, size_t *size,
                         pd_error *err);

typedef struct pd_source_hash pd_source_hash;
/* Begin SHA-256 of bytes[size], which must stay, in a thread of its own. */
pd_status pd_source_hash_begin(const void *bytes, size_t size,
                               pd_source_hash **out, pd_error *err);
/* Wait for it; may be asked again. */
void pd_source_hash_wait(pd_source_hash *h, char sha256[65]);
void pd_source_hash_free(pd_source_hash *h); /* NULL is welcome */

/*
 * What was kept of a source (docs/store.md: the file's own bytes, or those
 * without identifying columns), appended to *out. PD_DATA where there is no
 * such source or its bytes are damaged.
 */
pd_status pd_source_bytes(pd_store *s, const char *sha256, pd_buf *out,
                          pd_error *err);

#endif
