/*
 * day.h - the date a reading is made on: --date, else SOURCE_DATE_EPOCH, else
 * today in UTC. Nothing else in the command asks the clock.
 */
#ifndef PERDRAW_CLI_DAY_H
#define PERDRAW_CLI_DAY_H

#include "perdraw.h"

struct day {
	char iso[11]; /* "2025-10-01" */
};

/* Is it a date of the calendar, as 2025-10-01? */
bool day_is(const char *text);
/* given: --date or NULL. PD_USAGE unless it is a date of the calendar. */
pd_status day_choose(const char *given, struct day *out, pd_error *err);

#endif
