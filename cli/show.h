/*
 * show.h - a document to the places the user named, in the forms the user
 * named, from one reading of the data. Shared by all commands that answer.
 */
#ifndef PERDRAW_CLI_SHOW_H
#define PERDRAW_CLI_SHOW_H

#include "opt.h"
#include "perdraw.h"

/* In the order of the words of --format. */
enum show_form { SHOW_UNSAID, SHOW_TEXT, SHOW_HTML, SHOW_CSV,
	         SHOW_LATEX, SHOW_XLSX, SHOW_JSON, SHOW_TSV };

/* The part of a command's options that says where results go. */
struct show {
	int format;          /* enum show_form: of --out or standard output    */
	const char *out, *manifest;
	const char *text, *html, *csv, *latex, *xlsx, *json, *tsv, *figures;
	bool first_page, force;
	unsigned width, table;
};

/* With a manifest of the outputs and figures, and without. */
#define SHOW_OPTS(type, member)                                                \
	{ "manifest", 0, OPT_TEXT, false, offsetof(type, member.manifest),     \
	  "FILE", "write what the outputs were made from to FILE" },           \
	{ "figures", 0, OPT_TEXT, false, offsetof(type, member.figures),       \
	  "FOLDER", "write the figures to FOLDER: SVG, PDF and PNG" },   \
	SHOW_OPTS_ALONE(type, member)

#define SHOW_OPTS_ALONE(type, member)                                          \
	{ "format", 'f', OPT_CHOICE, false,                                    \
	  offsetof(type, member.format), "text|html|csv|latex|xlsx|json|tsv",  \
	  "form of the result" },                                              \
	{ "out", 'o', OPT_TEXT, false, offsetof(type, member.out), "FILE",     \
	  "write the result to FILE, whole or not at all" },                   \
	{ "text", 0, OPT_TEXT, false, offsetof(type, member.text), "FILE",     \
	  "write the text form to FILE as well" },                             \
	{ "html", 0, OPT_TEXT, false, offsetof(type, member.html), "FILE",     \
	  "write the HTML form to FILE as well" },                             \
	{ "csv", 0, OPT_TEXT, false, offsetof(type, member.csv), "FILE",       \
	  "write the tables as CSV as well, a file a table" },                 \
	{ "latex", 0, OPT_TEXT, false, offsetof(type, member.latex), "FILE",   \
	  "write the LaTeX form to FILE as well" },                            \
	{ "xlsx", 0, OPT_TEXT, false, offsetof(type, member.xlsx), "FILE",     \
	  "write a workbook to FILE as well, a sheet a table" },               \
	{ "json", 0, OPT_TEXT, false, offsetof(type, member.json), "FILE",     \
	  "write the JSON form to FILE as well" },                             \
	{ "tsv", 0, OPT_TEXT, false, offsetof(type, member.tsv), "FILE",       \
	  "write the tab-parted form to FILE as well" },                       \
	{ "first-page", 0, OPT_FLAG, false,                                    \
	  offsetof(type, member.first_page), NULL,                             \
	  "text only as far as the verdicts and cautions" },                   \
	{ "width", 0, OPT_WHOLE, false, offsetof(type, member.width),          \
	  "COLUMNS", "width of the text, 40 to 200" },                         \
	{ "table", 0, OPT_WHOLE, false, offsetof(type, member.table),          \
	  "NUMBER", "only this table of the CSV or LaTeX form" },              \
	{ "force", 0, OPT_FLAG, false, offsetof(type, member.force), NULL,     \
	  "replace output files that exist" }

/* Before the work: do the options go together, may the files be written?
 * keep[n]: the inputs, never to be overwritten. */
pd_status show_check(const struct show *s, const char *const *keep, size_t n,
                     pd_error *err);
/* Every form asked for of a document. review: what the tab-parted form is
 * made of, one line an effect; NULL: the document's tables. */
pd_status show_write(const struct show *s, const pd_doc *doc,
                     const pd_review *review, pd_error *err);

#endif
