/*
 * release.h - a de-identified data set on its way out: what its tables hold,
 * what was taken away and why, how large its smallest group of patients is.
 * data fills it, report words it, the command writes it. Texts live in the
 * arena it was made in; nothing here is of the clinic's own names but what
 * the user chose to keep.
 */
#ifndef PERDRAW_BASE_RELEASE_H
#define PERDRAW_BASE_RELEASE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { PD_RELEASE_LONG, PD_RELEASE_WIDE, PD_RELEASE_TABLES };

/* One column of a table. */
typedef struct pd_release_column {
	const char *name, *words;
	const char *unit;      /* UCUM code, "" where there is none          */
	const char *derived;   /* how it came about                          */
	const char *codes;     /* words it may hold, joined by '|', or NULL  */
	bool number;
	bool tells;            /* tells patients apart: counted in groups    */
	size_t filled;         /* rows with a value, once rows were walked   */
} pd_release_column;

typedef struct pd_release_table {
	const char *file, *title, *row; /* what a row is                     */
	size_t n_rows, n_columns;
	pd_release_column *column;
} pd_release_table;

/* What became of one field of the store, or of something else it holds. */
typedef struct pd_release_fate {
	const char *field, *words;
	const char *what;      /* "left out", "new random code" ...          */
	const char *why;
	size_t n;              /* values it happened to                      */
} pd_release_fate;

/* Values blanked so that no group of patients is too small. */
typedef struct pd_release_blank {
	const char *column;
	size_t n, of;          /* cases blanked of those that had a value    */
	const char *unit;      /* what is counted: "cases", "sites"          */
} pd_release_blank;

/* Groups of patients of whom a file tells the same, read from its bytes. */
typedef struct pd_release_groups {
	const char *file;
	size_t n_patients, n_groups;
	size_t smallest;       /* patients in the smallest group             */
	size_t n_small;        /* groups below the chosen number             */
	size_t small_patients; /* patients in those                          */
	size_t fewest_event;   /* patients of the rarest adverse event, 0:
	                          no event or no such column                 */
} pd_release_groups;

/* Something left as it is that somebody should look at. */
typedef struct pd_release_notice {
	const char *what, *words;
} pd_release_notice;

typedef struct pd_release {
	const char *version, *date;
	unsigned smallest;     /* patients a group must have                 */
	bool only_warn;        /* small groups are told, not blanked         */
	bool whole_years;      /* ages in years, else in bands               */
	bool method_names;     /* kept as they are, else coded               */
	bool days;             /* days since the patient's first visit       */
	bool batches;          /* a code of the file a result came from      */
	bool seeded;           /* codes drawn from a seed the user gave      */
	size_t n_patients, n_cases, n_sites, n_aliquots, n_assays;
	pd_release_table table[PD_RELEASE_TABLES];
	size_t n_fates;
	pd_release_fate *fate;
	size_t n_blanks;
	pd_release_blank *blank;
	size_t n_notices;
	pd_release_notice *notice;
	pd_release_groups groups[PD_RELEASE_TABLES]; /* once recounted      */
	bool recounted;
} pd_release;

#endif
