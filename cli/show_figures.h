/*
 * show_figures.h - the figures of a document as files of one folder, with the
 * list of what they are.
 */
#ifndef PERDRAW_CLI_SHOW_FIGURES_H
#define PERDRAW_CLI_SHOW_FIGURES_H

#include "perdraw.h"

/*
 * Before the work: can figures be drawn here (PD_USAGE, PD_NO_INPUT), is the
 * folder there and may be written to, or may be made (PD_CANNOT_CREATE; also
 * where a file of keep[0 .. n-1], the inputs, could be written over)? Files
 * that are there are seen to when their number is known.
 */
pd_status show_figures_check(const char *folder, const char *const *keep,
                             size_t n, pd_error *err);
/*
 * All files, or none of them. A document without figures: nothing, and a note
 * on standard error.
 */
pd_status show_figures(const pd_doc *doc, const char *folder, bool force,
                       pd_error *err);

#endif
