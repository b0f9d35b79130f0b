/*
 * load_own.h - what the rooms of the loader share. One file is one
 * `struct load`: the clinic's tree as far as the file touches it (patients,
 * cases, sites) is held in memory and written at the end; aliquots and assays
 * stream into the store as they are read.
 *
 *   load.c        one file from first byte to commit
 *   load_feed.c   the reading thread
 *   load_facts.c  facts of a record, agreement between rows
 *   load_tree.c   patients, cases, sites found or made
 *   load_row.c    one row of the file
 *   load_write.c  rows into the store, corrections into history
 *   load_pool.c   results of pools, when all draws are known
 *   load_rules.c  rules over many rows
 */
#ifndef PERDRAW_DATA_LOAD_OWN_H
#define PERDRAW_DATA_LOAD_OWN_H

#include "base/arena.h"
#include "data/batch.h"
#include "data/db.h"
#include "data/load.h"
#include "data/reader.h"
#include "data/table.h"

/* Bits of the keys, as sql/schema.sql describes them. */
enum {
	SITE_BITS = 10, ALIQUOT_BITS = 8, SAMPLE_BITS = 18, ASSAY_BITS = 14,
	METHOD_BITS = 13, MOST_NUMBER = 255, MOST_METHODS = 8191,
	POOL_SIDE = 3
};

enum {
	N_PATIENT_FACTS = 2, N_CASE_FACTS = 7, N_SITE_FACTS = 7,
	N_ALIQUOT_FACTS = 7, MOST_FACTS = 7,
	N_RESULTS = 16, N_ASSAY_NUMBERS = 3, N_VALUES = 19
};

typedef enum record {
	OF_PATIENT, OF_CASE, OF_SITE, OF_ALIQUOT, OF_ASSAY, N_RECORDS
} record;

/* One stored or new record of the tree. source 0: this file. */
struct entity {
	int64_t id;
	uint32_t source, line;  /* of the stored row, or where first met    */
	bool stored, filled, replaced;
};

struct patient {
	struct entity e;
	double fact[N_PATIENT_FACTS];
	uint32_t at[N_PATIENT_FACTS]; /* line that gave the fact, 0: stored */
};

enum { N_COPIED = 4 };

struct case_ {
	struct entity e;
	uint32_t patient;       /* index into load.patient                  */
	uint32_t first_site;    /* index + 1 into load.site, 0: none        */
	uint32_t line;          /* first line of this file                  */
	double fact[N_CASE_FACTS];
	uint32_t at[N_CASE_FACTS];
	double total_ml;
	double copied[N_COPIED]; /* first value of TNC, MNC, CD34, CFU-F    */
	uint16_t n_copied[N_COPIED];
	bool differs[N_COPIED];
	bool touched;           /* new draws in this file                   */
};

struct site {
	struct entity e;
	uint32_t next;          /* next site of the case, index + 1         */
	double fact[N_SITE_FACTS];
	uint32_t at[N_SITE_FACTS];
	uint64_t seen[4];       /* pull numbers there are                   */
	bool touched;
};

struct aliquot {
	struct entity e;
	double fact[N_ALIQUOT_FACTS];
};

struct assay {
	struct entity e;
	uint64_t states;        /* four bits a result, schema.sql           */
	double value[N_VALUES]; /* results, then plated, days, threshold    */
};

/* Rows waiting to be written by one statement. */
enum { BULK_ROWS = 64 };
struct bulk {
	sqlite3_stmt *many, *one;
	int n_parameters;
	size_t n;
};

/* A result whose sample is known only when all draws are. */
struct pooled {
	struct assay assay;     /* id: material and method bits only        */
	uint32_t case_, line;   /* case_ NONE: only a label says which      */
	const char *members;    /* as written in the file, or made from keys */
	const char *label;      /* the lab's, or NULL                       */
	bool only_label;        /* no draw was named, only a label          */
};

/* Spread of one field in one method version: powers of two by quarters. */
enum { N_SPREAD = 256, N_SPREAD_FIELDS = 10 };
struct spread {
	uint32_t n[N_SPREAD_FIELDS];
	uint32_t count[N_SPREAD_FIELDS][N_SPREAD];
};

/* How values of one field end: by the coarsest power of ten, 10^(6 - k), that a
 * value is a multiple of: how many have two digits or more there, one digit,
 * and end in 5 (or 0). */
enum { N_PLACES = 11, WHOLE_PLACE = 6 };
struct digits {
	uint32_t n[N_PLACES], single[N_PLACES], n_05[N_PLACES];
};

struct load {
	pd_store *s;
	const pd_load_request *request;
	pd_load_report *report;
	pd_findings *own;       /* merged into the caller's at the end      */
	pd_arena *arena;
	pd_status st;           /* first failure that is not a finding      */
	pd_error *err;

	uint32_t source_id;
	int64_t next_patient, next_case, last_history;
	bool store_empty, has_draws, is_long;

	struct pd_table *labels[2];          /* patients, cases             */
	struct pd_table *names[3];           /* operators, devices, methods */
	size_t n_old_names[3];
	struct patient *patient;
	struct case_ *case_;
	struct site *site;
	size_t n_patients, n_cases, n_sites;
	size_t room_patients, room_cases, room_sites;
	struct pooled *pooled;
	size_t n_pooled, room_pooled;

	struct bulk aliquots, assays;
	struct aliquot aliquot[BULK_ROWS];
	struct assay assay[BULK_ROWS];
	uint32_t in_order[BULK_ROWS];        /* 0, 1, 2 ...                 */
	sqlite3_stmt *find_patient, *patient_by_id, *find_case, *find_sites,
	    *find_numbers, *get_aliquot, *get_assay, *add_label,
	    *keep[N_RECORDS], *put[N_RECORDS];

	/* what the file has, from the first batch */
	bool ready;
	bool has[PD_N_FIELDS];
	int n_facts[N_RECORDS];
	int fact[N_RECORDS][MOST_FACTS];     /* facts with a column         */
	bool is_real[N_RECORDS][MOST_FACTS]; /* else a whole number         */
	int n_values, value[N_VALUES];

	struct pd_table *changed;            /* keys of stored assays       */
	uint32_t *given;                     /* their values by this file   */
	size_t room_given;
	uint32_t last_case;                  /* of the row before           */
	uint32_t n_again, first_again, n_filled, first_filled;
	struct spread **spread;              /* by method, NULL: none       */
	struct digits digits[N_RESULTS];
	int32_t day;                         /* of the load, from 1970-01-01 */
};

/* ---- findings ---- */
/* f: the field it is about, PD_N_FIELDS where none; its place in the file is
 * looked up at the end. */
void load_find(struct load *L, const char *code, pd_finding_level level,
               uint32_t line, pd_field f, const char *expected,
               const char *fmt, ...) __attribute__((format(printf, 7, 8)));
/* Keep the first failure. */
void load_fail(struct load *L, pd_status st);

/* ---- facts ---- */
/* NaN where the column is NULL. */
double load_number(sqlite3_stmt *q, int column);
/* First three columns of a stored record: key, source, line; source 0 where
 * it came with this file. */
struct entity load_entity(const struct load *L, sqlite3_stmt *q);
pd_field load_fact_field(record of, int k);
pd_field load_value_field(int k);
/* Cell of row i as the number that is stored, NaN where blank. */
double load_cell(struct load *L, const pd_batch *b, size_t i, pd_field f);
/*
 * Let a row's fact agree with the record's. Blank says nothing; a blank fact
 * is filled; a different one is a finding, or replaces a stored one when the
 * request supersedes.
 */
void load_agree(struct load *L, struct entity *e, double *fact, uint32_t *at,
                pd_field f, double given, uint32_t line);
void load_agree_row(struct load *L, record of, struct entity *e, double *fact,
                    uint32_t *at, const pd_batch *b, size_t i);
/* A fact in words, into buf. */
const char *load_words(struct load *L, pd_field f, double fact, char *buf,
                       size_t size);
/* "line 7", or "line 7 of 'draws.csv'" for a stored row. */
const char *load_place(struct load *L, const struct entity *e, uint32_t at,
                       char *buf, size_t size);

/* ---- tree ---- */
enum { NONE = UINT32_MAX };
void load_tree_open(struct load *L);
uint32_t load_find_case(struct load *L, const pd_batch *b, size_t i);
uint32_t load_find_site(struct load *L, uint32_t c, const pd_batch *b,
                        size_t i);

/* ---- rows ---- */
void load_said_again(struct load *L, uint32_t line);
void load_take_batch(struct load *L, const pd_batch *b);

/* ---- write ---- */
void load_write_open(struct load *L);
void load_write_close(struct load *L);
void load_flush(struct load *L);
typedef enum put {
	PUT_NEW, PUT_CHANGED,
	PUT_SAME,     /* stored by an earlier file and the same            */
	PUT_REPEATED, /* in an earlier row of this file and the same       */
	PUT_BAD       /* a finding was made                                */
} put;
put load_put_aliquot(struct load *L, uint32_t site, int number,
                     const pd_batch *b, size_t i);
/* fresh: the sample was made by this row, so no assay of it can be there. */
put load_put_assay(struct load *L, const struct assay *a, bool fresh);
/* Move the stored row into history; counts a replaced one. */
void load_keep(struct load *L, record of, const struct entity *e);
typedef void load_bind(struct load *L, sqlite3_stmt *q, int at, uint32_t k);
sqlite3_stmt *load_prepare_rows(struct load *L, const char *sql, int n);
void load_bulk_open(struct load *L, struct bulk *b, const char *sql);
void load_bulk_close(struct bulk *b);
/* Write rows which[0..n-1]: all at once when they fill the statement. */
void load_write_rows(struct load *L, const struct bulk *b, load_bind *bind,
                     const uint32_t *which, size_t n);
void load_bind_facts(sqlite3_stmt *q, int at, record of, const double *fact,
                     int n);
void load_bind_end(struct load *L, sqlite3_stmt *q, int at, uint32_t line);
void load_write_tree(struct load *L);
void load_write_names(struct load *L);

/* The lab's label of a sample, to find it by in a later file. */
void load_put_label(struct load *L, const char *label, int64_t sample,
                    uint32_t line);

/* ---- pools ---- */
void load_write_pools(struct load *L);

/* ---- rules ---- */
void load_compare_results(struct load *L, const struct assay *a,
                          uint32_t line);
void load_measure(struct load *L, const struct assay *a);
void load_rules(struct load *L, bool whole);
void load_write_profiles(struct load *L);

/* ---- the reading thread ---- */
typedef struct load_feed load_feed;
pd_status load_feed_open(const char *bytes, size_t size, const pd_map *map,
                         const unsigned char *key, pd_findings *findings,
                         load_feed **out, pd_error *err);
/* NULL at the end. The batch is the caller's until the next call. */
const pd_batch *load_feed_next(load_feed *f);
/* Waits for the thread: its status, and the records it read. */
pd_status load_feed_join(load_feed *f, size_t *rows, pd_error *err);
/* After the join: what may be kept of the file, compressed (the feed's), and
 * where a field of a row stands. */
const void *load_feed_kept(const load_feed *f, size_t *size);
void load_feed_place(load_feed *f, uint32_t row_line, pd_field field,
                     uint32_t *line, uint32_t *column);
void load_feed_free(load_feed *f); /* NULL is welcome; joins if need be */

#endif
