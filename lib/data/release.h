/*
 * release.h - clean rows out of the store for others: random codes in place
 * of names, years in place of dates, bands in place of ages and body mass
 * indices, small groups of patients blanked. Rule, source and limits:
 * docs/methods/de-identification.md.
 *
 * Columns go out by an allow-list: every field of the vocabulary has a row in
 * the table of release_policy.c, and one that has none never leaves.
 */
#ifndef PERDRAW_DATA_RELEASE_H
#define PERDRAW_DATA_RELEASE_H

#include "base/arena.h"
#include "base/buf.h"
#include "base/release.h"
#include "data/store.h"
#include "data/vocab.h"

typedef struct pd_release_request {
	const char *date;      /* ISO date of the release                    */
	unsigned smallest;     /* 0: PD_RELEASE_SMALLEST                     */
	bool only_warn, whole_years, method_names, days, batches;
	bool seeded;           /* codes from seed, else the system's source  */
	uint64_t seed;
} pd_release_request;

enum { PD_RELEASE_SMALLEST = 5 };

/* What becomes of a field. */
typedef enum pd_release_rule {
	PD_RELEASE_UNDECIDED,  /* no row in the table: never goes out        */
	PD_RELEASE_KEPT,       /* as it is                                   */
	PD_RELEASE_CODED,      /* a new random code                          */
	PD_RELEASE_COARSE,     /* year, band, merged words; blanked in small
	                          groups                                     */
	PD_RELEASE_LAID_OUT,   /* of files with one outcome a row: columns
	                          of our own                                 */
	PD_RELEASE_LEFT_OUT
} pd_release_rule;

pd_release_rule pd_release_of_field(pd_field f);

typedef struct pd_release_work pd_release_work; /* opaque: rows to be */

/*
 * Read the store at one moment and decide everything; *out lives until
 * pd_release_free or the store is closed. PD_REFUSED where the store holds
 * fewer patients than a group must have, or where names of method versions
 * are to be kept and one reads like free text, a person or a number of a
 * device or lot (the field and the value are named).
 */
pd_status pd_release_make(pd_store *s, const pd_release_request *request,
                          pd_arena *arena, pd_release_work **out,
                          pd_error *err);
void pd_release_free(pd_release_work *w); /* NULL is welcome */

/* What is to be told of it; filled further by pd_release_rows. */
pd_release *pd_release_told(pd_release_work *w);

/* One row of a table: NULL where there is nothing. Good until the next. */
typedef pd_status pd_release_visit(void *user, const pd_release_table *t,
                                   const char *const *cell, pd_error *err);
/* All rows in the order of the new codes; counts rows and filled cells. */
pd_status pd_release_rows(pd_release_work *w, int table,
                          pd_release_visit *visit, void *user, pd_error *err);

/*
 * Groups of patients told apart by the bytes of a written table alone: two
 * patients are alike where the sets of their cases' (sex, age, BMI, year,
 * landmarks) are the same. PD_DATA where it is no such table.
 */
pd_status pd_release_recount(const char *csv, size_t size, unsigned smallest,
                             pd_release_groups *out, pd_error *err);

/* The key: which code stands for which name of the store, tab-parted. */
pd_status pd_release_key(const pd_release_work *w, pd_buf *to, pd_error *err);

/* Note the release in the audit chain. manifest_sha256: of the manifest that
 * lies in the folder; recipient: for whom, or NULL; with_key: the key was
 * written. */
pd_status pd_release_note(pd_store *s, const pd_release_work *w,
                          const char *manifest_sha256, const char *recipient,
                          bool with_key, pd_error *err);

#endif
