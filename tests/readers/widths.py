"""widths.py FOLDER: the text form at widths from 40 to 200 columns: no line
is wider, and each number and word of each table cell of
the JSON form is there whole. Run in a folder of every.sh. Last line: N passed,
N failed.
"""
import json
import os
import re
import subprocess
import sys
import unicodedata

COMMANDS = {
    "missing": ["findings", "--db", "demo.db", "--missing"],
    "ask": ["ask", "--db", "demo.db", "--plan", "demo.plan", "--no-ledger",
            "--quiet", "syringe-10-50"],
    "size": ["size", "--db", "demo.db", "--plan", "demo.plan",
             "syringe-10-50"],
    "watch": ["watch", "--db", "demo.db"],
    "pool": ["pool", "--printed", "printed.csv", "--outcome", "cfu_f"],
    "history": ["history", "--db", "demo.db"],
}
count = [0, 0]


def check(what, ok, why=""):
    count[not ok] += 1
    if not ok:
        print(f"FAILED: {what}: {ascii(why)}"[:400])


def columns(line):
    return sum(0 if unicodedata.combining(c) else
               2 if unicodedata.east_asian_width(c) in "WF" else 1
               for c in line)


def run(words, *more):
    day = [] if words[0] == "history" else ["--date", "2026-02-01"]
    return subprocess.run([os.environ["PERDRAW"], *words, *day, *more],
                          capture_output=True).stdout.decode()


def main():
    os.chdir(sys.argv[1])
    for name, words in COMMANDS.items():
        document = json.loads(run(words, "--format", "json"))
        pieces = {p for b in document["blocks"] if b["kind"] == "table"
                  for r in b["rows"] for c in r["cells"] if c
                  for p in re.split(r"[\s\u202f/-]+", c["text"])
                  if 1 < len(p) < 20}
        for width in (40, 47, 60, 80, 100, 120, 160, 200):
            text = run(words, "--width", str(width))
            wide = [x for x in text.split("\n") if columns(x) > width]
            check(f"{name} at {width}: no wider line", not wide, wide[:2])
            lost = sorted(p for p in pieces if p not in text)
            check(f"{name} at {width}: no cell is cut", text and not lost,
                  lost[:5])
    print(f"{count[0]} passed, {count[1]} failed")
    return count[1] > 0


sys.exit(main())
