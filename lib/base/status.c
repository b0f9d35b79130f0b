/* status.c - the list of statuses and the sentence beside each failure. */
#include "base/status.h"

#include <gsl/gsl_errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *pd_status_text(pd_status st)
{
	switch (st) {
#define X(name, code, words)                                                   \
	case name:                                                             \
		return words;
		PD_STATUS_LIST(X)
#undef X
	}
	return "unknown status";
}

int pd_status_exit(pd_status st)
{
	switch (st) {
#define X(name, code, words)                                                   \
	case name:                                                             \
		return code;
		PD_STATUS_LIST(X)
#undef X
	}
	return 70;
}

static pd_status fill(pd_error *err, pd_status st, const char *file,
                      size_t line, size_t column, const char *fmt, va_list ap)
{
	if (!err || st == PD_OK)
		return st;
	err->status = st;
	snprintf(err->file, sizeof err->file, "%s", file ? file : "");
	err->line = line;
	err->column = column;
	vsnprintf(err->text, sizeof err->text, fmt, ap);
	return st;
}

pd_status pd_fail(pd_error *err, pd_status st, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	fill(err, st, NULL, 0, 0, fmt, ap);
	va_end(ap);
	return st;
}

pd_status pd_fail_at(pd_error *err, pd_status st, const char *file, size_t line,
                     size_t column, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	fill(err, st, file, line, column, fmt, ap);
	va_end(ap);
	return st;
}

const char *pd_error_text(const pd_error *err, char *buf, size_t size)
{
	const char *file = err->file[0] ? err->file : "";

	if (file[0] && err->line && err->column)
		snprintf(buf, size, "%s:%zu:%zu: %s", file, err->line,
		         err->column, err->text);
	else if (file[0] && err->line)
		snprintf(buf, size, "%s:%zu: %s", file, err->line, err->text);
	else if (file[0])
		snprintf(buf, size, "%s: %s", file, err->text);
	else
		snprintf(buf, size, "%s", err->text);
	return buf;
}

void pd_base_init(void)
{
	gsl_set_error_handler_off();
}
