/*
 * rooms.c - simulation cells of crossed effects, profiles, cluster-robust
 * errors, nested counts, curves over doses and weighted comparisons.
 */
#include "cell.h"

const sim_list sim_rooms = { 0, 0 };
