/*
 * tsv.h - answers as tab-parted lines for other programs: a header line, then
 * one line an effect. Numbers carry full precision; a number that does not
 * exist is an empty field, never a word. A refused question is one line with
 * the verdict `no answer`.
 */
#ifndef PERDRAW_CLI_TSV_H
#define PERDRAW_CLI_TSV_H

#include "perdraw.h"

void tsv_write(const pd_review *review, pd_buf *to);

#endif
