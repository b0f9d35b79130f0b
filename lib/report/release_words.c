/* release_words.c - see release_words.h. */
#include "report/release_words.h"

#include <stddef.h>

static const char none[] = "the store has no such field; a label that could "
                           "hold one is replaced by a random code";

const pd_release_element pd_release_elements[] = {
	{ "A", "names", none, NULL },
	{ "B", "places smaller than a state",
	  "none; method versions, which may name a laboratory, are coded",
	  "the store has none, but names of method versions were kept by "
	  "choice "
	  "and may name a laboratory" },
	{ "C", "dates but the year; ages above 89",
	  "year alone; 90+ above 89, no year of birth", NULL },
	{ "D", "telephone numbers", none, NULL },
	{ "E", "fax numbers", none, NULL },
	{ "F", "electronic mail addresses", none, NULL },
	{ "G", "social security numbers", none, NULL },
	{ "H", "medical record numbers",
	  "pseudonyms of patients and labels of cases are replaced by random "
	  "codes", NULL },
	{ "I", "health plan numbers", none, NULL },
	{ "J", "account numbers", none, NULL },
	{ "K", "certificate and licence numbers", none, NULL },
	{ "L", "vehicle identifiers", none, NULL },
	{ "M", "device identifiers and serial numbers",
	  "needles, sample labels and method versions are coded",
	  "needles and sample labels are coded; names of method versions were "
	  "kept by choice, after a look for lot and serial numbers" },
	{ "N", "web addresses", none, NULL },
	{ "O", "network addresses", none, NULL },
	{ "P", "biometric identifiers", "the store has no such field", NULL },
	{ "Q", "full-face photographs", "the store has no such field", NULL },
	{ "R", "any other unique number, characteristic or code",
	  "codes are random; small groups are blanked; source files and their "
	  "hashes stay in the clinic", NULL },
	{ NULL, NULL, NULL, NULL },
};

const char *const pd_release_before[] = {
	"The data are pseudonymised, not anonymous, under the European "
	"data-protection regulation (GDPR, Art. 4(5) and recital 26): they "
	"stay "
	"personal data wherever means reasonably likely to be used can lead "
	"back to a person. The clinic's database and a written key are such "
	"means.",
	"The rules followed are those of 45 CFR 164.514(b)(2). They also want "
	"that nobody has actual knowledge that what is left could identify "
	"somebody: no program can say that.",
	"The privacy officer decides whether, to whom and under which "
	"agreement "
	"the data go. This is no legal advice and no expert determination.",
	"Read the files before they go. What the clinic knows beyond the store "
	"- a well-known patient, a single case in the news - no rule sees.",
	"A second release of the same draws with other choices, read beside "
	"the "
	"first, can tell more than either alone.",
	"Keep a key apart from this folder and from the database.",
	NULL,
};

const char *const pd_release_reading[] = {
	"Patient, case, operator, needle, sample and method_version are random "
	"codes. Rows stand in the order of these codes: their order tells "
	"nothing.",
	"Rows of a patient belong together: pulls of one site, sites of one "
	"case and cases of one patient are not independent. Count patients, "
	"not rows.",
	"A value is only a number together with its mark. 'below' and 'above' "
	"make it a limit; 'not detected' lies below a limit that is not "
	"stated; "
	"'too many to count', 'failed' and 'not ordered' have no number; "
	"'zero' "
	"is a measured zero. An empty field is a field that was blank. None of "
	"these may stand in for another, and none is a value of 0.",
	"Concentrations are as the laboratory reported them, diluted by the "
	"anticoagulant in the syringe. For undiluted marrow multiply by "
	"(volume_ml + anticoagulant_ml) / volume_ml.",
	"Aspirate and concentrate are never to be mixed; results of two "
	"method_versions are not the same measurement.",
	"A pooled sample has no side, site or pull of its own; its draws stand "
	"in the column pool. Its rows and those of its pulls must not be "
	"added.",
	NULL,
};

const char *const pd_release_limits[] = {
	"These are past draws of one clinic. They do not tell what to do for "
	"any one patient.",
	"Most comparisons are observational: patients, operators and times can "
	"differ between techniques.",
	"More punctures and more volume mean more pain, bleeding and blood "
	"loss. Counts of cells and colonies are no patient's outcome.",
	"Blanked fields are not missing by chance: they belong to patients who "
	"are rare. A model that leaves out rows with an empty age, sex, year, "
	"band or landmark leaves out those patients.",
	"Do not try to find out who somebody is, and do not join these rows "
	"with others that could tell it.",
	NULL,
};
