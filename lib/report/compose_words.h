/*
 * compose_words.h - the wording of verdicts, arms and numbers of an answer,
 * shared by the parts of compose. Text lives in the document's arena; NULL
 * means there is nothing to say (a missing value in a table).
 */
#ifndef PERDRAW_REPORT_COMPOSE_WORDS_H
#define PERDRAW_REPORT_COMPOSE_WORDS_H

#include "report/block.h"
#include "report/number.h"

/* "Better" or, for what nobody chooses (age, date, operator), "Higher". */
const char *pd_say_verdict(const pd_answer *a, pd_verdict v);
/* The same, with the mark of a review whose control failed. */
const char *pd_say_supported(pd_doc *d, const pd_answer *a, pd_verdict v);
const char *pd_say_role(pd_role role);
/* parameter_words up to the comma that starts its unit. */
const char *pd_say_parameter(pd_doc *d, const pd_answer *a);
/* The text with its first letter upper case, unless it starts a unit (mL). */
const char *pd_say_upper(pd_doc *d, const char *text);
/* Both: a whole sentence; NULL stays NULL. */
const char *pd_say_whole(pd_doc *d, const char *text);
/* What `sentence` says beyond `arms`, which it may begin with. */
const char *pd_say_beyond(pd_doc *d, const char *sentence, const char *arms);
/* The text with a stop at its end. */
const char *pd_say_stop(pd_doc *d, const char *text);
/* An arm's name, with the parameter before a bare number. */
const char *pd_say_arm(pd_doc *d, const pd_answer *a, const char *name);
/* What is compared, whatever came of it: "pull 2 against pull 1". */
const char *pd_say_label(pd_doc *d, const pd_answer *a, const pd_effect *e);
/* Which arm gives more: "pull 2 gives less than pull 1"; for a slope "mL per
 * site: more per doubling". */
const char *pd_say_arms(pd_doc *d, const pd_answer *a, const pd_effect *e);
/* What lies left and right of no effect, for a figure's row. */
const char *pd_say_less(pd_doc *d, const pd_answer *a, const pd_effect *e);
const char *pd_say_more(pd_doc *d, const pd_answer *a, const pd_effect *e);
/* "colony-forming units (CFU-F): concentration, per mL of aspirate" */
const char *pd_say_judged(pd_doc *d, const pd_answer *a);
/* "0.80 to 1.25": the limits of the margin on the printed scale. */
void pd_margin_add(pd_buf *b, const pd_answer *a);
/* "a ratio from 0.80 to 1.25 does not change practice" and the like. */
const char *pd_say_margin(pd_doc *d, const pd_answer *a);
/* For how many readings the printed interval holds, and that of one alone. */
const char *pd_say_looks(pd_doc *d, const pd_answer *a);
/* Level of the intervals of a: "95%"; of the whole review's: all are one. */
const char *pd_say_level(pd_doc *d, const pd_answer *a);
const char *pd_say_review_level(pd_doc *d, const pd_review *r);

const char *pd_say_count(pd_doc *d, size_t n);
const char *pd_say_p(pd_doc *d, double p);
const char *pd_say_short(pd_doc *d, double x);
/* NULL for NaN, an empty cell. */
const char *pd_say_fixed(pd_doc *d, double x, int decimals);
const char *pd_say_unit(pd_doc *d, const char *unit);
/* An effect or other number of the answer with its interval. */
const char *pd_say_span(pd_doc *d, const pd_answer *a, double value, double low,
                        double high, bool with_level);
/* A level's centre with its interval. */
const char *pd_say_centre(pd_doc *d, double value, double low, double high);
/* SD of component i with its limits, where it has any. */
const char *pd_say_spread(pd_doc *d, const pd_answer *a, size_t i);
/* How alike two results are that share everything down to component i, with
 * limits where there are any. NULL for the last, which nothing shares. */
const char *pd_say_shared(pd_doc *d, const pd_answer *a, size_t i);
/* The heading of their column; level: as pd_say_level has it. */
const char *pd_say_shared_head(pd_doc *d, const char *level);
/* Adverse events at the site, with exact limits: the harm line. */
const char *pd_say_harm(pd_doc *d, const pd_review *r);
/* Does every verdict of the answer rest on a control that failed? */
bool pd_is_unsupported(const pd_answer *a, pd_verdict v);

#endif
