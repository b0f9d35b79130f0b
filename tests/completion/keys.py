"""keys.py SHELL name | keys.py zsh offers FILE: types into a real shell.

name: a beginning of a hostile file name and the tab key; the command must get
the file's name as one word. offers: sources FILE and types its key.
"""
import os
import pty
import select
import signal
import sys
import time

NAME = "we ird'\"$(touch pwned1)`touch pwned2`;&*?\u00e9.db"
shell, what = sys.argv[1], sys.argv[2]
start = {"bash": ["bash", "--norc", "--noprofile", "-i"],
         "zsh": ["zsh", "-f", "-i"]}[shell]
screen = b""


def wait(seconds, until=None):
    """Reads the screen for that long, or until a file is there."""
    global screen
    end = time.monotonic() + seconds
    while time.monotonic() < end and not (until and os.path.exists(until)):
        if select.select([tty], [], [], 0.1)[0]:
            try:
                screen += os.read(tty, 65536)
            except OSError:
                return


def keys(text):
    os.write(tty, text.encode())


child, tty = pty.fork()
if child == 0:
    os.environ.update(TERM="xterm", PS1="> ", COLUMNS="200", LINES="400")
    os.execvp(start[0], start)
wait(1)
if what == "offers":
    keys("source " + sys.argv[3] + "; : >ready\n")
    wait(20, "ready")
    keys("\x07")
    wait(90, "zsh.done")
    ok = os.path.exists("zsh.done")
else:
    if shell == "zsh":
        keys("autoload -Uz compinit; compinit -u -D\n")
    keys("source ./perdraw." + shell + "\n")
    keys("perdraw() { printf '%s\\0' \"$@\" >words; : >typed; }; : >ready\n")
    wait(20, "ready")
    for path in ("words", "typed", "ready"):
        if os.path.exists(path):
            os.remove(path)
    open(NAME, "w").close()
    keys("perdraw load --db we\t")
    wait(2)
    keys("\n")
    wait(20, "typed")
    os.remove(NAME)
    got = []
    if os.path.exists("words"):
        with open("words", encoding="utf-8") as f:
            got = f.read().split("\0")[:-1]
    ok = got == ["load", "--db", NAME]
    print("same" if ok else "the command got %r" % got)
os.kill(child, signal.SIGKILL)
os.waitpid(child, 0)
if not ok:
    sys.stdout.write(screen.decode("utf-8", "replace")[-3000:])
sys.exit(0 if ok else 1)
