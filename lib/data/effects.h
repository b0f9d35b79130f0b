/*
 * effects.h - what the ledger and its rows of effects share.
 */
#ifndef PERDRAW_DATA_EFFECTS_H
#define PERDRAW_DATA_EFFECTS_H

#include "data/store.h"

/* All effects of the look added last, inside the caller's transaction. */
pd_status pd_effects_add(pd_store *s, const pd_look *look, pd_error *err);

#endif
