/*
 * libraries.h - which libraries the store stands on, with their versions as
 * they are when the program runs.
 */
#ifndef PERDRAW_DATA_LIBRARIES_H
#define PERDRAW_DATA_LIBRARIES_H

#include "base/arena.h"
#include "base/status.h"

enum { PD_DATA_LIBRARIES = 4 };

/* line[PD_DATA_LIBRARIES]: "SQLite 3.40.1" and so on, in the arena. */
pd_status pd_data_libraries(pd_arena *arena, const char **line, pd_error *err);

#endif
