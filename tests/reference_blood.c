/*
 * reference_blood.c - outside checks of the blood-dilution formulas of
 * lib/data/blood.h on the inputs of holdrinet.csv.
 */
#include "data/blood.h"
#include "reference.h"

#include <string.h>

static const char before[] = "row sample=";

/* Row of the sample that the spec names; the row count when there is none. */
static size_t row_of(const pd_frame *f, const pd_column *sample,
                     const char *spec)
{
	const char *at = strstr(spec, before);
	size_t n = pd_frame_rows(f), i = at ? 0 : n;

	for (; i < n; i++) {
		const char *word = sample->level[sample->code[i]];
		size_t length = strlen(word);

		if (strncmp(at + strlen(before), word, length) == 0 &&
		    at[strlen(before) + length] == ':')
			break;
	}
	return i;
}

int reference_blood(const struct check *c, double *got)
{
	if (strcmp(c->method, "blood dilution") != 0)
		return 0;
	const pd_frame *f = reference_data(c->dataset);
	const pd_column *sample = f ? pd_frame_find(f, "sample") : NULL;
	size_t n, i = sample ? row_of(f, sample, c->spec) : 0;

	if (!sample || i == pd_frame_rows(f))
		return 0;
	double rbc_m = reference_real(c->dataset, "rbc_bm", &n)[i];
	double rbc_b = reference_real(c->dataset, "rbc_pb", &n)[i];
	double tnc = reference_real(c->dataset, "nucleated_bm", &n)[i];
	double wbc_b = reference_real(c->dataset, "wbc_pb", &n)[i];
	double cells = pd_blood_marrow_cells(rbc_m, rbc_b, wbc_b, tnc);

	if (strcmp(c->quantity, "blood_fraction") == 0)
		*got = pd_blood_volume_fraction(rbc_m, rbc_b);
	else if (strcmp(c->quantity, "blood_leucocytes") == 0)
		*got = tnc - cells;
	else if (strcmp(c->quantity, "marrow_nucleated") == 0)
		*got = cells;
	else if (strcmp(c->quantity, "purity") == 0)
		*got = 1 - pd_blood_cell_fraction(rbc_m, rbc_b, wbc_b, tnc);
	else
		return 0;
	return 1;
}
