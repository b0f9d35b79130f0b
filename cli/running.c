/* running.c - see running.h. */
#include "running.h"

#include <stdlib.h>
#include <string.h>

static struct running now;

const char *name_of_path(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

bool name_of_folder(const char *path, char *to, size_t size)
{
	size_t end = strlen(path), start;

	while (end && path[end - 1] == '/')
		end--;
	for (start = end; start && path[start - 1] != '/'; start--)
		;
	int n = snprintf(to, size, "%.*s", (int)(end - start), path + start);

	if (n < 0 || (size_t)n >= size)
		return false;
	if (strcmp(to, ".") == 0 || strcmp(to, "..") == 0)
		*to = '\0';
	return true;
}

void running_end(void)
{
	for (size_t i = 0; i < now.n_outputs; i++) {
		free(now.output[i].name);
		free(now.output[i].text);
	}
	free(now.output);
	now = (struct running){ .day = "" };
}

void running_begin(const struct command *c, const void *options,
                   const struct operands *operands, bool recomputed)
{
	running_end();
	now.command = c;
	now.options = options;
	now.operands = operands;
	now.recomputed = recomputed;
}

void running_day(const char *iso)
{
	snprintf(now.day, sizeof now.day, "%.10s", iso);
}

const struct running *running_now(void)
{
	return &now;
}

static char *copy_of(const char *text, size_t length)
{
	char *to = malloc(length + 1);

	if (to) {
		memcpy(to, text, length);
		to[length] = '\0';
	}
	return to;
}

pd_status running_output(const char *path, const char *text, size_t length,
                         pd_error *err)
{
	return running_noted(name_of_path(path ? path : "-"), text, length,
	                     err);
}

pd_status running_noted(const char *name, const char *text, size_t length,
                        pd_error *err)
{
	struct output *to = realloc(now.output,
	                            (now.n_outputs + 1) * sizeof *to);

	if (!to)
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	now.output = to;
	to += now.n_outputs;
	*to = (struct output){ .name = copy_of(name, strlen(name)),
		               .length = length };
	if (to->name && now.recomputed)
		to->text = copy_of(text, length);
	if (!to->name || (now.recomputed && !to->text)) {
		free(to->name);
		return pd_fail(err, PD_NO_MEMORY, "out of memory");
	}
	pd_sha256_hex(text, length, to->sha256);
	now.n_outputs++;
	return PD_OK;
}
