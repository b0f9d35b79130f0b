/* claim_help.c - see claim_help.h. */
#include "claim_help.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

pd_arena *claim_arena;
pd_claim_file claim_file;
pd_claim_answer claim_answer;
struct claim claim_work;

void claim_setup(void)
{
	pd_base_init();
	claim_arena = pd_arena_new();
	ck_assert_ptr_nonnull(claim_arena);
}

void claim_teardown(void)
{
	pd_arena_free(claim_arena);
}

pd_status claim_parse(const char *text, pd_error *err)
{
	memset(err, 0, sizeof *err);
	return pd_claim_parse(claim_arena, text, strlen(text), "t.claim",
	                      &claim_file, err);
}

void claim_rebuild(const char *text)
{
	pd_error err;

	ck_assert_msg(claim_parse(text, &err) == PD_OK, "%zu:%zu: %s", err.line,
	              err.column, err.text);
	memset(&claim_answer, 0, sizeof claim_answer);
	claim_answer.level = claim_file.plan.level;
	claim_answer.margin = claim_file.question->margin;
	claim_answer.trial.refusal = "not tried";
	claim_work = (struct claim){ NULL, &claim_file, claim_arena,
		                     &claim_answer };
	ck_assert_int_eq(pd_claim_rebuild(&claim_work, &err), PD_OK);
	pd_claim_power(&claim_work);
}

#define TAIL "unit = 10^6/mL\nmaterial = aspirate\n"

const char *claim_arms(const char *head, const char *device,
                       const char *comparator)
{
	static char text[4000];

	snprintf(text, sizeof text, "%s[device]\n%s" TAIL "[comparator]\n%s"
	         TAIL, head, device, comparator);
	return text;
}
