/*
 * release_files.h - the files of a released data set that are not prose:
 * tables, dictionary, description (CSV on the Web). Prose: compose_release.h.
 */
#ifndef PERDRAW_REPORT_RELEASE_FILES_H
#define PERDRAW_REPORT_RELEASE_FILES_H

#include "base/buf.h"
#include "base/release.h"
#include "base/status.h"

/* Heads of a table's columns, and one row of it; cell NULL: nothing. */
void pd_release_csv_head(const pd_release_table *t, pd_buf *out);
void pd_release_csv_row(const pd_release_table *t, const char *const *cell,
                        pd_buf *out);
/* A row a column of a table: meaning, unit, values, how it came about, how
 * many rows have it. After the tables' rows were walked. */
pd_status pd_release_dictionary(const pd_release *r, pd_buf *out,
                                pd_error *err);
/* Description of long.csv, wide.csv and dictionary.csv. */
pd_status pd_release_csv_about(const pd_release *r, pd_buf *out,
                               pd_error *err);

#endif
