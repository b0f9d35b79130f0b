/*
 * show_csv.h - the tables of a document as files of CSV, and their description
 * beside them.
 */
#ifndef PERDRAW_CLI_SHOW_CSV_H
#define PERDRAW_CLI_SHOW_CSV_H

#include "perdraw.h"

/*
 * Before the work: PD_CANNOT_CREATE when show_csv(..., 0, path, ...) would
 * write over keep[0 .. n-1] (the inputs; NULL entries are skipped), force or
 * not. The other places are seen to when the number of tables is known.
 */
pd_status show_csv_check(const char *path, const char *const *keep, size_t n,
                         pd_error *err);

/*
 * Table `number` to `path` and its description to PATH-metadata.json; number
 * 0: every table, NAME-1.csv, NAME-2.csv ... for the path NAME.csv, described
 * together in NAME.csv-metadata.json. None is written unless all may be.
 * path NULL or "-": one table to standard output, the first unless numbered,
 * without a description. A result without tables: nothing, and a note on
 * standard error.
 */
pd_status show_csv(const pd_doc *doc, unsigned number, const char *path,
                   bool force, pd_error *err);

#endif
