/*
 * perdraw.h - the library's front door: what a program needs that loads a
 * clinic's files, asks questions of them and writes the answers.
 *
 *   pd_base_init()      once at start
 *   data/store.h        open a database, count it, list its findings
 *   data/load.h         one CSV file into it, all or nothing
 *   data/privacy.h      the key that turns record numbers into pseudonyms
 *   data/vocab.h        the fields a file may carry
 *   plan/plan.h         a plan file into questions
 *   plan/run.h          questions into answers
 *   report/compose.h    answers into a document
 *   report/doc.h        a document into text or HTML
 *
 * Compile with `pkg-config --cflags --libs perdraw`.
 */
#ifndef PERDRAW_H
#define PERDRAW_H

#include "base/answer.h"
#include "base/arena.h"
#include "base/bridge.h"
#include "base/buf.h"
#include "base/changes.h"
#include "base/claim.h"
#include "base/estimate.h"
#include "base/expect.h"
#include "base/file.h"
#include "base/glyph.h"
#include "base/history.h"
#include "base/missing.h"
#include "base/near.h"
#include "base/paper.h"
#include "base/pooled.h"
#include "base/scan.h"
#include "base/release.h"
#include "base/size.h"
#include "base/status.h"
#include "base/verified.h"
#include "base/version.h"
#include "base/watch.h"
#include "data/audit.h"
#include "data/backup.h"
#include "data/finding.h"
#include "data/history.h"
#include "data/load.h"
#include "data/privacy.h"
#include "data/release.h"
#include "data/source.h"
#include "data/store.h"
#include "data/vocab.h"
#include "plan/bridge.h"
#include "plan/claim.h"
#include "plan/expect.h"
#include "plan/missing.h"
#include "plan/paper.h"
#include "plan/plan.h"
#include "plan/pooled.h"
#include "plan/run.h"
#include "plan/size.h"
#include "plan/watch.h"
#include "report/compose.h"
#include "report/compose_missing.h"
#include "report/compose_release.h"
#include "report/doc.h"
#include "report/release_files.h"

#endif
