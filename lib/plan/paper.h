/*
 * paper.h - a plan answered as for a review, and what a manuscript needs
 * beside: the characteristics of those the draws were from, what was recorded,
 * what the plan said, and with what it was worked out.
 */
#ifndef PERDRAW_PLAN_PAPER_H
#define PERDRAW_PLAN_PAPER_H

#include "base/paper.h"
#include "plan/run.h"

/*
 * question: whose arms the characteristics are shown by; NULL: the plan's
 * first primary question that is answered, else its first answered one, else
 * its first. least: cells of fewer units are small. A reading as by a review:
 * the same looks go into the ledger. PD_USAGE for a name the plan has not.
 */
pd_status pd_paper_run(pd_store *s, const pd_plan *plan, const char *question,
                       size_t least, const pd_run_options *options,
                       pd_arena *arena, pd_paper *out, pd_error *err);

#endif
