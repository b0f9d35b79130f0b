/*
 * units.c - unit spellings: concentrations by a small grammar, the rest by a
 * table. Factors: domain use; 10^3/uL, 10^9/L and 10^6/mL are one number.
 */
#include "data/units.h"
#include "base/scan.h"

#include <stdio.h>
#include <string.h>

enum { NO_POWER = 1000 };

/* Canonical unit of a count concentration as a power of ten per mL. */
static int per_ml_power(pd_field f)
{
	switch (f) {
	case PD_F_TNC:
	case PD_F_MNC:
	case PD_F_BLOOD_WBC:
	case PD_F_PLATELETS:
		return 6;
	case PD_F_RBC:
	case PD_F_BLOOD_RBC:
		return 9;
	case PD_F_CD34:
		return 3;
	case PD_F_CD271:
	case PD_F_CFU_F:
		return 0;
	default:
		return NO_POWER;
	}
}

/* UTF-8 signs met in unit texts and what they are read as. */
static const struct sign {
	const char *utf8, *ascii;
} signs[] = {
	{ "\xc2\xb5", "u" },     /* micro sign                              */
	{ "\xce\xbc", "u" },     /* Greek mu                                */
	{ "\xc3\x97", "x" },     /* multiplication sign                     */
	{ "\xc2\xb7", "x" },     /* middle dot                              */
	{ "\xc2\xb2", "^2" },    { "\xc2\xb3", "^3" },
	{ "\xe2\x81\xb4", "^4" }, { "\xe2\x81\xb5", "^5" },
	{ "\xe2\x81\xb6", "^6" }, { "\xe2\x81\xb7", "^7" },
	{ "\xe2\x81\xb8", "^8" }, { "\xe2\x81\xb9", "^9" },
	{ "\xc2\xb9\xc2\xb2", "^12" },
};

static size_t put(char *out, size_t n, size_t room, const char *text)
{
	while (*text && n + 1 < room)
		out[n++] = *text++;
	return n;
}

/* "per" as a word of its own becomes '/'. */
static bool is_per(const char *s, const char *end, const char *start)
{
	return end - s >= 3 && pd_same_word(s, 3, "per") &&
	       (s == start || s[-1] == ' ') && (s + 3 == end || s[3] == ' ' ||
	       pd_is_digit(s[3]));
}

/* Lower case, no blanks, signs respelled, {annotations} and [CFU] left out. */
static bool fold(const char *s, size_t size, char out[64])
{
	const char *start = s, *end = s + size;
	size_t n = 0;

	if (size > 60)
		return false;
	while (s < end) {
		const struct sign *sign = NULL;

		for (size_t k = sizeof signs / sizeof *signs; k-- && !sign;)
			if ((size_t)(end - s) >= strlen(signs[k].utf8) &&
			    memcmp(s, signs[k].utf8,
			           strlen(signs[k].utf8)) == 0)
				sign = &signs[k];
		if (sign) {
			n = put(out, n, 64, sign->ascii);
			s += strlen(sign->utf8);
		} else if (*s == '{' || *s == '[') {
			char close = *s == '{' ? '}' : ']';

			while (s < end && *s != close)
				s++;
			s += s < end;
		} else if (is_per(s, end, start)) {
			n = put(out, n, 64, "/");
			s += 3;
		} else {
			char c[2] = { *s == '*' ? '^' : pd_lower(*s), '\0' };

			n = *s == ' ' ? n : put(out, n, 64, c);
			s++;
		}
	}
	out[n] = '\0';
	return true;
}

/* If s starts with word, step past it. */
static bool take(const char **s, const char *word)
{
	size_t n = strlen(word);

	if (strncmp(*s, word, n) != 0)
		return false;
	*s += n;
	return true;
}

static void skip_nouns(const char **s)
{
	while (take(s, "nucleated") || take(s, "cells") || take(s, "cell") ||
	       take(s, "cfu-f") || take(s, "cfu") || take(s, "colonies"))
		;
}

/* Digits of an exponent at *s. */
static bool take_power(const char **s, int *power)
{
	int k = 0, digits = 0;

	while (pd_is_digit(**s) && digits < 3) {
		k = 10 * k + (*(*s)++ - '0');
		digits++;
	}
	*power = k;
	return digits > 0 && digits < 3;
}

static const char *const ambiguous =
    "10e6 can mean 10^6 or 10^7: write 10^6";

/* A leading power of ten; 0 when there is none. NO_POWER: cannot be read. */
static int multiplier(const char **s, const char **why)
{
	static const struct { const char *word; int power; } names[] = {
		{ "thousand", 3 }, { "tsd", 3 },     { "millions", 6 },
		{ "million", 6 },  { "mill", 6 },    { "mio", 6 },
		{ "billion", 9 },  { "1000000", 6 }, { "100000", 5 },
		{ "1000", 3 },
	};
	int power;

	skip_nouns(s);
	if (!take(s, "x"))
		take(s, "^"); /* a `*` as sign of multiplication */
	if (take(s, "10^") || take(s, "1e") || take(s, "e")) {
		take(s, "+");
		return take_power(s, &power) ? power : NO_POWER;
	}
	if (take(s, "10e")) {
		*why = ambiguous;
		return NO_POWER;
	}
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (take(s, names[i].word))
			return names[i].power;
	if ((*s)[0] && ((*s)[1] == '/' || (*s)[1] == '\0')) {
		static const char prefix[] = "kmgt";
		const char *at = strchr(prefix, (*s)[0]);

		if (at) {
			(*s)++;
			return 3 * (1 + (int)(at - prefix));
		}
	}
	return 0;
}

/* What a volume's inverse is in powers of ten per mL. */
static int per_volume(const char *s)
{
	static const struct { const char *word; int power; } volumes[] = {
		{ "ml", 0 },    { "cc", 0 },   { "cm3", 0 },  { "cm^3", 0 },
		{ "ccm", 0 },   { "ul", 3 },   { "mcl", 3 },  { "mm3", 3 },
		{ "mm^3", 3 },  { "cmm", 3 },  { "dl", -2 },  { "l", -3 },
		{ "litre", -3 }, { "liter", -3 }, { "milliliter", 0 },
		{ "millilitre", 0 }, { "microliter", 3 }, { "microlitre", 3 },
	};

	for (size_t i = 0; i < sizeof volumes / sizeof *volumes; i++)
		if (strcmp(s, volumes[i].word) == 0)
			return volumes[i].power;
	return NO_POWER;
}

static bool concentration(pd_field f, const char *s, pd_unit *out,
                          const char **why)
{
	int power = multiplier(&s, why);

	skip_nouns(&s);
	if (power == NO_POWER || !take(&s, "/"))
		return false;
	int volume = per_volume(s);

	if (volume == NO_POWER)
		return false;
	*out = (pd_unit){ PD_WAY_SHIFT, power + volume - per_ml_power(f), 1 };
	return true;
}

/* Colonies per so many nucleated cells. */
static bool prevalence(const char *s, pd_unit *out, const char **why)
{
	int power;

	skip_nouns(&s);
	if (strcmp(s, "%") == 0 || strcmp(s, "percent") == 0) {
		*out = (pd_unit){ PD_WAY_SHIFT, 4, 1 };
		return true;
	}
	if (strcmp(s, "1inn") == 0 || strcmp(s, "onein") == 0 ||
	    strcmp(s, "1in") == 0) {
		*out = (pd_unit){ PD_WAY_ONE_IN, 0, 1 };
		return true;
	}
	if (!take(&s, "/"))
		return false;
	power = multiplier(&s, why);
	if (power == NO_POWER || power == 0)
		return false;
	if (strstr(s, "mnc") || strstr(s, "mononuclear")) {
		*why = "per mononuclear cells is another quantity than per "
		       "nucleated cells";
		return false;
	}
	skip_nouns(&s);
	if (*s && strcmp(s, "tnc") != 0 && strcmp(s, "nc") != 0)
		return false;
	*out = (pd_unit){ PD_WAY_SHIFT, 6 - power, 1 };
	return true;
}

/* A plain number of cells. */
static bool amount(const char *s, pd_unit *out, const char **why)
{
	int power = multiplier(&s, why);

	skip_nouns(&s);
	if (power == NO_POWER)
		return false;
	if (*s && strcmp(s, "/dish") != 0 && strcmp(s, "/well") != 0)
		return false;
	*out = (pd_unit){ PD_WAY_SHIFT, power, 1 };
	return true;
}

/* Fields outside the grammars above: folded spelling, shift, times. */
static const struct plain {
	pd_field field;
	const char *spelling;
	int shift;
	double times;
} plain[] = {
	{ PD_F_VIABILITY, "%", 0, 1 },
	{ PD_F_VIABILITY, "percent", 0, 1 },
	{ PD_F_VIABILITY, "fraction", 2, 1 },
	{ PD_F_VIABILITY, "0-1", 2, 1 },
	{ PD_F_HCT, "%", 0, 1 },
	{ PD_F_HCT, "percent", 0, 1 },
	{ PD_F_HCT, "fraction", 2, 1 },
	{ PD_F_HCT, "l/l", 2, 1 },
	{ PD_F_BLOOD_HCT, "%", 0, 1 },
	{ PD_F_BLOOD_HCT, "percent", 0, 1 },
	{ PD_F_BLOOD_HCT, "fraction", 2, 1 },
	{ PD_F_BLOOD_HCT, "l/l", 2, 1 },
	{ PD_F_VOLUME, "ml", 0, 1 },
	{ PD_F_VOLUME, "cc", 0, 1 },
	{ PD_F_VOLUME, "l", 3, 1 },
	{ PD_F_VOLUME, "ul", -3, 1 },
	{ PD_F_SYRINGE, "ml", 0, 1 },
	{ PD_F_SYRINGE, "cc", 0, 1 },
	{ PD_F_ANTICOAG_ML, "ml", 0, 1 },
	{ PD_F_ANTICOAG_ML, "cc", 0, 1 },
	{ PD_F_ANTICOAG_ML, "ul", -3, 1 },
	{ PD_F_DISTANCE, "mm", 0, 1 },
	{ PD_F_DISTANCE, "cm", 1, 1 },
	{ PD_F_TIME_TO_LAB, "min", 0, 1 },
	{ PD_F_TIME_TO_LAB, "minutes", 0, 1 },
	{ PD_F_TIME_TO_LAB, "h", 0, 60 },
	{ PD_F_TIME_TO_LAB, "hours", 0, 60 },
	{ PD_F_CULTURE_DAYS, "d", 0, 1 },
	{ PD_F_CULTURE_DAYS, "days", 0, 1 },
	{ PD_F_CULTURE_DAYS, "weeks", 0, 7 },
	{ PD_F_BIRTH_YEAR, "a", 0, 1 },
	{ PD_F_BIRTH_YEAR, "year", 0, 1 },
	{ PD_F_PAIN, "", 0, 1 },
	{ PD_F_PAIN, "0-10", 0, 1 },
	{ PD_F_AGE, "a", 0, 1 },
	{ PD_F_AGE, "years", 0, 1 },
	{ PD_F_AGE, "y", 0, 1 },
	{ PD_F_BMI, "kg/m2", 0, 1 },
	{ PD_F_BMI, "kg/m^2", 0, 1 },
	{ PD_F_THRESHOLD, "", 0, 1 },
	{ PD_F_THRESHOLD, "cells", 0, 1 },
	{ PD_F_GAUGE, "g", 0, 1 },
	{ PD_F_GAUGE, "gauge", 0, 1 },
};

/* Shares and doses that are no count per mL, each with its reason. */
static bool refused(pd_field f, const char *s, const char **why)
{
	if (strstr(s, "/kg")) {
		*why = "a dose per kg needs the weight and the total volume: "
		       "give the count per mL";
		return true;
	}
	if (!strchr(s, '%') && !strstr(s, "percent"))
		return false;
	if (f == PD_F_CD34 || f == PD_F_CD271) {
		*why = "a percentage of other cells depends on the gate and on "
		       "a second count: give cells/uL or cells/mL";
		return true;
	}
	if (f == PD_F_MNC) {
		*why = "say what it is a percentage of: % of TNC";
		return true;
	}
	return false;
}

bool pd_unit_find(pd_field f, const char *text, size_t n, pd_unit *out,
                  const char **why)
{
	char s[64];

	*why = NULL;
	*out = (pd_unit){ PD_WAY_SHIFT, 0, 1 };
	if (!fold(text, n, s))
		return false;
	if (f == PD_F_MNC && (strcmp(s, "%oftnc") == 0 ||
	                      strcmp(s, "%tnc") == 0 ||
	                      strcmp(s, "percentoftnc") == 0)) {
		out->way = PD_WAY_OF_TNC;
		return true;
	}
	if (refused(f, s, why))
		return false;
	if (per_ml_power(f) != NO_POWER)
		return concentration(f, s, out, why);
	if (f == PD_F_CFU_F_E6)
		return prevalence(s, out, why);
	if (f == PD_F_CELLS_PLATED)
		return amount(s, out, why);
	if (f >= PD_F_DISH_1 && f <= PD_F_DISH_6) {
		const char *rest = s;

		skip_nouns(&rest);
		return *rest == '\0' || strcmp(rest, "/dish") == 0;
	}
	for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
		if (plain[i].field == f && strcmp(plain[i].spelling, s) == 0) {
			out->shift = plain[i].shift;
			out->times = plain[i].times;
			out->way = plain[i].times > 1 ? PD_WAY_TIMES
			                              : PD_WAY_SHIFT;
			return true;
		}
	return false;
}

#define CELLS(f)                                                               \
	{ f, "10^6/mL", "1" }, { f, "M/mL", "1" }, { f, "x10^6/cc", "1" },     \
	{ f, "million/mL", "1" }, { f, "10^3/uL", "1" }, { f, "K/uL", "1" },   \
	{ f, "10^9/L", "1" }, { f, "G/L", "1" }, { f, "10^7/mL", "10" },       \
	{ f, "10^8/mL", "10^2" }, { f, "cells/uL", "10^-3" },                  \
	{ f, "cells/mL", "10^-6" }
#define RED(f)                                                                 \
	{ f, "10^12/L", "1" }, { f, "T/L", "1" }, { f, "10^6/uL", "1" },       \
	{ f, "M/uL", "1" }, { f, "10^9/mL", "1" }, { f, "cells/uL", "10^-6" }

static const pd_unit_known known[] = {
	{ PD_F_AGE, "a", "1" }, { PD_F_AGE, "years", "1" },
	{ PD_F_BMI, "kg/m2", "1" },
	CELLS(PD_F_BLOOD_WBC), RED(PD_F_BLOOD_RBC),
	{ PD_F_BLOOD_HCT, "%", "1" }, { PD_F_BLOOD_HCT, "L/L", "10^2" },
	{ PD_F_BLOOD_HCT, "fraction", "10^2" },
	{ PD_F_DISTANCE, "mm", "1" }, { PD_F_DISTANCE, "cm", "10" },
	{ PD_F_GAUGE, "G", "1" },
	{ PD_F_VOLUME, "mL", "1" }, { PD_F_VOLUME, "cc", "1" },
	{ PD_F_VOLUME, "uL", "10^-3" }, { PD_F_VOLUME, "L", "10^3" },
	{ PD_F_SYRINGE, "mL", "1" }, { PD_F_SYRINGE, "cc", "1" },
	{ PD_F_ANTICOAG_ML, "mL", "1" }, { PD_F_ANTICOAG_ML, "cc", "1" },
	{ PD_F_ANTICOAG_ML, "uL", "10^-3" },
	{ PD_F_TIME_TO_LAB, "min", "1" }, { PD_F_TIME_TO_LAB, "h", "60" },
	CELLS(PD_F_TNC), CELLS(PD_F_MNC),
	{ PD_F_MNC, "% of TNC", "TNC / 100" },
	{ PD_F_VIABILITY, "%", "1" }, { PD_F_VIABILITY, "fraction", "10^2" },
	{ PD_F_HCT, "%", "1" }, { PD_F_HCT, "L/L", "10^2" },
	{ PD_F_HCT, "fraction", "10^2" },
	RED(PD_F_RBC), CELLS(PD_F_PLATELETS),
	{ PD_F_CD34, "10^3/mL", "1" }, { PD_F_CD34, "cells/uL", "1" },
	{ PD_F_CD34, "10^6/L", "1" }, { PD_F_CD34, "10^6/mL", "10^3" },
	{ PD_F_CD34, "cells/mL", "10^-3" },
	{ PD_F_CD271, "cells/mL", "1" }, { PD_F_CD271, "10^3/mL", "10^3" },
	{ PD_F_CD271, "cells/uL", "10^3" },
	{ PD_F_CFU_F, "CFU/mL", "1" }, { PD_F_CFU_F, "/mL", "1" },
	{ PD_F_CFU_F, "/cc", "1" }, { PD_F_CFU_F, "10^3/mL", "10^3" },
	{ PD_F_CFU_F, "/uL", "10^3" },
	{ PD_F_CFU_F_E6, "per 10^6", "1" },
	{ PD_F_CFU_F_E6, "per 10^6 TNC", "1" },
	{ PD_F_CFU_F_E6, "per 10^5", "10" }, { PD_F_CFU_F_E6, "%", "10^4" },
	{ PD_F_CFU_F_E6, "1 in N", "10^6 / N" },
	{ PD_F_CELLS_PLATED, "cells", "1" },
	{ PD_F_CELLS_PLATED, "10^3", "10^3" },
	{ PD_F_CELLS_PLATED, "10^5", "10^5" },
	{ PD_F_CELLS_PLATED, "10^6", "10^6" },
	{ PD_F_CELLS_PLATED, "million", "10^6" },
	{ PD_F_DISH_1, "colonies", "1" }, { PD_F_DISH_2, "colonies", "1" },
	{ PD_F_DISH_3, "colonies", "1" }, { PD_F_DISH_4, "colonies", "1" },
	{ PD_F_DISH_5, "colonies", "1" }, { PD_F_DISH_6, "colonies", "1" },
	{ PD_F_CULTURE_DAYS, "d", "1" }, { PD_F_CULTURE_DAYS, "weeks", "7" },
	{ PD_F_THRESHOLD, "cells", "1" },
};

const pd_unit_known *pd_unit_at(size_t i)
{
	return i < sizeof known / sizeof *known ? &known[i] : NULL;
}

const char *pd_unit_list(pd_field f, char *out, size_t size)
{
	size_t n = 0;

	out[0] = '\0';
	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		if (known[i].field != f || n + 1 >= size)
			continue;
		int k = snprintf(out + n, size - n, "%s%s", n ? ", " : "",
		                 known[i].spelling);

		n += k > 0 ? (size_t)k : 0;
	}
	return out;
}
