/* table.c - gen.c's file into arrays; plain cells, nothing is quoted. */
#include "fits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CELLS = 21 };

void need(bool true_or_stop, const char *what)
{
	if (true_or_stop)
		return;
	fprintf(stderr, "fits: %s failed\n", what);
	exit(1);
}

void must(pd_status status, const char *what)
{
	need(status == PD_OK, what);
}

void *room_for(size_t n, size_t size)
{
	void *p = calloc(n + 1, size);

	need(p != NULL, "memory");
	return p;
}

static double number(const char *cell)
{
	char *end;
	double x = strtod(cell, &end);

	return end == cell || *end ? (double)NAN : x;
}

static size_t split(char *line, char **cell)
{
	size_t n = 0;

	line[strcspn(line, "\r\n")] = '\0';
	for (char *at = line; at && n < CELLS; n++)
		cell[n] = strsep(&at, ",");
	return n;
}

/* M0000012 -> 12 */
static int32_t label(const char *cell)
{
	return (int32_t)strtol(cell + 1, NULL, 10);
}

static struct table *table_new(size_t room)
{
	struct table *t = room_for(1, sizeof *t);
	double **const reals[] = { &t->age, &t->female, &t->site, &t->second,
		                   &t->log_ml, &t->syringe, &t->log_tnc,
		                   &t->plated, &t->dish };
	int32_t **const codes[] = { &t->patient, &t->case_, &t->side_code,
		                    &t->site_code };

	for (size_t k = 0; k < sizeof reals / sizeof *reals; k++)
		*reals[k] = room_for(room, sizeof(double));
	for (size_t k = 0; k < sizeof codes / sizeof *codes; k++)
		*codes[k] = room_for(room, sizeof(int32_t));
	return t;
}

static void take(struct table *t, char **cell)
{
	size_t i = t->n++;

	t->patient[i] = label(cell[0]);
	t->female[i] = cell[1][0] == 'F';
	t->case_[i] = label(cell[3]);
	t->age[i] = number(cell[5]);
	t->side_code[i] = 2 * t->case_[i] + (cell[7][0] == 'R');
	t->site[i] = number(cell[8]);
	t->site_code[i] = 16 * t->case_[i] + (int32_t)t->site[i];
	t->second[i] = number(cell[9]) - 1;
	t->log_ml[i] = log(number(cell[10]));
	t->syringe[i] = number(cell[11]);
	t->log_tnc[i] = log(number(cell[14]));
	t->plated[i] = number(cell[17]);
	t->dish[i] = number(cell[18]);
	if ((size_t)t->case_[i] > t->n_cases)
		t->n_cases = (size_t)t->case_[i];
}

struct table *table_read(const char *path)
{
	FILE *f = fopen(path, "r");
	char *line = NULL, *cell[CELLS];
	size_t size = 0, lines = 0;

	need(f != NULL, path);
	while (getline(&line, &size, f) > 0)
		lines++;
	rewind(f);
	struct table *t = table_new(lines);

	need(getline(&line, &size, f) > 0, "reading the headers");
	while (getline(&line, &size, f) > 0) {
		need(split(line, cell) == CELLS, "reading a row");
		take(t, cell);
	}
	free(line);
	fclose(f);
	return t;
}

void cells_of(const struct table *t, struct cells *out)
{
	const int32_t *const code[] = { t->patient, t->case_, t->side_code,
		                        t->site_code };
	static const double size[] = { 10, 20, 50 };

	out->p = 9;
	out->x = room_for(t->n * out->p, sizeof(double));
	out->y = room_for(t->n, sizeof(double));
	for (size_t k = 0; k < 4; k++)
		out->group[k] = room_for(t->n, sizeof(int32_t));
	out->n = 0;
	for (size_t i = 0; i < t->n; i++) {
		double *x = out->x + out->n * out->p;

		if (!isfinite(t->log_tnc[i]) || !isfinite(t->log_ml[i]))
			continue;
		const double row[] = { 1, t->age[i], 1 - t->female[i], t->site[i],
			               t->second[i], t->log_ml[i] };

		memcpy(x, row, sizeof row);
		for (size_t k = 0; k < 3; k++)
			x[6 + k] = fabs(t->syringe[i] - size[k]) < 0.5;
		for (size_t k = 0; k < 4; k++)
			out->group[k][out->n] = code[k][i];
		out->y[out->n++] = t->log_tnc[i];
	}
}

void colonies_of(const struct table *t, struct colonies *out)
{
	out->p = 5;
	out->x = room_for(t->n * out->p, sizeof(double));
	out->y = room_for(t->n, sizeof(double));
	out->offset = room_for(t->n, sizeof(double));
	out->group = room_for(t->n, sizeof(int32_t));
	out->n = 0;
	for (size_t i = 0; i < t->n; i++) {
		size_t to = out->n;

		if (!isfinite(t->dish[i]) || !isfinite(t->plated[i]))
			continue;
		const double row[] = { 1, (t->age[i] - 55) / 10, 1 - t->female[i],
			               t->site[i], t->second[i] };

		memcpy(out->x + to * out->p, row, sizeof row);
		out->y[to] = t->dish[i];
		out->offset[to] = log(t->plated[i] / 1e6);
		out->group[to] = t->patient[i];
		out->n++;
	}
}

double *differences_of(const struct table *t, size_t *n)
{
	size_t room = 16 * (t->n_cases + 1);
	double *first = room_for(room, sizeof *first);
	double *sum = room_for(t->n_cases, sizeof *sum);
	double *count = room_for(t->n_cases, sizeof *count);
	double *out = room_for(t->n_cases, sizeof *out);

	for (size_t k = 0; k < room; k++)
		first[k] = NAN;
	for (size_t i = 0; i < t->n; i++) {
		double *at = &first[t->site_code[i]];

		if (!(t->second[i] > 0)) {
			*at = t->log_tnc[i];
		} else if (isfinite(*at) && isfinite(t->log_tnc[i])) {
			sum[t->case_[i]] += t->log_tnc[i] - *at;
			count[t->case_[i]] += 1;
		}
	}
	*n = 0;
	for (size_t c = 0; c <= t->n_cases; c++)
		if (count[c] > 0)
			out[(*n)++] = sum[c] / count[c];
	free(first);
	free(sum);
	free(count);
	return out;
}
