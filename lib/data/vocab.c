/*
 * vocab.c - the field table, the closed word lists and the trade synonyms
 * that stand for their words. A clinic's own words come through its map.
 */
#include "data/vocab.h"
#include "base/scan.h"

#include <stdbool.h>
#include <string.h>

static const pd_field_info info[PD_N_FIELDS] = {
#define X(id, header, kind, of, unit, words)                                   \
	[PD_F_##id] = { header, PD_FIELD_##kind, PD_OF_##of, unit, words },
	PD_FIELD_LIST(X)
#undef X
};

const pd_field_info *pd_field_about(pd_field f)
{
	return &info[f];
}

pd_field pd_field_by_header(const char *header)
{
	for (int f = 0; f < PD_N_FIELDS; f++)
		if (strcmp(info[f].header, header) == 0)
			return (pd_field)f;
	return PD_N_FIELDS;
}

static const char *const sex[] = { "female", "male", "other", NULL };
static const char *const side[] = { "left", "right", NULL };
static const char *const landmark[] = {
	"posterior iliac crest", "anterior iliac crest", "proximal tibia",
	"distal femur", "calcaneus", "vertebral body", "proximal humerus",
	"sternum", NULL,
};
static const char *const geometry[] = {
	"open-end", "end-hole with side-holes", "closed-tip side-hole", NULL,
};
static const char *const move[] = {
	"none", "rotate", "advance", "withdraw", "redirect", "new hole", NULL,
};
static const char *const anticoagulant[] = {
	"none", "heparin", "heparin rinse", "ACD-A", "CPD", "citrate", "EDTA",
	NULL,
};
static const char *const pull_style[] = {
	"sharp", "slow", "continuous", "intermittent", NULL,
};
static const char *const adverse[] = {
	"none", "bleeding", "haematoma", "infection", "nerve symptoms",
	"persistent pain", "faint", "other", NULL,
};
static const char *const material[] = { "aspirate", "concentrate", NULL };
static const char *const outcome[] = {
	"tnc", "mnc", "viability", "hct", "rbc", "platelets", "cd34", "cd271",
	"cfu_f", "cfu_f_per_e6", "dish_1", "dish_2", "dish_3", "dish_4",
	"dish_5", "dish_6", NULL,
};
static const pd_field outcome_field[] = {
	PD_F_TNC, PD_F_MNC, PD_F_VIABILITY, PD_F_HCT, PD_F_RBC,
	PD_F_PLATELETS, PD_F_CD34, PD_F_CD271, PD_F_CFU_F, PD_F_CFU_F_E6,
	PD_F_DISH_1, PD_F_DISH_2, PD_F_DISH_3, PD_F_DISH_4, PD_F_DISH_5,
	PD_F_DISH_6,
};
enum { N_OUTCOMES = sizeof outcome_field / sizeof *outcome_field };

pd_field pd_outcome_field(int code)
{
	return code >= 0 && code < N_OUTCOMES ? outcome_field[code]
	                                      : PD_N_FIELDS;
}

int pd_outcome_code(pd_field f)
{
	for (int k = 0; k < N_OUTCOMES; k++)
		if (outcome_field[k] == f)
			return k;
	return -1;
}

const char *const *pd_vocab_words(pd_field f)
{
	static const char *const *const words[PD_N_FIELDS] = {
		[PD_F_SEX] = sex,
		[PD_F_SIDE] = side,
		[PD_F_LANDMARK] = landmark,
		[PD_F_GEOMETRY] = geometry,
		[PD_F_MOVE] = move,
		[PD_F_ANTICOAGULANT] = anticoagulant,
		[PD_F_PULL_STYLE] = pull_style,
		[PD_F_ADVERSE] = adverse,
		[PD_F_MATERIAL] = material,
		[PD_F_OUTCOME] = outcome,
	};

	return words[f];
}

/*
 * Trade synonyms, common practice, no source beyond domain usage. Written as
 * `fold` leaves them: lower case, blanks for '-' and '_'.
 */
static const struct synonym {
	pd_field field;
	const char *word, *means;
} synonyms[] = {
	{ PD_F_SEX, "f", "female" },
	{ PD_F_SEX, "w", "female" },
	{ PD_F_SEX, "woman", "female" },
	{ PD_F_SEX, "m", "male" },
	{ PD_F_SEX, "man", "male" },
	{ PD_F_SEX, "x", "other" },
	{ PD_F_SEX, "d", "other" },
	{ PD_F_SEX, "diverse", "other" },
	{ PD_F_SIDE, "l", "left" },
	{ PD_F_SIDE, "lt", "left" },
	{ PD_F_SIDE, "r", "right" },
	{ PD_F_SIDE, "rt", "right" },
	{ PD_F_LANDMARK, "psis", "posterior iliac crest" },
	{ PD_F_LANDMARK, "pic", "posterior iliac crest" },
	{ PD_F_LANDMARK, "posterior superior iliac spine",
	  "posterior iliac crest" },
	{ PD_F_LANDMARK, "asis", "anterior iliac crest" },
	{ PD_F_LANDMARK, "aic", "anterior iliac crest" },
	{ PD_F_LANDMARK, "anterior superior iliac spine",
	  "anterior iliac crest" },
	{ PD_F_LANDMARK, "tibia", "proximal tibia" },
	{ PD_F_LANDMARK, "femur", "distal femur" },
	{ PD_F_LANDMARK, "calcaneum", "calcaneus" },
	{ PD_F_LANDMARK, "vertebra", "vertebral body" },
	{ PD_F_LANDMARK, "vertebral", "vertebral body" },
	{ PD_F_LANDMARK, "humerus", "proximal humerus" },
	{ PD_F_LANDMARK, "breastbone", "sternum" },
	{ PD_F_GEOMETRY, "open ended", "open-end" },
	{ PD_F_GEOMETRY, "end hole", "open-end" },
	{ PD_F_GEOMETRY, "end hole and side holes",
	  "end-hole with side-holes" },
	{ PD_F_GEOMETRY, "open end with side holes",
	  "end-hole with side-holes" },
	{ PD_F_GEOMETRY, "closed tip", "closed-tip side-hole" },
	{ PD_F_GEOMETRY, "closed tip with side holes",
	  "closed-tip side-hole" },
	{ PD_F_MOVE, "no", "none" },
	{ PD_F_MOVE, "rotated", "rotate" },
	{ PD_F_MOVE, "rotation", "rotate" },
	{ PD_F_MOVE, "advanced", "advance" },
	{ PD_F_MOVE, "deeper", "advance" },
	{ PD_F_MOVE, "withdrawn", "withdraw" },
	{ PD_F_MOVE, "redirected", "redirect" },
	{ PD_F_MOVE, "re puncture", "new hole" },
	{ PD_F_MOVE, "repuncture", "new hole" },
	{ PD_F_MOVE, "new puncture", "new hole" },
	{ PD_F_ANTICOAGULANT, "no", "none" },
	{ PD_F_ANTICOAGULANT, "sodium heparin", "heparin" },
	{ PD_F_ANTICOAGULANT, "rinse", "heparin rinse" },
	{ PD_F_ANTICOAGULANT, "rinsed", "heparin rinse" },
	{ PD_F_ANTICOAGULANT, "heparin rinsed", "heparin rinse" },
	{ PD_F_ANTICOAGULANT, "acd", "ACD-A" },
	{ PD_F_ANTICOAGULANT, "acda", "ACD-A" },
	{ PD_F_ANTICOAGULANT, "sodium citrate", "citrate" },
	{ PD_F_ANTICOAGULANT, "edta tube", "EDTA" },
	{ PD_F_PULL_STYLE, "fast", "sharp" },
	{ PD_F_PULL_STYLE, "rapid", "sharp" },
	{ PD_F_PULL_STYLE, "gentle", "slow" },
	{ PD_F_ADVERSE, "no", "none" },
	{ PD_F_ADVERSE, "bleed", "bleeding" },
	{ PD_F_ADVERSE, "hematoma", "haematoma" },
	{ PD_F_ADVERSE, "vasovagal", "faint" },
	{ PD_F_ADVERSE, "syncope", "faint" },
	{ PD_F_MATERIAL, "bma", "aspirate" },
	{ PD_F_MATERIAL, "bone marrow aspirate", "aspirate" },
	{ PD_F_MATERIAL, "bmac", "concentrate" },
	{ PD_F_MATERIAL, "cbma", "concentrate" },
	{ PD_F_MATERIAL, "bone marrow aspirate concentrate", "concentrate" },
	{ PD_F_OUTCOME, "nc", "tnc" },
	{ PD_F_OUTCOME, "ncc", "tnc" },
	{ PD_F_OUTCOME, "wbc", "tnc" },
	{ PD_F_OUTCOME, "haematocrit", "hct" },
	{ PD_F_OUTCOME, "hematocrit", "hct" },
	{ PD_F_OUTCOME, "plt", "platelets" },
	{ PD_F_OUTCOME, "cd34+", "cd34" },
	{ PD_F_OUTCOME, "cd271+", "cd271" },
	{ PD_F_OUTCOME, "cfuf", "cfu_f" },
};

/* Lower case, '-' and '_' as blanks, one blank between words, none outside. */
static bool fold(const char *word, char out[64])
{
	size_t n = 0;

	for (; *word; word++) {
		char c = *word == '-' || *word == '_' ? ' ' : pd_lower(*word);

		if (c == ' ' && (n == 0 || out[n - 1] == ' '))
			continue;
		if (n == 63)
			return false;
		out[n++] = c;
	}
	if (n && out[n - 1] == ' ')
		n--;
	out[n] = '\0';
	return n > 0;
}

static int canonical_code(pd_field f, const char *folded)
{
	const char *const *words = pd_vocab_words(f);
	char have[64];

	for (int k = 0; words && words[k]; k++)
		if (fold(words[k], have) && strcmp(have, folded) == 0)
			return k;
	return -1;
}

int pd_vocab_code(pd_field f, const char *word)
{
	char folded[64], means[64];

	if (!fold(word, folded))
		return -1;
	int code = canonical_code(f, folded);

	for (size_t i = 0; code < 0 && i < sizeof synonyms / sizeof *synonyms;
	     i++)
		if (synonyms[i].field == f &&
		    strcmp(synonyms[i].word, folded) == 0 &&
		    fold(synonyms[i].means, means))
			code = canonical_code(f, means);
	return code;
}
