"""torture.py - what a command does when the machine fails it.

    torture.py --perdraw BINARY --generate BINARY --shim fail_memory.so
               --demo FOLDER [--every N] [--kills N] [--flips N] [KIND...]

Kinds of failure:
  memory   the K-th request for memory fails, once, and from there on; every
           distinct call path of a command is one request (fail_memory.c)
  storage  the K-th write, sync, rename, open ... of the process fails with a
           full or broken disk (fault injection of strace)
  killed   the process is killed without warning at a random moment
  crowd    eight loads and four readers at once on one new database
  flipped  bits of the database are turned over, pages zeroed, the end cut off

After every failure: a documented exit status and never a signal; a sentence
when it is not 0; the database as it was before or as it is after the whole
command, sound in both cases; no half output, nothing left beside it; and the
same command, run again, ends well. A command that reads several questions may
have kept some of its readings in the ledger, whole ones: nothing else differs
then, and running it again gives the database of an undisturbed run.
--every N tries each N-th place only.
Last line: N passed, N failed.
"""
import argparse
import hashlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time

STATUSES = {0, 1, 2, 3, 64, 65, 66, 70, 71, 73, 74, 75, 76, 77, 78}
DAY = ["--date", "2026-01-05"]
passed = failed = 0


def ok(good, words):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        if failed <= 40:
            print("FAILED:", words)


class Clinic:
    """A small clinic in a folder, and the commands tried on it."""

    def __init__(self, o, folder):
        self.o, self.folder = o, folder
        self.source = os.path.join(folder, "source")
        os.mkdir(self.source)
        subprocess.run([o.generate, "--cases", "24", "--out-dir",
                        self.source], check=True)
        for name in ("demo.plan", "demo.claim", "printed.csv"):
            shutil.copy(os.path.join(o.demo, name), self.source)
        self.run(["load", "-q", "--db", "c.db", *DAY, "clinic.csv"],
                 self.source, check=True)
        with open(os.path.join(o.demo, "demo.plan")) as f:
            text = f.read() # other questions: their readings are new
        with open(os.path.join(self.source, "second.plan"), "w") as f:
            f.write(text.replace("0.80", "0.85"))
        # A store of nothing: made, and no file got in.
        with open(os.path.join(self.source, "none.csv"), "w") as f:
            f.write("no such column\n")
        folder = self.copy()
        self.run(["load", "-q", "--db", "none.db", *DAY, "none.csv"], folder)
        self.empty = rows(os.path.join(folder, "none.db"))
        shutil.rmtree(folder)
        self.run(["review", "-q", "--db", "c.db", "--plan", "demo.plan",
                  *DAY, "--json", "r.json", "--manifest", "r.manifest"],
                 self.source, check=True)

    def run(self, words, folder, env=None, check=False, front=()):
        e = dict(os.environ, LC_ALL="C", TZ="UTC", **(env or {}))
        e.pop("SOURCE_DATE_EPOCH", None)
        r = subprocess.run([*front, self.o.perdraw, *words], cwd=folder,
                           env=e, stdin=subprocess.DEVNULL,
                           stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                           timeout=600)
        if check and r.returncode:
            sys.exit(f"{words}: {r.returncode}\n{r.stderr.decode()}")
        return r

    def copy(self):
        to = tempfile.mkdtemp(dir=self.folder)
        for name in os.listdir(self.source):
            shutil.copy(os.path.join(self.source, name), to)
        return to

    def commands(self):
        plan = ["--plan", "demo.plan", *DAY]
        db = ["--db", "c.db"]
        return {
            "load": ["load", "-q", *db, *DAY, "cd34.csv"],
            "load-new": ["load", "-q", "--db", "new.db", *DAY, "clinic.csv"],
            "findings": ["findings", *db, "--summary"],
            "ask": ["ask", "-q", *db, *plan, "--csv", "a", "second-pull"],
            "review": ["review", "-q", *db, *plan, "--html", "a.html",
                       "--latex", "a.tex", "--manifest", "a.manifest"],
            "workbook": ["history", *db, "--xlsx", "a.xlsx"],
            "review-2": ["review", "-q", *db, "--plan", "second.plan", *DAY],
            "paper": ["paper", "-q", *db, *plan, "--latex", "a.tex"],
            "claim": ["claim", "-q", *db, *DAY, "demo.claim",
                      "--text", "a.txt"],
            "size": ["size", *db, *plan, "second-pull"],
            "expect": ["expect", *db, *DAY, "--outcome", "cfu_f", "--age",
                       "55", "--sex", "female", "--sites", "2 3",
                       "--ml-per-site", "5 10"],
            "watch": ["watch", *db, *DAY],
            "agree": ["agree", *db, *DAY, "--outcome", "tnc", "--judge",
                      "concentration", "--first",
                      "lab-a 1", "--second", "lab-a 2"],
            "release": ["release", *db, *DAY, "--into", "given", "--seed",
                        "7"],
            "pool": ["pool", *db, *plan, "--printed", "printed.csv",
                     "second-pull"],
            "verify": ["verify", *db, "r.manifest"],
            "history": ["history", *db],
            "backup": ["backup", *db, "copy.db"],
        }


def rows(path, without=()):
    """All rows of a database in one hash; None when there is no database."""
    if not os.path.exists(path) or os.path.getsize(path) == 0:
        return None
    db = sqlite3.connect(path, timeout=5)
    h = hashlib.sha256()
    try:
        if db.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            return "damaged"
        tables = [t for (t,) in db.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY 1")]
        if not tables:
            return None
        for t in tables:
            if t in without:
                continue
            h.update(t.encode())
            for row in db.execute(f'SELECT * FROM "{t}" ORDER BY rowid'
                                  if "WITHOUT ROWID" not in db.execute(
                                      "SELECT sql FROM sqlite_schema WHERE "
                                      "name = ?", (t,)).fetchone()[0]
                                  else f'SELECT * FROM "{t}"'):
                h.update(repr(row).encode())
    except sqlite3.DatabaseError as e:
        return "damaged: " + str(e)
    finally:
        db.close()
    return h.hexdigest()


def digest(path):
    if os.path.isdir(path):
        inside = sorted(os.listdir(path))
        text = repr([(n, digest(os.path.join(path, n))) for n in inside])
        return hashlib.sha256(text.encode()).hexdigest()
    with open(path, "rb") as f:
        return hashlib.sha256(f.read()).hexdigest()


JOURNALS = ("-wal", "-shm", "-journal")


def files(folder):
    return {n: None if n.endswith(".db") or n.endswith(JOURNALS)
            else digest(os.path.join(folder, n))
            for n in os.listdir(folder) if not n.endswith(JOURNALS)}


class Trial:
    """One command without failure: what its ends may look like."""

    def __init__(self, clinic, name, words):
        self.clinic, self.name, self.words = clinic, name, words
        folder = clinic.copy()
        self.before = {db: rows(os.path.join(folder, db)) for db in DATABASES}
        self.files_before = files(folder)
        r = clinic.run(words, folder)
        self.status, self.out = r.returncode, r.stdout
        if r.returncode not in (0, 1):
            sys.exit(f"{name}: ends with {r.returncode} without any failure\n"
                     + r.stderr.decode())
        self.after = {db: rows(os.path.join(folder, db)) for db in DATABASES}
        self.files_after = files(folder)
        shutil.rmtree(folder)

    def allowed(self, db):
        """What a database may hold after a failure."""
        made = {self.clinic.empty} if db == "new.db" else set()
        return {self.before[db], self.after[db]} | made

    def readings(self, folder, db):
        """Is the ledger of readings all that differs from before?"""
        here, there = os.path.join(folder, db), self.clinic.source
        return (rows(here, LEDGER) is not None and
                rows(here, LEDGER) == rows(os.path.join(there, db), LEDGER))

    def judge(self, folder, r, place, mute=False):
        where = f"{self.name}, {place}"
        ok(r.returncode in STATUSES,
           f"{where}: ended with {r.returncode}: {r.stderr[-300:]!r}")
        done = r.returncode == self.status
        if not done:
            ok(mute or r.stderr.strip() != b"",
               f"{where}: {r.returncode}, no word")
        elif self.status == 0:
            ok(r.stdout == self.out, f"{where}: status 0, another result: "
               f"{r.stdout[-400:]!r}")
        for db in DATABASES:
            now = rows(os.path.join(folder, db))
            good = {self.after[db]} if done else self.allowed(db)
            if not done and now not in good and self.readings(folder, db):
                self.again(folder, place)
                now = rows(os.path.join(folder, db))
                good = {self.after[db]}
            ok(now in good, f"{where}: {db} is neither as before nor as "
               f"after (status {r.returncode}): {now}")
        for n, h in files(folder).items():
            if n in DATABASES:
                continue
            ok(h is None or h in (self.files_before.get(n, ""),
                                  self.files_after.get(n, "")),
               f"{where}: {n} is half an output or was left behind")

    def again(self, folder, place):
        """A database that is half made or locked would show now."""
        if os.path.exists(os.path.join(folder, "copy.db")):
            os.remove(os.path.join(folder, "copy.db"))
        shutil.rmtree(os.path.join(folder, "given"), ignore_errors=True)
        r = self.clinic.run([*self.words, *(
            ["--force"] if self.name in FORCED else [])], folder)
        ok(r.returncode == self.status, f"{self.name}, {place}: run again, "
           f"{r.returncode}: {r.stderr[-300:]!r}")


LEDGER = ("plans", "looks", "look_effects", "claims", "audit")
DATABASES = ("c.db", "new.db", "copy.db")
FORCED = {"ask", "review", "claim", "workbook", "paper"}


def memory(clinic, o):
    for name, words in chosen(clinic, o):
        trial = Trial(clinic, name, words)
        count = os.path.join(clinic.folder, "count")
        shim = {"LD_PRELOAD": o.shim, "PERDRAW_FAIL_PATHS": "1"}
        folder = clinic.copy()
        clinic.run(words, folder, dict(shim, PERDRAW_FAIL_COUNT=count))
        shutil.rmtree(folder)
        n = int(open(count).read())
        ok(n > 100, f"{name}: only {n} requests for memory were seen")
        tried = 0
        for k in range(1 + o.seed % o.every, n + 1, o.every):
            for on in ("", "+"):
                folder = clinic.copy()
                r = clinic.run(words, folder,
                               dict(shim, PERDRAW_FAIL_AT=f"{k}{on}"))
                trial.judge(folder, r, f"memory {k}{on} of {n}")
                if tried % 8 == 0:
                    trial.again(folder, f"memory {k}{on} of {n}")
                tried += 1
                shutil.rmtree(folder)
        print(f"memory   {name:9} {tried:6} failures at {n} places")


CALLS = ("openat,write,pwrite64,read,pread64,fsync,fdatasync,ftruncate,rename,"
         "renameat,renameat2,linkat,link,unlink,mkdir,fcntl")
BREAKS = (("write,pwrite64,ftruncate", "ENOSPC"),
          ("write,pwrite64", "EIO"),
          ("fsync,fdatasync", "EIO"),
          ("rename,renameat,renameat2,link,linkat", "EACCES"),
          ("openat", "EMFILE"),
          ("read,pread64", "EIO"))


def traced(path, calls):
    with open(path) as f:
        return sum(any(c + "(" in line for c in calls.split(","))
                   for line in f)


def storage(clinic, o):
    for name, words in chosen(clinic, o):
        trial = Trial(clinic, name, words)
        tried = 0
        for calls, error in BREAKS:
            trace = os.path.join(clinic.folder, "trace")
            folder = clinic.copy()
            clinic.run(words, folder, front=(
                "strace", "-f", "-o", trace, "-e", "trace=" + calls))
            shutil.rmtree(folder)
            n = traced(trace, calls)
            clinic.run(["--version"], clinic.folder, front=(
                "strace", "-f", "-o", trace, "-e", "trace=" + calls))
            # Before main() these are the program loader's, not ours.
            loading = traced(trace, calls)
            for k in range(1 + o.seed % o.every, n + 1, o.every):
                for on in ("", "+"):
                    if k <= loading:
                        continue
                    folder = clinic.copy()
                    r = clinic.run(words, folder, front=(
                        "strace", "-f", "-o", "/dev/null", "-e",
                        "trace=" + calls, "-e",
                        f"inject={calls}:error={error}:when={k}{on}"))
                    # Where no write goes through, no word does.
                    trial.judge(folder, r, f"{error} at {k}{on} of {n} "
                                f"({calls})", on and "write" in calls)
                    if tried % 8 == 0:
                        trial.again(folder, f"{error} at {k}{on} ({calls})")
                    tried += 1
                    shutil.rmtree(folder)
        print(f"storage  {name:9} {tried:6} failures")


def killed(clinic, o):
    draw = random.Random(o.seed)
    for name in ("load", "load-new", "review", "backup"):
        words = clinic.commands()[name]
        trial = Trial(clinic, name, words)
        struck = 0
        folder = clinic.copy()
        start = time.monotonic()
        clinic.run(words, folder)
        lasts = time.monotonic() - start
        shutil.rmtree(folder)
        for i in range(o.kills):
            folder = clinic.copy()
            p = subprocess.Popen([o.perdraw, *words], cwd=folder,
                                 stdin=subprocess.DEVNULL,
                                 stdout=subprocess.DEVNULL,
                                 stderr=subprocess.DEVNULL)
            try:
                p.wait(draw.uniform(0.0, lasts))
            except subprocess.TimeoutExpired:
                p.send_signal(signal.SIGKILL)
                p.wait()
                struck += 1
            for db in DATABASES:
                now = rows(os.path.join(folder, db))
                ok(now in trial.allowed(db),
                   f"{name}, kill {i}: {db} is torn: {now}")
            for n, h in files(folder).items():
                ok(h is None or ".part-" in n or
                   h in (trial.files_before.get(n, ""),
                         trial.files_after.get(n, "")),
                   f"{name}, kill {i}: {n} is half an output")
            trial.again(folder, f"kill {i}")
            shutil.rmtree(folder)
        ok(struck * 4 >= o.kills, f"{name}: only {struck} of {o.kills} kills "
           "struck while it ran")
        print(f"killed   {name:9} {o.kills:6} times, {struck} while it ran")


def parts_of(clinic, folder, n):
    """The clinic's file in n files, the rows of a patient in one of them."""
    with open(os.path.join(clinic.source, "clinic.csv")) as f:
        head, *lines = f.readlines()
    names = [f"part-{k}.csv" for k in range(n)]
    for k, name in enumerate(names):
        with open(os.path.join(folder, name), "w") as f:
            f.write(head)
            f.writelines(x for x in lines if int(hashlib.sha256(
                x.split(",")[0].encode()).hexdigest(), 16) % n == k)
    return names


def counts(path):
    db = sqlite3.connect(path)
    n = [db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in
         ("sources", "patients", "cases", "sites", "aliquots", "assays")]
    db.close()
    return n


def crowd(clinic, o):
    for i in range(o.rounds):
        folder = clinic.copy()
        names = parts_of(clinic, folder, 8)
        load = ["load", "-q", *DAY, "--db"]
        for name in names:
            clinic.run([*load, "one.db", name], folder, check=True)
        again = [*load, "new.db"]
        start = lambda words: subprocess.Popen(
            [o.perdraw, *words], cwd=folder, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        writers = {name: start([*again, name]) for name in names}
        readers = [start(["history", "--db", "new.db"]) for _ in range(4)]
        for name, p in writers.items():
            said = p.communicate()[1]
            ok(p.returncode in (0, 75), f"crowd {i}, {name}: "
               f"{p.returncode}: {said[-300:]!r}")
            if p.returncode == 75: # waited in vain, as it says
                clinic.run([*again, name], folder, check=True)
        for p in readers:
            said = p.communicate()[1]
            # 65, 66: before there is a database
            ok(p.returncode in (0, 65, 66, 75), f"crowd {i}, a reader: "
               f"{p.returncode}: {said[-300:]!r}")
        ok(counts(os.path.join(folder, "new.db")) ==
           counts(os.path.join(folder, "one.db")),
           f"crowd {i}: not every row exactly once")
        r = clinic.run(["history", "--db", "new.db"], folder)
        ok(r.returncode == 0, f"crowd {i}: history ends with {r.returncode}")
        shutil.rmtree(folder)
    print(f"crowd    {o.rounds:6} rounds of 8 loads and 4 readers")


def flipped(clinic, o):
    draw = random.Random(o.seed)
    whole = clinic.copy()
    # One file without journals, as a backup is.
    clinic.run(["backup", "-q", "--db", "c.db", "one.db"], whole, check=True)
    with open(os.path.join(whole, "one.db"), "rb") as f:
        good = f.read()
    os.remove(os.path.join(whole, "c.db"))
    known = rows(os.path.join(whole, "one.db"))
    tables = ["review", "-q", "--db", "f.db", "--plan", "demo.plan", *DAY,
              "--no-ledger", "--format", "tsv"]
    with open(os.path.join(whole, "f.db"), "wb") as f:
        f.write(good)
    answer = clinic.run(tables, whole, check=True).stdout
    refused = unharmed = 0
    for i in range(o.flips):
        b = bytearray(good)
        kind = i % 5
        if kind < 3:
            for _ in range(1 + 7 * (kind == 2)):
                at = draw.randrange(100 if kind == 1 else len(b))
                b[at] ^= 1 << draw.randrange(8)
        elif kind == 3:
            page = draw.randrange(len(b) // 4096) * 4096
            b[page:page + 4096] = bytes(4096)
        else:
            del b[draw.randrange(len(b)):]
        with open(os.path.join(whole, "f.db"), "wb") as f:
            f.write(b)
        for words in (["history", "--db", "f.db"], tables):
            r = clinic.run(words, whole)
            where = f"flip {i} (kind {kind}), {words[0]}"
            ok(r.returncode in STATUSES, f"{where}: {r.returncode}: "
               f"{r.stderr[-300:]!r}")
            if r.returncode == 0 and words is tables:
                unharmed += 1
                ok(r.stdout == answer or
                   rows(os.path.join(whole, "f.db")) != known,
                   f"{where}: the same rows, another result")
                ok(not str(rows(os.path.join(whole, "f.db"))).startswith(
                    "damaged") or r.stdout == answer,
                   f"{where}: a damaged file gave another result")
            elif r.returncode:
                refused += words is tables
                ok(r.stderr.strip() != b"" or r.stdout.strip() != b"",
                   f"{where}: {r.returncode}, no word")
        for n in ("f.db-wal", "f.db-shm", "f.db-journal"):
            if os.path.exists(os.path.join(whole, n)):
                os.remove(os.path.join(whole, n))
    print(f"flipped  {o.flips:6} databases: {refused} refused, "
          f"{unharmed} read")


def chosen(clinic, o):
    for name, words in clinic.commands().items():
        if not o.only or name in o.only.split(","):
            yield name, words


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--perdraw", required=True)
    a.add_argument("--generate", required=True)
    a.add_argument("--demo", required=True)
    a.add_argument("--shim", required=True)
    a.add_argument("--every", type=int, default=1)
    a.add_argument("--kills", type=int, default=50)
    a.add_argument("--flips", type=int, default=200)
    a.add_argument("--rounds", type=int, default=20)
    a.add_argument("--seed", type=int, default=20260105)
    a.add_argument("--only", help="names of commands, parted by commas")
    a.add_argument("kind", nargs="*")
    o = a.parse_args()
    for name in ("perdraw", "generate", "demo", "shim"):
        setattr(o, name, os.path.abspath(getattr(o, name)))
    with tempfile.TemporaryDirectory(prefix="perdraw-fault.") as folder:
        clinic = Clinic(o, folder)
        for kind in o.kind or ("memory", "storage", "killed", "crowd",
                               "flipped"):
            {"memory": memory, "storage": storage, "killed": killed,
             "crowd": crowd, "flipped": flipped}[kind](clinic, o)
    print(f"{passed} passed, {failed} failed")
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())
