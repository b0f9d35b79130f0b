/*
 * compose_caution.c - what every report must say so that nobody is hurt by
 * reading too much into it. The short lines stand on the first page, the full
 * ones at the end together with those of the review itself.
 */
#include "report/compose_parts.h"

#include <string.h>

static const char *const short_lines[] = {
	"These are past draws of one clinic. They do not tell what to do for "
	"any one patient.",
	"Arms were mostly not assigned at random: patients, operators and "
	"times can differ between them, also after adjustment.",
	"More punctures and more volume mean more pain, bleeding and blood "
	"loss. Read every gain beside the harm line.",
	"Cell and colony counts are laboratory numbers, not a patient's "
	"outcome.",
	"\"Not settled\" is not \"no difference\": the interval shows what "
	"is still possible.",
	"Local codes, device instructions and licensed clinical judgement "
	"come first.",
};

static const char *const full_lines[] = {
	"The results describe past draws of one clinic. They are about "
	"groups: the spread between patients is wide, and no number here "
	"says what to do for one patient, or is a ground to refuse or to "
	"promise anything to one.",
	"Most comparisons are observational. Who got which technique was "
	"decided by people and circumstances; adjustment can only account "
	"for what was recorded.",
	"More millilitres are not simply more cells: later millilitres are "
	"increasingly blood and cost haemoglobin.",
	"More entries are not free: each can bleed, hurt and scar. Patients "
	"on anticoagulants or aspirin, with few platelets or a disease of the "
	"marrow are known to be at higher risk; nothing here clears anyone.",
	"Concentration and yield can point in opposite ways: a technique may "
	"raise cells per mL by drawing fewer mL. Read both before changing "
	"anything.",
	"Cell and colony counts are surrogates. This report holds no evidence "
	"that a higher count helps a patient.",
	"\"Not settled\" and a large P do not mean \"no difference\". Only an "
	"interval that lies wholly inside the margin does, and only while the "
	"control questions show their known effects.",
	"Few or no adverse events recorded does not mean safe: the upper "
	"limit is what these data cannot rule out, and what was not recorded "
	"is not counted.",
	"Infection, sterility, viability and release decisions are not made "
	"from this report.",
	"Children, pregnancy, disease of the marrow and earlier radiation of "
	"the pelvis lie outside what was studied here; so does every value "
	"outside the range of the data.",
	"Wording about a device describes this clinic's data alone, not the "
	"device's merit elsewhere.",
};

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

void pd_part_short_cautions(pd_doc *d)
{
	pd_block *box = pd_doc_box(d, PD_CAUTION, "Before acting on this");

	for (size_t i = 0; i < COUNT(short_lines); i++)
		pd_doc_item(d, box, short_lines[i]);
}

static bool is_ours(const char *text)
{
	for (size_t i = 0; i < COUNT(full_lines); i++)
		if (strcmp(text, full_lines[i]) == 0)
			return true;
	for (size_t i = 0; i < COUNT(short_lines); i++)
		if (strcmp(text, short_lines[i]) == 0)
			return true;
	return false;
}

void pd_part_cautions(pd_doc *d, const pd_review *r, size_t n_answers)
{
	pd_block *list;
	bool device = false;

	for (size_t i = 0; i < n_answers; i++)
		device = device || !r->answer[i].not_a_choice;
	pd_doc_heading(d, 2, "cautions", "Cautions in full");
	list = pd_doc_list(d);
	for (size_t i = 0; i < COUNT(full_lines); i++)
		if (device || i + 1 < COUNT(full_lines))
			pd_doc_item(d, list, full_lines[i]);
	for (size_t i = 0; i < r->n_cautions; i++)
		if (r->cautions[i] && !is_ours(r->cautions[i]))
			pd_doc_item(d, list, pd_say_whole(d, r->cautions[i]));
}

void pd_part_closing(pd_doc *d)
{
	pd_doc_footer(d, "This analysis supports review by licensed "
	                 "clinicians. It does not replace clinical judgement, "
	                 "the device's instructions for use, the laboratory's "
	                 "procedures or local regulation.");
}
