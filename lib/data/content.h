/*
 * content.h - are the stored rows still those that the last load left?
 * The audit chain proves what was done; this proves that nothing else was: a
 * turned bit on the disk, a value changed with another program. A load writes
 * a digest of every table into its row of the chain, and opening the store
 * takes them again.
 *
 *   digest of a table = BLAKE2b (16 bytes) over its rows in the order of
 *   their key; a column is its kind ('i', 'r', 't', 'b' or 'n') followed by 8
 *   bytes of a whole number or of a double, little end first, or by the length
 *   (8 bytes) and the bytes of a text or blob, or by nothing
 *
 * 16 bytes keep chance collisions away; whoever can rewrite the whole file can
 * rewrite the chain as well (docs/audit.md). Source: RFC 7693.
 */
#ifndef PERDRAW_DATA_CONTENT_H
#define PERDRAW_DATA_CONTENT_H

#include "base/buf.h"
#include "data/store.h"

/* "tables words=HEX sources=HEX ..." appended to *out; reads every row, some
 * 0.5 microseconds each. PD_IO and the like from the database. */
pd_status pd_content_describe(pd_store *s, pd_buf *out, pd_error *err);

/*
 * PD_BROKEN, the table named, where the rows are not those the newest load of
 * the chain left; PD_OK also where that load or a change of version noted no
 * digests (stores of older programs, until their next load). Looks once in
 * the life of a store's handle as long as the data stay in the same state.
 */
pd_status pd_content_verify(pd_store *s, pd_error *err);
/* The present rows are those just described in the chain: no need to look at
 * them again before another process, or time, has passed over them. */
pd_status pd_content_signed(pd_store *s, pd_error *err);

#endif
