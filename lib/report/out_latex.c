/*
 * out_latex.c - the document as LaTeX: whole, it compiles alone; one table of
 * it drops into a manuscript. Needs the packages booktabs, array and longtable
 * only. Every text goes through pd_latex_add.
 */
#include "report/block.h"
#include "report/clean.h"
#include "report/latex_text.h"

/* Characters a line of the page holds; rows a floating table may have, and one
 * that stays on its page; characters a column asks for. */
enum {
	LINE = 84,
	FLOAT_ROWS = 40,
	SHORT_TABLE = 12,
	WIDEST_COLUMN = 34,
	NARROWEST_COLUMN = 5
};

static void put(pd_buf *out, const char *markup)
{
	pd_buf_add(out, markup);
}

/* before, the text, behind, and a line end. */
static void line(pd_buf *out, const char *before, const char *text,
                 const char *behind)
{
	put(out, before);
	pd_latex_add(out, text);
	put(out, behind);
	pd_buf_char(out, '\n');
}

/* A comment: one line, whatever the text. */
static void comment(pd_buf *out, const char *text)
{
	put(out, "% ");
	pd_latex_add(out, text);
	pd_buf_char(out, '\n');
}

/* ---- tables */

struct layout {
	size_t n;
	bool narrow;          /* columns wrap                                 */
	size_t total, *width; /* characters each column asks for              */
};

static size_t column_width(const pd_table *t, size_t j)
{
	const pd_cell_column *c = &t->column[j];
	size_t most = pd_clean_width(c->head) +
	              (c->unit ? 2 + pd_clean_width(c->unit) : 0);

	if (most > 20)
		most = 20; /* heads wrap */
	for (size_t i = 0; i < t->n_rows; i++) {
		size_t w = t->row[i].cell[j] ? pd_clean_width(t->row[i].cell[j])
		                             : 1;

		most = w > most ? w : most;
	}
	return most < NARROWEST_COLUMN ? NARROWEST_COLUMN : most;
}

static bool lay_out(pd_arena *arena, const pd_table *t, struct layout *l)
{
	l->n = t->n_columns;
	l->total = 0;
	l->width = PD_NEW(arena, size_t, l->n);
	if (!l->width)
		return false;
	for (size_t j = 0; j < l->n; j++) {
		l->width[j] = column_width(t, j);
		l->total += l->width[j] + 2;
	}
	l->narrow = l->total > LINE;
	if (!l->narrow)
		return true;
	l->total = 0;
	for (size_t j = 0; j < l->n; j++) {
		if (l->width[j] > WIDEST_COLUMN)
			l->width[j] = WIDEST_COLUMN;
		l->total += l->width[j];
	}
	return true;
}

/* Thousandths of the line's width that column j takes, gaps aside. */
static size_t share(const struct layout *l, size_t j)
{
	size_t gaps = 14 * l->n;

	return (gaps < 600 ? 1000 - gaps : 400) * l->width[j] / l->total;
}

static void column_form(pd_buf *out, const pd_table *t, const struct layout *l)
{
	put(out, "{@{}");
	for (size_t j = 0; j < l->n; j++) {
		bool right = j && t->column[j].right;

		if (!l->narrow)
			pd_buf_char(out, right ? 'r' : 'l');
		else
			pd_buf_print(out,
			             ">{\\ragged%s\\arraybackslash}"
			             "p{0.%03zu\\linewidth}",
			             right ? "left" : "right", share(l, j));
	}
	put(out, "@{}}\n");
}

static void head_cell(pd_buf *out, const pd_table *t, const struct layout *l,
                      size_t j)
{
	const pd_cell_column *c = &t->column[j];
	size_t length = pd_clean_width(c->head) +
	                (c->unit ? 2 + pd_clean_width(c->unit) : 0);
	bool wrap = !l->narrow && length > l->width[j];

	/* A long head over short cells wraps in a box of its own. */
	if (wrap)
		pd_buf_print(out, "\\parbox[b]{%zu.%zuem}{\\ragged%s ",
		             l->width[j] * 6 / 10, l->width[j] * 6 % 10,
		             j && c->right ? "left" : "right");
	pd_latex_add(out, c->head);
	if (c->unit) {
		put(out, ", ");
		pd_latex_add(out, c->unit);
	}
	if (wrap)
		put(out, "}");
}

static void heads(pd_buf *out, const pd_table *t, const struct layout *l)
{
	put(out, "\\toprule\n");
	for (size_t j = 0; j < t->n_columns; j++) {
		if (j)
			put(out, " & ");
		head_cell(out, t, l, j);
	}
	put(out, " \\tabularnewline\n\\midrule\n");
}

static void row(pd_buf *out, const pd_table *t, const pd_cell_row *r,
                bool keep_next)
{
	if (r->group) {
		pd_buf_print(out, "\\multicolumn{%zu}{@{}l@{}}{\\itshape ",
		             t->n_columns);
		pd_latex_add(out, r->group);
		put(out, "} \\tabularnewline*\n");
	}
	for (size_t j = 0; j < t->n_columns; j++) {
		if (j)
			put(out, " & ");
		if (r->cell[j])
			pd_latex_add(out, r->cell[j]);
		else
			put(out, "\\textemdash{}");
	}
	put(out, keep_next ? " \\tabularnewline*\n" : " \\tabularnewline\n");
}

static void keys(pd_buf *out, const pd_table *t)
{
	if (pd_table_has_dash(t))
		line(out, "\\par\\textemdash{}: ", t->dash_key, ".");
	for (size_t i = 0; i < t->n_notes; i++)
		line(out, "\\par ", t->note[i], "");
}

/* Rows whose cells wrap stand apart, or their lines run together. */
static void rows(pd_buf *out, const pd_table *t, const struct layout *l)
{
	for (size_t i = 0; i < t->n_rows; i++) {
		bool more = i + 1 < t->n_rows;

		row(out, t, &t->row[i], t->n_rows <= SHORT_TABLE && more);
		if (l->narrow && more)
			put(out, "\\addlinespace[3pt]\n");
	}
}

static void floating(pd_buf *out, const pd_table *t, const struct layout *l)
{
	put(out, "\\begin{table}[htbp]\n");
	line(out, "\\caption{", t->caption, "}");
	pd_buf_print(out, "\\label{tab:perdraw-%u}\n", t->number);
	put(out, l->narrow ? "\\footnotesize\n" : "\\small\n");
	put(out, "\\begin{tabular}");
	column_form(out, t, l);
	heads(out, t, l);
	rows(out, t, l);
	put(out, "\\bottomrule\n\\end{tabular}\n");
	keys(out, t);
	put(out, "\\end{table}\n");
}

/* Over pages, its heads repeated; `number` as in the other forms. */
static void flowing(pd_buf *out, const pd_table *t, const struct layout *l,
                    bool number)
{
	if (number)
		pd_buf_print(out, "\\setcounter{table}{%u}\n", t->number - 1);
	put(out, l->narrow ? "{\\footnotesize\n" : "{\\small\n");
	put(out, "\\begin{longtable}[l]");
	column_form(out, t, l);
	line(out, "\\caption{", t->caption, "}");
	pd_buf_print(out, "\\label{tab:perdraw-%u} \\tabularnewline\n",
	             t->number);
	heads(out, t, l);
	put(out, "\\endfirsthead\n");
	heads(out, t, l);
	put(out, "\\endhead\n\\bottomrule\n\\endfoot\n");
	rows(out, t, l);
	put(out, "\\end{longtable}\n");
	if (pd_table_has_dash(t) || t->n_notes) {
		put(out, "\\footnotesize\n");
		keys(out, t);
	}
	put(out, "\\par}\n");
}

static void table(pd_buf *out, const pd_table *t, bool alone)
{
	pd_arena *arena = pd_arena_new();
	struct layout l;

	if (!arena || !lay_out(arena, t, &l)) {
		out->failed = true;
	} else {
		pd_buf_print(out, "%% ---- table %u begins\n", t->number);
		if (alone && t->n_rows <= FLOAT_ROWS)
			floating(out, t, &l);
		else
			flowing(out, t, &l, !alone);
		pd_buf_print(out, "%% ---- table %u ends\n", t->number);
	}
	pd_arena_free(arena);
}

/* ---- the other blocks */

static void items(pd_buf *out, const pd_block *b)
{
	if (!b->n_items)
		return;
	put(out, "\\begin{itemize}\n");
	for (size_t i = 0; i < b->n_items; i++)
		line(out, "\\item{} ", b->item[i], "");
	put(out, "\\end{itemize}\n");
}

static void definitions(pd_buf *out, const pd_block *b)
{
	for (size_t i = 0; i < b->n_items; i++) {
		put(out, "\\par\\noindent\\textbf{");
		pd_latex_add(out, b->definition[i].term);
		put(out, ":} ");
		line(out, "", b->definition[i].text, "\n");
	}
}

static void maybe(pd_buf *out, const char *before, const char *text,
                  const char *behind)
{
	if (text && *text)
		line(out, before, text, behind);
}

static void spaced(pd_buf *out, const char *before, const char *text)
{
	if (!text)
		return;
	put(out, before);
	pd_latex_add(out, text);
}

static void board_row(pd_buf *out, const pd_board_row *r)
{
	put(out, "\\par\\smallskip\\noindent\\textbf{");
	pd_latex_add(out, r->tag);
	put(out, "} ");
	line(out, "", r->question, "");
	for (size_t i = 0; i < r->n_lines; i++) {
		const pd_board_line *l = &r->line[i];

		put(out, "\\par\\noindent ");
		pd_latex_add(out, pd_verdict_sign(l->verdict));
		put(out, " \\textbf{");
		pd_latex_add(out, l->words);
		put(out, l->arms || l->number ? ".}" : "}");
		spaced(out, " ", l->arms);
		spaced(out, l->arms ? "; " : " ", l->number);
		put(out, "\n");
	}
	maybe(out, "\\par\\noindent ", r->sentence, "");
	maybe(out, "\\par\\noindent Judged: ", r->judged, "");
	maybe(out, "\\par\\noindent ", r->note, "");
	maybe(out, "\\par\\noindent ", r->harm, "");
	put(out, "\n");
}

static void board(pd_buf *out, const pd_board *b)
{
	for (size_t g = 0; g < b->n_groups; g++) {
		line(out, "\\subsubsection*{", b->group[g].title, "}");
		maybe(out, "", b->group[g].rule, "\n");
		for (size_t i = 0; i < b->group[g].n_rows; i++)
			board_row(out, &b->group[g].row[i]);
	}
}

/* The picture is left out, its words are not. */
static void figure(pd_buf *out, const pd_figure *f)
{
	pd_buf_print(out, "\\par\\medskip\\noindent\\textbf{Figure %u. ",
	             f->number);
	line(out, "", f->title, "}");
	line(out, "", f->description, "");
	if (f->table)
		pd_buf_print(out, "Numbers: Table %u.\n", f->table);
	put(out, "(The picture is in the HTML form.)\\par\\medskip\n\n");
}

static void block(pd_buf *out, const pd_block *b)
{
	static const char *const level[] = { "", "\\section*{",
		                             "\\subsection*{",
		                             "\\subsubsection*{" };

	switch (b->kind) {
	case PD_BLOCK_HEADING:
		line(out, level[b->level > 3 ? 3 : b->level], b->text, "}");
		break;
	case PD_BLOCK_PARAGRAPH:
		if (b->tone == PD_LEAD)
			line(out, "\\par\\noindent\\textbf{", b->text, "}\n");
		else
			line(out, "\\par\\noindent ", b->text, "\n");
		break;
	case PD_BLOCK_BOARD:
		board(out, b->board);
		break;
	case PD_BLOCK_TABLE:
		table(out, b->table, false);
		break;
	case PD_BLOCK_FIGURE:
		figure(out, b->figure);
		break;
	case PD_BLOCK_BOX:
		line(out, "\\par\\medskip\\noindent\\textbf{", b->text, "}");
		items(out, b);
		break;
	case PD_BLOCK_LIST:
		items(out, b);
		break;
	case PD_BLOCK_DEFINITIONS:
		definitions(out, b);
		break;
	case PD_BLOCK_FOOTER:
		line(out, "\\par\\bigskip\\noindent ", b->text, "\n");
		break;
	case PD_BLOCK_PAGE_END:
		break;
	}
}

static void whole(pd_buf *out, const pd_doc *d)
{
	put(out, "\\documentclass[a4paper,10pt]{article}\n"
	         "\\usepackage[utf8]{inputenc}\n\\usepackage[T1]{fontenc}\n"
	         "\\usepackage{array,booktabs,longtable}\n");
	put(out, pd_latex_macros);
	put(out, "\\setlength{\\hoffset}{-1in}\n"
	         "\\setlength{\\voffset}{-1in}\n"
	         "\\setlength{\\oddsidemargin}{20mm}\n"
	         "\\setlength{\\topmargin}{12mm}\n"
	         "\\setlength{\\textwidth}{170mm}\n"
	         "\\setlength{\\textheight}{245mm}\n"
	         "\\setlength{\\tabcolsep}{4pt}\n"
	         "\\setlength{\\emergencystretch}{3em}\n"
	         "\\begin{document}\n");
	for (const pd_block *b = d->first; b; b = b->next)
		block(out, b);
	put(out, "\\end{document}\n");
}

pd_status pd_doc_write_latex(const pd_doc *d, unsigned number, pd_buf *out,
                             pd_error *err)
{
	const pd_table *t = number ? pd_doc_table_at(d, number) : NULL;

	if (number && !t)
		return pd_doc_no_table(d, number, err);
	comment(out, d->title);
	if (t) {
		put(out, "% needs \\usepackage{array,booktabs,longtable}\n");
		put(out, pd_latex_macros);
		table(out, t, true);
	} else {
		whole(out, d);
	}
	if (!pd_buf_ok(out))
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	return PD_OK;
}
