/*
 * load.h - one file into the store, all or nothing.
 */
#ifndef PERDRAW_DATA_LOAD_H
#define PERDRAW_DATA_LOAD_H

#include "base/status.h"
#include "data/finding.h"
#include "data/store.h"

typedef struct pd_load_request {
	const char *path;       /* CSV file                                    */
	const char *map_path;   /* NULL: canonical headers                     */
	const char *key_path;   /* NULL unless the map asks for pseudonyms     */
	const char *date;       /* ISO date of the load, for the audit         */
	const char *reason;     /* for a correction; may be NULL               */
	int supersede;          /* allow rows to replace stored rows by key    */
	int dry_run;            /* everything but the commit                   */
} pd_load_request;

typedef struct pd_load_report {
	int already_loaded;     /* same SHA-256: nothing was done              */
	size_t n_rows, n_accepted; /* records read, records stored             */
	size_t n_patients, n_cases, n_sites, n_aliquots, n_results; /* new     */
	size_t n_superseded;
	char sha256[65];
} pd_load_report;

/*
 * Any error-level finding: nothing stored, PD_DATA. `findings` gets all of
 * them, sorted. read = accepted + rejected always holds.
 */
pd_status pd_load_file(pd_store *s, const pd_load_request *request,
                       pd_findings *findings, pd_load_report *report,
                       pd_error *err);

#endif
