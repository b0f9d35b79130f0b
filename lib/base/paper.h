/*
 * paper.h - what a manuscript needs beside the answers of a plan: who the
 * draws were from, what was recorded of them, what the plan said. Plain
 * structs; the plan room fills them, the report room words them.
 */
#ifndef PERDRAW_BASE_PAPER_H
#define PERDRAW_BASE_PAPER_H

#include "base/missing.h"

/* What a row of the characteristics counts. A patient, case, site or pull is
 * counted once an arm, however many rows of the question it has there. */
typedef enum pd_paper_level {
	PD_PAPER_PATIENT, PD_PAPER_CASE, PD_PAPER_SITE, PD_PAPER_PULL,
	PD_PAPER_RESULT, PD_PAPER_LEVELS
} pd_paper_level;

/*
 * One characteristic in one arm. A number: n units with a value, their mean,
 * SD (n - 1), median and quartiles (linear between order statistics at
 * 1 + (n - 1) q). A word: n units with any, `count` with this one.
 */
typedef struct pd_paper_cell {
	size_t n, missing, count;
	double mean, sd, median, low, high;
} pd_paper_cell;

typedef struct pd_paper_row {
	pd_paper_level level;
	const char *column;      /* of the frame                              */
	const char *name, *unit; /* in words; unit NULL: none                 */
	const char *category;    /* NULL: a number                            */
	bool first;              /* the characteristic's first row            */
	bool aside;              /* for the sheets, not for the table         */
	bool skewed;             /* |skewness| of all units above 1           */
	int decimals;            /* of the data, as recorded                  */
	pd_paper_cell *cell;     /* n_arms, then all arms together            */
	double difference;       /* standardised, of the whole characteristic,
	                            on its first row; NaN: not given          */
} pd_paper_row;

enum { PD_PAPER_ARMS = 8 };

typedef struct pd_paper_table {
	size_t answer;           /* which answer's rows                       */
	const char *none;        /* NULL, or why there is no table            */
	size_t n_arms;           /* 0: no arms, everything together           */
	const char **arm;
	const char *no_arms;     /* why they are not parted, or NULL          */
	size_t *n[PD_PAPER_LEVELS]; /* units by arm, then all together        */
	size_t n_both;           /* patients in more than one arm             */
	const char *within;      /* arms compared inside one of it, or NULL   */
	pd_paper_level deepest;  /* levels up to it have no difference ...    */
	bool no_difference;      /* ... where this is set                     */
	size_t n_rows;
	pd_paper_row *row;
	size_t n_blank;          /* characteristics no unit has a value of    */
	const char **blank;
} pd_paper_table;

/* What the plan said of a question, beside its answer. */
typedef struct pd_paper_question {
	const char *where;       /* conditions in words, or NULL              */
	const char *held;        /* what the model holds equal, or NULL       */
	const char *within, *assigned, *margin_reason; /* or NULL             */
	const char *grain;       /* "pull", "site", "case": a row of it       */
	bool per_doubling, each, slope, curve, change, differs;
	bool yield, concentration; /* how it is judged                        */
	const char *first_read;  /* ISO date the question was first read      */
	size_t files_after;      /* files loaded after that day               */
} pd_paper_question;

/* How many records of a kind have a field filled. */
typedef struct pd_paper_filled {
	const char *field, *words;
	size_t n, of;
} pd_paper_filled;

typedef struct pd_paper {
	pd_review review;        /* all questions of the plan                 */
	pd_paper_question *question; /* one an answer                         */
	pd_paper_table table;
	size_t n_filled;
	pd_paper_filled *filled; /* the whole database, in field order        */
	size_t n_outcomes;       /* pulls of the whole database by outcome    */
	pd_missing_outcome outcome[PD_MISSING_OUTCOMES];
	size_t n_cultured, n_plated, n_days, n_threshold; /* results of a CFU-F
	                            culture, and those with its conditions    */
	size_t n_sources;
	const char **source;     /* "11916 rows, SHA-256 8b9e...", no names   */
	size_t n_libraries;
	const char **library;    /* "SQLite 3.40.1"                           */
	size_t min_patients;     /* what the plan asks for                    */
	size_t looks;            /* planned, 0: not said                      */
	size_t least;            /* cells from 1 to least - 1 are small; 0: no
	                            cell is                                   */
} pd_paper;

#endif
