/*
 * compose_release.h - the prose of a released data set: the report of what
 * was removed, the text that goes with the files, the dictionary to read.
 * Nothing in them names the clinic, its files or its database.
 */
#ifndef PERDRAW_REPORT_COMPOSE_RELEASE_H
#define PERDRAW_REPORT_COMPOSE_RELEASE_H

#include "base/release.h"
#include "report/doc.h"

/* What was removed, blanked, merged and kept, the smallest group left, what
 * somebody has to look at (the answer of the `release` command). After the
 * groups were counted again. */
pd_status pd_compose_release(const pd_release *r, pd_doc **out, pd_error *err);
/* For whoever opens the folder: what is in it and how to read it. */
pd_status pd_compose_release_readme(const pd_release *r, pd_doc **out,
                                    pd_error *err);
/* Every column: meaning, unit, values, how it came about, how many filled. */
pd_status pd_compose_release_dictionary(const pd_release *r, pd_doc **out,
                                        pd_error *err);

#endif
