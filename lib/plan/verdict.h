/*
 * verdict.h - from an interval to a word, the same way for every question.
 *
 *   no difference that matters  the whole interval lies inside the margin
 *   better / worse              the interval lies above / below no effect
 *                               (and not wholly inside the margin)
 *   not settled                 anything else
 *
 * The interval that is printed is the one that decides, so word and interval
 * agree by construction: at level 1-a, "inside the margin" is two one-sided
 * tests at a/2 each (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15,
 * 657-680). For secondary and exploratory questions the word must also hold
 * after the adjustment of p (verdict words: pd_verdict_settle).
 */
#ifndef PERDRAW_PLAN_VERDICT_H
#define PERDRAW_PLAN_VERDICT_H

#include "base/answer.h"
#include "base/arena.h"
#include "base/status.h"

/*
 * Fill value, low, high, p_margin and detectable of an effect whose `log`
 * holds the estimate on the working scale.
 *   p_margin = max(P(T > (b + d)/se), P(T < (b - d)/se)), d = |log margin|
 *   detectable: stats/detect.h, at the estimate's df and level
 */
void pd_verdict_measure(pd_effect *e, pd_scale scale, double margin,
                        double level);

/* The word of an interval alone, on the printed scale, before other tests are
 * allowed for: PD_BETTER, PD_WORSE, PD_NO_MATTER or PD_NOT_SETTLED. */
pd_verdict pd_verdict_alone(pd_scale scale, double margin, double low,
                            double high);

/*
 * Adjust p within roles over all answers (primary: within a question that has
 * several effects, Holm; secondary: Holm over all; exploratory: Benjamini-
 * Hochberg over all; control: none), then set each effect's verdict and
 * sentence, and mark answers unsupported when a control did not show.
 * review->n_tests and ->multiplicity are filled. `expect` holds the direction
 * of each answer's control (+1, -1) or 0.
 */
pd_status pd_verdict_settle(pd_review *review, const int *expect,
                            pd_arena *arena, pd_error *err);

#endif
