/*
 * compose.h - a review or a single answer into a document, in words.
 */
#ifndef PERDRAW_REPORT_COMPOSE_H
#define PERDRAW_REPORT_COMPOSE_H

#include "base/answer.h"
#include "base/claim.h"
#include "base/bridge.h"
#include "base/pooled.h"
#include "base/expect.h"
#include "base/history.h"
#include "base/paper.h"
#include "base/size.h"
#include "base/verified.h"
#include "base/watch.h"
#include "report/doc.h"

pd_status pd_compose_review(const pd_review *review, pd_doc **out,
                            pd_error *err);
/* One question (the `ask` command): review carries the context, answer[0]. */
pd_status pd_compose_answer(const pd_review *review, pd_doc **out,
                            pd_error *err);

/* How many a fair comparison needs (the `size` command). */
pd_status pd_compose_size(const pd_size_answer *answer, pd_doc **out,
                          pd_error *err);

/* Printed ratios together (the `pool` command). */
pd_status pd_compose_pooled(const pd_pooled_answer *answer, pd_doc **out,
                            pd_error *err);

/* Two method versions on the same pulls (the `agree` command). */
pd_status pd_compose_bridge(const pd_bridge_answer *answer, pd_doc **out,
                            pd_error *err);

/* A printed claim (the `claim` command). */
pd_status pd_compose_claim(const pd_claim_answer *a, pd_doc **out,
                           pd_error *err);

/* What a draw may yield (the `expect` command). */
pd_status pd_compose_expect(const pd_expect_answer *answer, pd_doc **out,
                            pd_error *err);

/* Tables, texts and sheets for a manuscript (the `paper` command). */
pd_status pd_compose_paper(const pd_paper *paper, pd_doc **out, pd_error *err);

/* What was done to a store, its chain recomputed (the `history` command). */
pd_status pd_compose_history(const pd_history *h, pd_doc **out, pd_error *err);

/* A manifest recomputed (the `verify` command). */
pd_status pd_compose_verified(const pd_verified *v, pd_doc **out,
                              pd_error *err);

/* Charts, signals and operators (the `watch` command). */
pd_status pd_compose_watch(const pd_watch_answer *answer, pd_doc **out,
                           pd_error *err);

#endif
