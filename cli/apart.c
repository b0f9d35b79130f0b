/* apart.c - a child, a pipe, and a whole message or a failure. */
#include "apart.h"
#include "out.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

/* Before the bytes: how it went, and how many bytes there are. */
struct head {
	pd_status status;
	pd_error err;
	size_t length;
};

static bool take_all(int fd, void *bytes, size_t n)
{
	char *at = bytes;

	while (n) {
		ssize_t taken = read(fd, at, n);

		if (taken < 0 && errno == EINTR)
			continue;
		if (taken <= 0)
			return false;
		at += taken;
		n -= (size_t)taken;
	}
	return true;
}

static void be_child(apart_work *work, const void *subject, int fd)
{
	struct head head = { .status = PD_OK };
	pd_buf made;
	int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);

	if (nowhere >= 0)
		dup2(nowhere, STDERR_FILENO);
	pd_buf_init(&made);
	head.status = work(subject, &made, &head.err);
	if (head.status == PD_OK && !pd_buf_ok(&made))
		head.status = pd_fail(&head.err, PD_NO_MEMORY,
		                      "out of memory");
	head.length = head.status == PD_OK ? made.length : 0;
	_exit(out_all(fd, &head, sizeof head) != 0 ||
	      out_all(fd, pd_buf_text(&made), head.length) != 0);
}

/* The whole message into `out`; false: it stopped before its end. */
static bool receive(int fd, struct head *head, pd_buf *out)
{
	char piece[16384];

	if (!take_all(fd, head, sizeof *head))
		return false;
	for (size_t left = head->length; left;) {
		size_t n = left < sizeof piece ? left : sizeof piece;

		if (!take_all(fd, piece, n))
			return false;
		pd_buf_add_n(out, piece, n);
		left -= n;
	}
	return true;
}

static bool ended_well(pid_t child)
{
	int how = 0;

	while (waitpid(child, &how, 0) < 0)
		if (errno != EINTR)
			return false;
	return WIFEXITED(how) && WEXITSTATUS(how) == 0;
}

pd_status apart(apart_work *work, const void *subject, pd_buf *out,
                pd_error *err)
{
	struct head head = { .status = PD_OK };
	int end[2];
	pd_buf made;

	if (pipe2(end, O_CLOEXEC) != 0)
		return pd_fail(err, PD_INTERNAL, "cannot make a pipe: %s",
		               strerror(errno));
	pid_t child = fork();

	if (child < 0) {
		close(end[0]);
		close(end[1]);
		return pd_fail(err, PD_INTERNAL, "cannot start a process: %s",
		               strerror(errno));
	}
	if (child == 0) {
		close(end[0]);
		be_child(work, subject, end[1]);
	}
	close(end[1]);
	pd_buf_init(&made);
	bool whole = receive(end[0], &head, &made);

	close(end[0]);
	whole = ended_well(child) && whole;
	if (whole && head.status == PD_OK)
		pd_buf_add_n(out, pd_buf_text(&made), made.length);
	whole = whole && pd_buf_ok(&made);
	pd_buf_clear(&made);
	if (!whole)
		return pd_fail(err, PD_NO_MEMORY,
		               "out of memory while writing the report");
	if (head.status != PD_OK && err)
		*err = head.err;
	return head.status;
}
