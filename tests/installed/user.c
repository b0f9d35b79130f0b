/* user.c - a program of somebody else: a new database, counted. */
#include <perdraw.h>

#include <stdio.h>

int main(int argc, char **argv)
{
	pd_store *store = NULL;
	pd_store_counts counts;
	pd_error err = { 0 };
	char text[1100];

	if (argc != 2)
		return 64;
	pd_base_init();
	pd_status st = pd_store_open(argv[1], PD_OPEN_CREATE, &store, &err);

	if (st == PD_OK)
		st = pd_store_count(store, &counts, &err);
	if (st == PD_OK)
		printf("%zu patients\n", counts.n_patients);
	else
		fprintf(stderr, "%s\n", pd_error_text(&err, text, sizeof text));
	pd_store_close(store);
	return pd_status_exit(st);
}
