/*
 * store.h - a clinic's database: opened defensively, migrated by version.
 */
#ifndef PERDRAW_DATA_STORE_H
#define PERDRAW_DATA_STORE_H

#include "base/status.h"

typedef struct pd_store pd_store; /* opaque: owns the database */

typedef enum pd_open_mode {
	PD_OPEN_READ,   /* must exist; nothing is written                      */
	PD_OPEN_INSPECT, /* the same, whatever its audit chain is like         */
	PD_OPEN_WRITE,  /* must exist                                          */
	PD_OPEN_CREATE  /* made when missing, mode 0600                        */
} pd_open_mode;

/* PD_BROKEN where the audit chain is broken, except for PD_OPEN_INSPECT. */
pd_status pd_store_open(const char *path, pd_open_mode mode, pd_store **out,
                        pd_error *err);
/* The same; date: ISO date for the first row of a store that is made, NULL or
 * "" for that of the clock (data/audit.h). */
pd_status pd_store_open_on(const char *path, pd_open_mode mode,
                           const char *date, pd_store **out, pd_error *err);
void pd_store_close(pd_store *s); /* NULL is welcome */

typedef struct pd_store_counts {
	size_t n_patients, n_cases, n_sites, n_aliquots, n_results, n_sources;
	size_t n_warnings;
	char first_case[11], last_case[11]; /* ISO dates, "" when empty        */
	char audit_head[65];                /* SHA-256 in hex                  */
} pd_store_counts;
pd_status pd_store_count(pd_store *s, pd_store_counts *out, pd_error *err);

/* Walk the audit chain; PD_BROKEN with the first bad row where it is broken. */
pd_status pd_store_audit_verify(pd_store *s, pd_error *err);

/* Called for each source file in the order loaded. */
typedef void (*pd_source_visit)(void *user, const char *name,
                                const char *sha256, size_t rows);
pd_status pd_store_sources(pd_store *s, pd_source_visit visit, void *user,
                           pd_error *err);

/* Stored findings, all sources or one (source NULL: all), in file order. */
typedef void (*pd_finding_visit)(void *user, const char *source,
                                 const char *code, const char *level,
                                 size_t line, size_t column,
                                 const char *found, const char *expected);
pd_status pd_store_findings(pd_store *s, const char *source,
                            pd_finding_visit visit, void *user, pd_error *err);

/* Share of filled values of each field at its level, for `findings`. */
typedef void (*pd_coverage_visit)(void *user, const char *field,
                                  const char *words, const char *unit,
                                  size_t filled, size_t of);
pd_status pd_store_coverage(pd_store *s, pd_coverage_visit visit, void *user,
                            pd_error *err);

/* The same by year of the case (of a patient: of the first one): kind after
 * kind of record, in each the years ascending, in each the fields in the order
 * of pd_store_coverage; cases without a date are left out. */
typedef void (*pd_year_visit)(void *user, const char *field, int year,
                              size_t filled, size_t of);
pd_status pd_store_coverage_years(pd_store *s, pd_year_visit visit, void *user,
                                  pd_error *err);

/* Results of a CFU-F culture (a rate or a dish that says anything but `not
 * ordered`), and how many say how it was made. */
typedef struct pd_store_cultures {
	size_t n, n_plated, n_days, n_threshold;
} pd_store_cultures;
pd_status pd_store_culture_conditions(pd_store *s, pd_store_cultures *out,
                                      pd_error *err);

/*
 * The ledger of looks: one reading of one question. A reading with the same
 * question text hash on the same data state (the audit hash of the newest load) is the same look and
 * is not stored twice. *n_looks: readings so far of that question, this one
 * too. estimate and se on the working scale. With a store opened for reading
 * nothing is written and *n_looks counts as if it had been.
 */
typedef struct pd_look_effect {
	const char *label;       /* what it compares; never ""                 */
	double estimate, se, low, high;
} pd_look_effect;
typedef struct pd_look {
	const char *question, *question_sha256, *date;
	double estimate, se, low, high; /* of the first effect                 */
	size_t n_rows, n_patients;
	size_t n_effects;        /* all of them, in order, the first too       */
	const pd_look_effect *effect;
} pd_look;
pd_status pd_store_look(pd_store *s, const pd_look *look, unsigned *n_looks,
                        pd_error *err);
/*
 * The question's earlier readings with a standard error, on other states of
 * the data than today's, oldest first, on the working scale; the caller frees
 * *out (NULL when none).
 */
typedef struct pd_earlier_look {
	char date[11];
	double estimate, se, low, high;
	size_t n_patients;
} pd_earlier_look;
pd_status pd_store_earlier_looks(pd_store *s, const char *question_sha256,
                                 pd_earlier_look **out, size_t *n,
                                 pd_error *err);
/*
 * Standard errors of one effect at the question's earlier readings on other
 * states of the data, oldest first; the caller frees *se (NULL when none). The
 * effect is found by its label; of readings made before version 3 of the
 * database only the first effect's is known and stands for every one.
 */
pd_status pd_store_earlier_effects(pd_store *s, const char *question_sha256,
                                   const char *label, double **se, size_t *n,
                                   pd_error *err);
/* The same effect at the newest reading on another state; out->label NULL when
 * it was not read then, else `label`. */
pd_status pd_store_last_effect(pd_store *s, const char *question_sha256,
                               const char *label, size_t effect_no,
                               pd_look_effect *out, pd_error *err);
/*
 * The newest reading of the question on another state of the data than
 * today's; out->date "" when there is none. loads, corrections: files loaded
 * since, and those of them that superseded. reworded: date of the newest
 * such reading of a question of that name and other words, "" when none.
 */
typedef struct pd_past_look {
	char date[11], reworded[11];
	double estimate, se, low, high;
	size_t n_rows, n_patients, loads, corrections;
} pd_past_look;
pd_status pd_store_last_look(pd_store *s, const char *question,
                             const char *question_sha256, pd_past_look *out,
                             pd_error *err);
/* The newest reading of every question of the ledger on another state of the
 * data than today's (so that today's readings do not change what a review of
 * today says), newest first, with the number of such readings; low and high on the working scale, NaN without an
 * answer. Texts are borrowed until the visit returns. */
typedef struct pd_look_seen {
	const char *question, *question_sha256, *date;
	double low, high;
	size_t n_patients, n_readings;
} pd_look_seen;
typedef pd_status (*pd_look_visit)(void *user, const pd_look_seen *look,
                                   pd_error *err);
pd_status pd_store_looks(pd_store *s, pd_look_visit visit, void *user,
                         pd_error *err);
/* Patients first seen in the last two years of the store (or in all its days,
 * when fewer), and those days. */
pd_status pd_store_new_patients(pd_store *s, size_t *n, double *days,
                                pd_error *err);
/* Source files loaded after that ISO date. */
pd_status pd_store_sources_after(pd_store *s, const char *date, size_t *n,
                                 pd_error *err);
/* ISO date the question (by its hash) was first read on, "" when never. */
pd_status pd_store_first_look(pd_store *s, const char *question_sha256,
                              char date[11], pd_error *err);
/* Remember a plan (by hash); *first_date gets the date it was first seen. */
pd_status pd_store_plan(pd_store *s, const char *name, const char *sha256,
                        const char *text, const char *date,
                        char first_date[11], pd_error *err);

#endif
