/* key.c - see key.h. */
#include "key.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

enum { KEY_BYTES = 32 };

pd_status key_make(const char *path, pd_error *err)
{
	unsigned char secret[KEY_BYTES];
	char hex[2 * KEY_BYTES + 2];
	pd_status st = PD_OK;

	if (getrandom(secret, sizeof secret, 0) != (ssize_t)sizeof secret)
		return pd_fail(err, PD_INTERNAL, "no random numbers: %s",
		               strerror(errno));
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
	              0600);

	if (fd < 0) {
		explicit_bzero(secret, sizeof secret);
		return pd_fail(err, PD_CANNOT_CREATE,
		               "cannot make key file '%s': %s", path,
		               strerror(errno));
	}
	for (int i = 0; i < KEY_BYTES; i++)
		snprintf(hex + 2 * i, 3, "%02x", secret[i]);
	hex[2 * KEY_BYTES] = '\n';
	if (write(fd, hex, 2 * KEY_BYTES + 1) != 2 * KEY_BYTES + 1 ||
	    fsync(fd) != 0)
		st = PD_IO;
	if (close(fd) != 0)
		st = PD_IO;
	explicit_bzero(secret, sizeof secret);
	explicit_bzero(hex, sizeof hex);
	if (st != PD_OK) {
		pd_fail(err, st, "cannot write key file '%s': %s", path,
		        strerror(errno));
		unlink(path);
	}
	return st;
}
