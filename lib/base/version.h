/*
 * version.h - the version, written once: configure reads it from here, the
 * command prints it, every report carries it.
 */
#ifndef PERDRAW_BASE_VERSION_H
#define PERDRAW_BASE_VERSION_H

#define PD_VERSION "0.1.0"

#endif
