/* day.c - see day.h. */
#include "day.h"
#include "running.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

bool day_is(const char *s)
{
	static const int length[] = { 31, 28, 31, 30, 31, 30,
	                              31, 31, 30, 31, 30, 31 };
	static const char shape[] = "0000-00-00";

	if (strlen(s) != sizeof shape - 1)
		return false;
	for (size_t i = 0; shape[i]; i++)
		if (shape[i] == '-' ? s[i] != '-' : s[i] < '0' || s[i] > '9')
			return false;
	int year = atoi(s), month = atoi(s + 5), day = atoi(s + 8);

	if (year < 1900 || month < 1 || month > 12 || day < 1)
		return false;
	bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;

	return day <= length[month - 1] + (leap && month == 2);
}

static pd_status from_seconds(time_t t, struct day *out, pd_error *err)
{
	struct tm utc;

	if (!gmtime_r(&t, &utc) ||
	    strftime(out->iso, sizeof out->iso, "%Y-%m-%d", &utc) != 10)
		return pd_fail(err, PD_USAGE, "the date is out of range");
	return PD_OK;
}

static pd_status choose(const char *given, struct day *out, pd_error *err)
{
	const char *epoch = getenv("SOURCE_DATE_EPOCH");
	char *end;

	if (given) {
		if (!day_is(given))
			return pd_fail(err, PD_USAGE,
			               "option '--date' wants a date such as "
			               "2025-10-01, found '%s'", given);
		memcpy(out->iso, given, sizeof out->iso);
		return PD_OK;
	}
	if (!epoch || !*epoch)
		return from_seconds(time(NULL), out, err);
	errno = 0;
	long long seconds = strtoll(epoch, &end, 10);

	if (errno || *end || seconds < 0)
		return pd_fail(err, PD_USAGE,
		               "SOURCE_DATE_EPOCH wants seconds since 1970, "
		               "found '%s'", epoch);
	return from_seconds((time_t)seconds, out, err);
}

pd_status day_choose(const char *given, struct day *out, pd_error *err)
{
	pd_status st = choose(given, out, err);

	if (st == PD_OK)
		running_day(out->iso);
	return st;
}
