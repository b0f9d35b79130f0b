/* near.c - see near.h. */
#include "base/near.h"
#include "base/scan.h"

#include <stdio.h>
#include <string.h>

/* A cut-off name is one slip, however much is missing. */
static unsigned slips(const char *given, const char *name)
{
	size_t n = strlen(given);

	if (n >= 3 && strncmp(given, name, n) == 0)
		return name[n] != '\0';
	return pd_word_distance(given, n, name);
}

bool pd_near_is(const char *given, const char *name)
{
	unsigned distance = slips(given, name);

	return distance <= 2 && distance < strlen(given);
}

void pd_near_try(pd_near *n, const char *name)
{
	unsigned distance;

	if (!pd_near_is(n->given, name))
		return;
	distance = slips(n->given, name);
	if (n->best && distance >= n->distance)
		return;
	n->best = name;
	n->distance = distance;
}

const char *pd_near_words(pd_near *n)
{
	n->words[0] = '\0';
	if (n->best && strlen(n->best) < 64)
		snprintf(n->words, sizeof n->words, "; did you mean '%s'?",
		         n->best);
	return n->words;
}
