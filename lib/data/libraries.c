/* libraries.c - see libraries.h. */
#include "data/libraries.h"

#include <csv.h>
#include <sodium.h>
#include <sqlite3.h>
#include <zstd.h>

pd_status pd_data_libraries(pd_arena *arena, const char **line, pd_error *err)
{
	line[0] = pd_arena_print(arena, "SQLite %s", sqlite3_libversion());
	line[1] = pd_arena_print(arena, "libcsv %d.%d.%d", CSV_MAJOR, CSV_MINOR,
	                         CSV_RELEASE);
	line[2] = pd_arena_print(arena, "libsodium %s",
	                         sodium_version_string());
	line[3] = pd_arena_print(arena, "Zstandard %s", ZSTD_versionString());
	for (int i = 0; i < PD_DATA_LIBRARIES; i++)
		if (!line[i])
			return pd_fail(err, PD_NO_MEMORY, "out of memory");
	return PD_OK;
}
