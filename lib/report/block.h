/*
 * block.h - what a document is made of, and how to make one. Inside the
 * report room only: compose*.c builds, out_*.c read; doc.h is for the rest.
 *
 * Strings given are copied; NULL in a table cell is a missing value, written
 * as a dash and explained below the table. A failed allocation marks the
 * document; the maker asks pd_doc_status once at the end.
 */
#ifndef PERDRAW_REPORT_BLOCK_H
#define PERDRAW_REPORT_BLOCK_H

#include "base/answer.h"
#include "report/doc.h"
#include "report/figure.h"

typedef enum pd_block_kind {
	PD_BLOCK_HEADING,
	PD_BLOCK_PARAGRAPH,
	PD_BLOCK_BOARD,
	PD_BLOCK_TABLE,
	PD_BLOCK_FIGURE,
	PD_BLOCK_BOX,
	PD_BLOCK_LIST,
	PD_BLOCK_DEFINITIONS,
	PD_BLOCK_FOOTER,
	PD_BLOCK_PAGE_END
} pd_block_kind;

typedef enum pd_tone {
	PD_PLAIN,
	PD_LEAD,
	PD_QUIET,
	PD_NOTE,
	PD_CAUTION
} pd_tone;

typedef struct pd_cell_column {
	const char *head, *unit; /* unit NULL: none */
	bool right; /* numbers                                    */
} pd_cell_column;

typedef struct pd_cell_row {
	const char *group; /* starts a group of rows, or NULL            */
	const char **cell; /* n_columns; the first names the row         */
} pd_cell_row;

typedef struct pd_table {
	unsigned number;
	const char *caption;
	size_t n_columns;
	pd_cell_column *column;
	size_t n_rows, room;
	pd_cell_row *row;
	const char *dash_key; /* what a dash stands for                     */
	size_t n_notes;
	const char *note[6];
} pd_table;

/* One line of the verdict board that belongs to a question. */
typedef struct pd_board_line {
	pd_verdict verdict;
	bool neutral, unsupported, events;
	const char *words;  /* "Worse", "Lower", "Not settled" ...        */
	const char *arms;   /* "pull 2 gives less than pull 1"            */
	const char *number; /* "0.62 (95% CI, 0.55 to 0.70)"              */
} pd_board_line;

typedef struct pd_board_row {
	const char *tag;    /* "Q3"                                       */
	const char *target; /* id of its section, or NULL                 */
	const char *question, *judged, *sentence;
	const char *harm, *note; /* what must be read with it, or NULL */
	size_t n_lines;
	pd_board_line *line;
} pd_board_row;

typedef struct pd_board_group {
	const char *title, *rule; /* "Primary questions", how they are judged */
	size_t n_rows;
	pd_board_row *row;
} pd_board_group;

typedef struct pd_board {
	size_t n_groups;
	pd_board_group group[4];
} pd_board;

typedef struct pd_figure {
	unsigned number;
	const char *title, *description;
	pd_scene *scene, *narrow; /* for a page, for a phone            */
	const pd_bars *bars; /* what a character page can draw, or NULL   */
	unsigned table;      /* number of the table with its numbers      */
} pd_figure;

typedef struct pd_definition {
	const char *term, *text;
} pd_definition;

typedef struct pd_block pd_block;
struct pd_block {
	pd_block_kind kind;
	pd_block *next;
	unsigned level;   /* heading: 1 to 3                            */
	const char *id;   /* heading: fragment, or NULL                 */
	const char *text; /* heading, paragraph, box title, footer      */
	pd_tone tone;
	size_t n_items, room; /* box, list                                  */
	const char **item;
	pd_definition *definition;
	pd_table *table;
	pd_figure *figure;
	pd_board *board;
};

struct pd_doc {
	pd_arena *arena;
	const char *title, *language;
	const char *date; /* of the reading, ISO; NULL: not known            */
	pd_block *first, *last;
	unsigned n_tables, n_figures;
	bool failed;
};

pd_doc *pd_doc_new(const char *title, const char *language);
pd_status pd_doc_status(const pd_doc *d, pd_error *err);
void pd_doc_date(pd_doc *d, const char *date);

/* Text in the document's arena; "" once memory failed. */
const char *pd_doc_text(pd_doc *d, const char *text);
const char *pd_doc_print(pd_doc *d, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
/* The buffer's text, NULL when it is empty; the buffer is cleared. */
const char *pd_doc_take(pd_doc *d, pd_buf *b);

void pd_doc_heading(pd_doc *d, unsigned level, const char *id,
                    const char *text);
void pd_doc_paragraph(pd_doc *d, pd_tone tone, const char *text);
void pd_doc_footer(pd_doc *d, const char *text);
void pd_doc_page_end(pd_doc *d);
void pd_doc_board(pd_doc *d, pd_board *board);

/* A list of lines, as a box with a title (tone note or caution) or without. */
pd_block *pd_doc_box(pd_doc *d, pd_tone tone, const char *title);
pd_block *pd_doc_list(pd_doc *d);
void pd_doc_item(pd_doc *d, pd_block *list, const char *text);

pd_block *pd_doc_definitions(pd_doc *d);
void pd_doc_define(pd_doc *d, pd_block *list, const char *term,
                   const char *text);

/* A numbered table; columns are copied. It belongs where it was begun. */
pd_table *pd_doc_table(pd_doc *d, const char *caption, size_t n_columns,
                       const pd_cell_column *column, const char *dash_key);
/* The cells of a new row, all missing; fill them with arena text. NULL when
 * memory ran out. */
const char **pd_doc_row(pd_doc *d, pd_table *t, const char *group);
/* Is a cell missing, so that the dash needs its key? */
bool pd_table_has_dash(const pd_table *t);
void pd_doc_table_note(pd_doc *d, pd_table *t, const char *text);
/* Table `number` of the document, from 1; NULL when it has none such, and the
 * failure that says so. */
const pd_table *pd_doc_table_at(const pd_doc *d, unsigned number);
pd_status pd_doc_no_table(const pd_doc *d, unsigned number, pd_error *err);
/* A numbered figure, for a page and for a phone; scenes and bars stay the
 * caller's arena's. */
pd_figure *pd_doc_figure(pd_doc *d, const char *title, const char *description,
                         pd_scene *scene, pd_scene *narrow);

/* A verdict's sign as a character: the shape that figures draw. */
const char *pd_verdict_sign(pd_verdict v);

#endif
