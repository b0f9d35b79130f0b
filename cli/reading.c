/* reading.c - see reading.h. */
#include "reading.h"
#include "day.h"
#include "say.h"

int reading_run(reading_work *work, const void *options,
                const struct operands *operands, const char *date,
                pd_status st, pd_error *err)
{
	struct day day;
	bool refused = false;

	if (st == PD_OK)
		st = day_choose(date, &day, err);
	pd_arena *arena = pd_arena_new();

	if (st == PD_OK && !arena)
		st = pd_fail(err, PD_NO_MEMORY, "out of memory");
	if (st == PD_OK)
		st = work(options, operands, day.iso, arena, &refused, err);
	pd_arena_free(arena);
	if (st != PD_OK)
		return say_failure(st, err);
	return refused ? pd_status_exit(PD_REFUSED) : 0;
}
