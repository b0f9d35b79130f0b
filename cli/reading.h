/*
 * reading.h - one reading of the data by a command: its day, the memory of its
 * answer, and how it ended as an exit status.
 */
#ifndef PERDRAW_CLI_READING_H
#define PERDRAW_CLI_READING_H

#include "command.h"
#include "perdraw.h"

/* The work of a command on a day; *refused: these data give no answer. */
typedef pd_status reading_work(const void *options,
                               const struct operands *operands,
                               const char *day, pd_arena *arena, bool *refused,
                               pd_error *err);

/*
 * date: --date or NULL. st, err: how the checks of the options ended; the work
 * is done after PD_OK only. Says a failure; returns the exit status.
 */
int reading_run(reading_work *work, const void *options,
                const struct operands *operands, const char *date,
                pd_status st, pd_error *err);

#endif
