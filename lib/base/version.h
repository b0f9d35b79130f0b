/*
 * version.h - the version: the command prints it, every report carries it,
 * configure stops when its own differs.
 */
#ifndef PERDRAW_BASE_VERSION_H
#define PERDRAW_BASE_VERSION_H

#define PD_VERSION "0.1.0"

#endif
