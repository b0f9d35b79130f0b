/*
 * verified.h - a manifest held against what is recomputed today: the command
 * fills it, report words it. Strings belong to the arena it was made in.
 */
#ifndef PERDRAW_BASE_VERIFIED_H
#define PERDRAW_BASE_VERIFIED_H

#include <stdbool.h>
#include <stddef.h>

/* A line of the manifest that is another one today. */
typedef struct pd_verified_line {
	const char *what;            /* "program", "input plan"             */
	const char *recorded, *now;  /* NULL: there was none, there is none */
} pd_verified_line;

/* One output: recomputed in memory, and as its file is now. */
typedef enum pd_file_state {
	PD_FILE_ABSENT, PD_FILE_SAME, PD_FILE_CHANGED
} pd_file_state;

typedef struct pd_verified_output {
	const char *name;
	bool same;             /* recomputed, it is what was recorded       */
	pd_file_state file;    /* the file against what was recorded        */
	const char *where;     /* where the file and the recomputed bytes
	                          first differ; NULL: not, or no file       */
} pd_verified_output;

typedef struct pd_verified {
	const char *manifest, *command, *date, *version;
	bool same;             /* all of it                                 */
	bool files_only;       /* made for others, who have no database:
	                          files were compared, nothing recomputed   */
	size_t n_lines;        /* of the manifest                           */
	size_t n_different;
	pd_verified_line *different;
	size_t n_outputs;
	pd_verified_output *output;
	const char *chain;     /* how the audit chain went on since, NULL   */
} pd_verified;

#endif
