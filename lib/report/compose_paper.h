/*
 * compose_paper.h - the parts of a manuscript, one file each (inside the
 * report room only). Each appends to the document; failures are kept in it.
 */
#ifndef PERDRAW_REPORT_COMPOSE_PAPER_H
#define PERDRAW_REPORT_COMPOSE_PAPER_H

#include "base/paper.h"
#include "report/block.h"

/* Published sources a text may name, in the order of the list in
 * compose_paper_sources.c. */
typedef enum pd_cited {
	PD_CITED_STUDENT, PD_CITED_HARVILLE, PD_CITED_KENWARD, PD_CITED_NEUHAUS,
	PD_CITED_RUBIN, PD_CITED_BARNARD, PD_CITED_LUBIN, PD_CITED_DURRLEMAN,
	PD_CITED_WAGNER, PD_CITED_COX, PD_CITED_SCHUIRMANN, PD_CITED_HOLM,
	PD_CITED_BENJAMINI, PD_CITED_POCOCK, PD_CITED_LAN, PD_CITED_ROBBINS,
	PD_CITED_HOWARD, PD_CITED_WILCOXON, PD_CITED_HODGES, PD_CITED_MANN,
	PD_CITED_PHIPSON, PD_CITED_EFRON, PD_CITED_LI, PD_CITED_LUNCEFORD,
	PD_CITED_BELL, PD_CITED_PUSTEJOVSKY, PD_CITED_LAWLESS,
	PD_CITED_PINHEIRO, PD_CITED_AUSTIN, PD_CITED_YANG, PD_CITED_HYNDMAN,
	PD_CITED_CLOPPER, PD_CITED_VENZON, PD_CITED_CHAN, PD_CITED_BERGER,
	PD_CITED_MIETTINEN, PD_CITED_PEDUZZI, PD_CITED_STROBE, PD_CITED_RECORD,
	PD_CITED_TREND, PD_CITED_PIAGGIO, PD_CITED_MIBO, PD_N_CITED
} pd_cited;

/* The document in the making: numbers of its tables and sources. */
typedef struct pd_paper_doc {
	pd_doc *d;
	const pd_paper *p;
	unsigned characteristics, effects, held, ways, flow; /* 0: no such    */
	unsigned figure;
	size_t n_cited;
	pd_cited cited[PD_N_CITED]; /* in the order first named               */
} pd_paper_doc;

/* compose_paper_sources.c: "[3]"; two of them "[3,4]"; the list at the end. */
const char *pd_paper_cite(pd_paper_doc *w, pd_cited a);
const char *pd_paper_cite_two(pd_paper_doc *w, pd_cited a, pd_cited b);
void pd_paper_sources(pd_paper_doc *w);
/* What the numbers were made with and from. */
void pd_paper_statement(pd_paper_doc *w);

/* compose_paper_table.c */
void pd_paper_characteristics(pd_paper_doc *w);
/* Cells of 1 to least - 1 units, in words; appended to the list. */
void pd_paper_small_cells(pd_paper_doc *w, pd_block *list);
/* "10 (5 to 15)" or "10.2 (4.1)" of an arm, NULL without a value. */
const char *pd_paper_number(pd_doc *d, const pd_paper_row *r, size_t arm);
/* "12/345 (3.5%)" */
const char *pd_paper_share(pd_doc *d, size_t k, size_t n);

/* compose_paper_effects.c */
void pd_paper_effects(pd_paper_doc *w);
void pd_paper_ways(pd_paper_doc *w);

/* compose_paper_spread.c: nothing where no model was fitted. */
void pd_paper_spread(pd_paper_doc *w);

/* compose_paper_flow.c */
void pd_paper_flow(pd_paper_doc *w);

/* compose_paper_methods.c */
void pd_paper_methods(pd_paper_doc *w);

/* The sheets: compose_paper_harvest.c, compose_paper_sheets.c,
 * compose_paper_margins.c (nothing where no question has a margin). */
void pd_paper_harvest(pd_paper_doc *w);
void pd_paper_observation(pd_paper_doc *w);
void pd_paper_margins(pd_paper_doc *w);

/* "2017 to 2025": years of the first and last case; NULL without a date. */
const char *pd_paper_years(pd_doc *d, const pd_review *r);
/* Was it answered? */
bool pd_paper_answered(const pd_answer *a);
/* "0.80 to 1.25", "-2 to 2"; of an answer with a margin. */
const char *pd_paper_margin(pd_doc *d, const pd_answer *a);

#endif
