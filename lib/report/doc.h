/*
 * doc.h - a document: blocks that know nothing of how they are written.
 * compose*.c makes one from an answer; out_*.c write it, so that all forms
 * carry the same content. Everything lives in the document's arena.
 */
#ifndef PERDRAW_REPORT_DOC_H
#define PERDRAW_REPORT_DOC_H

#include "base/answer.h"
#include "base/arena.h"
#include "base/buf.h"
#include "base/status.h"
#include <stdbool.h>

typedef struct pd_doc pd_doc;

/* Written by the report room; see doc.c for the blocks. */
void pd_doc_free(pd_doc *d);

typedef struct pd_text_style {
	unsigned width;  /* columns; 0: 80                                    */
	bool colour;     /* ANSI emphasis allowed                             */
	bool first_page; /* only the first screen: verdicts and cautions      */
} pd_text_style;

pd_status pd_doc_write_text(const pd_doc *d, const pd_text_style *style,
                            pd_buf *out, pd_error *err);
pd_status pd_doc_write_html(const pd_doc *d, pd_buf *out, pd_error *err);
/* Its tables and definitions, parted by tabs; '#' starts a line of words. */
pd_status pd_doc_write_tsv(const pd_doc *d, pd_buf *out, pd_error *err);

/* The whole document by docs/perdraw.schema.json; review, where it was made of
 * one, adds the effects at full precision (NULL: it was not). */
pd_status pd_doc_write_json(const pd_doc *d, const pd_review *review,
                            pd_buf *out, pd_error *err);

/* LaTeX that compiles alone; or, number not 0, that table for a manuscript. */
pd_status pd_doc_write_latex(const pd_doc *d, unsigned number, pd_buf *out,
                             pd_error *err);

/* A workbook, a sheet a table; made in a temporary file of $TMPDIR. PD_USAGE
 * where the library was built without it. */
pd_status pd_doc_write_xlsx(const pd_doc *d, pd_buf *out, pd_error *err);

/*
 * A figure as a file: SVG for any screen, PDF and PNG (600 dots an inch) at a
 * width in mm, that of a journal's column (85) or page (174). i counts the
 * files of all figures, PD_PICTURE_FILES each; false: this one is not made, for
 * its text would be too small at that width, or the picture too high.
 */
enum { PD_PICTURE_FILES = 5 };
typedef enum pd_picture_form {
	PD_PICTURE_SVG,
	PD_PICTURE_PDF,
	PD_PICTURE_PNG
} pd_picture_form;
typedef struct pd_picture {
	unsigned figure; /* from 1                                            */
	pd_picture_form form;
	unsigned width_mm; /* 0: SVG                                          */
	char name[40];     /* "figure-1-85mm.pdf"                             */
} pd_picture;
unsigned pd_doc_figures(const pd_doc *d);
bool pd_doc_picture(const pd_doc *d, size_t i, pd_picture *out);
/* May they be drawn here? PD_USAGE: the library was built without them,
 * PD_NO_INPUT: the font is not installed; the words say what to install. */
pd_status pd_picture_ready(pd_error *err);
pd_status pd_doc_write_picture(const pd_doc *d, const pd_picture *p,
                               pd_buf *out, pd_error *err);
/* After the last: gives back what the drawing library keeps for the next. The
 * process must have no other drawing in work. */
void pd_picture_release(void);
/* What goes with the files, as text: of each figure its title, description,
 * files with their sizes, and the table of its numbers. */
#define PD_PICTURE_LIST "figures.txt"
pd_status pd_doc_write_picture_list(const pd_doc *d, pd_buf *out,
                                    pd_error *err);
/* Is that the name of a file of any figure, or of their list? */
bool pd_picture_name(const char *name);

/* How many tables it has; they are numbered from 1. */
unsigned pd_doc_tables(const pd_doc *d);
/* Table `number` as CSV (RFC 4180): PD_USAGE when there is none such. */
pd_status pd_doc_write_csv(const pd_doc *d, unsigned number, pd_buf *out,
                           pd_error *err);
/* What describes that file (CSV on the Web), which is named file[0]; number 0:
 * all tables together, table k in file[k - 1]. Names without their folder. */
pd_status pd_doc_write_csv_about(const pd_doc *d, unsigned number,
                                 const char *const *file, pd_buf *out,
                                 pd_error *err);

#endif
