/*
 * compose_missing.h - missing results, as a document (the `findings` command).
 */
#ifndef PERDRAW_REPORT_COMPOSE_MISSING_H
#define PERDRAW_REPORT_COMPOSE_MISSING_H

#include "base/missing.h"
#include "report/doc.h"

pd_status pd_compose_missing(const pd_missing_answer *answer, pd_doc **out,
                             pd_error *err);

#endif
