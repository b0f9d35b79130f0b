/*
 * units.h - units a column (or a row's unit cell) may be given in, and the
 * way from there to the field's canonical unit (vocab.h). Never guessed: a
 * unit is canonical by header or said by a map or a unit cell.
 * Powers of ten are kept as powers and applied while the decimal text is read
 * (pd_scan_number), so every spelling of one concentration gives one double.
 */
#ifndef PERDRAW_DATA_UNITS_H
#define PERDRAW_DATA_UNITS_H

#include "data/vocab.h"
#include <stdbool.h>

typedef enum pd_unit_way {
	PD_WAY_SHIFT,   /* canonical = number * 10^shift                       */
	PD_WAY_TIMES,   /* canonical = number * 10^shift * times               */
	PD_WAY_ONE_IN,  /* "1 in N": canonical = 10^6 / N; limits change sides */
	PD_WAY_OF_TNC   /* percent of the TNC in the same row: TNC * number/100 */
} pd_unit_way;

typedef struct pd_unit {
	pd_unit_way way;
	int shift;
	double times;
} pd_unit;

/*
 * Read a unit's spelling for a field. Case, blanks, micro signs, superscripts,
 * `x`, `cells`, `CFU` and UCUM annotations are folded; concentrations are
 * [power] / volume with the powers 10^k, 1ek, k, K, M, G, T, thousand,
 * million, billion and the volumes mL, cc, cm3, uL, mm3, dL, L.
 * false: *why says why it is refused (static text), NULL when unknown.
 */
bool pd_unit_find(pd_field f, const char *text, size_t n, pd_unit *out,
                  const char **why);

/* Documented spellings, the canonical one first for each field; the manual's
 * table and the tests walk them. NULL past the last. */
typedef struct pd_unit_known {
	pd_field field;
	const char *spelling;
	const char *factor;  /* as printed: "1", "10^-3", "60", "10^6 / N"     */
} pd_unit_known;
const pd_unit_known *pd_unit_at(size_t i);
/* "10^6/mL, 10^3/uL, ..." into out; returns out. */
const char *pd_unit_list(pd_field f, char *out, size_t size);

#endif
