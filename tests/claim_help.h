/*
 * claim_help.h - a claim file from text and its print rebuilt, without a
 * store.
 */
#ifndef CLAIM_HELP_H
#define CLAIM_HELP_H

#include "plan/claim_own.h"

extern pd_arena *claim_arena;
extern pd_claim_file claim_file;
extern pd_claim_answer claim_answer;
extern struct claim claim_work;

/* The needed keys of a claim about nucleated cells, and about colonies. */
#define CLAIM_TNC "[claim]\ntitle = t\noutcome = tnc\njudge = concentration\n"
#define CLAIM_CFU                                                              \
	"[claim]\ntitle = t\noutcome = cfu_f\njudge = concentration\n"

void claim_setup(void);
void claim_teardown(void);
/* Text into claim_file. */
pd_status claim_parse(const char *text, pd_error *err);
/* The same, which must succeed, and its print rebuilt into claim_answer. */
void claim_rebuild(const char *text);
/* A whole file from its head and the numbers of both arms, in 10^6/mL of
 * aspirate; good until the next call. */
const char *claim_arms(const char *head, const char *device,
                       const char *comparator);

#endif
