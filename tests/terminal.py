"""terminal.py COLUMNS COMMAND...: runs it on a terminal of its own, that wide,
and copies what it writes there, byte for byte, to standard output. Both of its
streams are the terminal. Ends with the command's exit status."""
import fcntl
import os
import pty
import struct
import sys
import termios

child, tty = pty.fork()
if child == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ,
                struct.pack("HHHH", 40, int(sys.argv[1]), 0, 0))
    os.execvp(sys.argv[2], sys.argv[2:])
while True:
    try:
        got = os.read(tty, 65536)
    except OSError:
        break
    if not got:
        break
    sys.stdout.buffer.write(got)
sys.exit(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
