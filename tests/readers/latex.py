"""latex.py FOLDER NAME...: pdflatex compiles FOLDER/NAME/out.tex, and every
file NAME/table-*.tex inside a manuscript; qpdf and pdftotext read what came
out: every cell of every table, nothing past the edge of the text, nothing
read or written besides. Last line: N passed, N failed.
"""
import concurrent.futures
import glob
import json
import os
import re
import subprocess
import sys

PAPER = r"""\documentclass{article}
\usepackage{array,booktabs,longtable}
\begin{document}
As Table~\ref{tab:perdraw-%d} shows.
\input{%s}
\end{document}
"""
FARTHEST = 12.0  # points a line may stick out of the text: the margin is 57


def close(text):
    """Without blanks, signs as the PDF's font maps them."""
    text = text.replace("\u2212", "-").replace("\u2013", "-")
    return re.sub(r"[\s\u00ad]+", "", text)


def compile(folder, stem):
    for _ in range(2):
        done = subprocess.run(
            ["pdflatex", "-no-shell-escape", "-halt-on-error",
             "-interaction=nonstopmode", "-recorder", stem], cwd=folder,
            stdin=subprocess.DEVNULL, capture_output=True, timeout=240)
        if done.returncode:
            return done.stdout.decode(errors="replace")[-700:]
    return ""


def judge(folder, stem, tables, found):
    def check(what, ok, why=""):
        found.append((ok, f"{folder}/{stem}: {what}: {ascii(why)}"[:600]))

    why = compile(folder, stem)
    check("compiles", not why, why)
    if why:
        return
    log = open(f"{folder}/{stem}.log", encoding="latin-1").read()
    far = [float(x) for x in
           re.findall(r"Overfull \\hbox \(([\d.]+)pt too wide", log)]
    check("stays in its margins", all(x < FARTHEST for x in far),
          sorted(far)[-5:])
    lost = re.findall(r"(?:Missing character|undefined references|"
                      r"Reference `[^']*' on page)[^\n]*", log)
    check("no character or reference is missing", not lost, lost[:3])
    record = open(f"{folder}/{stem}.fls", encoding="utf-8").read()
    files = {os.path.basename(x) for x in
             re.findall(r"^(?:INPUT|OUTPUT) (?:\./)?([^/\n]+)$", record, re.M)}
    known = {f"{stem}.{e}" for e in
             ("tex", "aux", "log", "pdf", "out", "fls")} | {
                 os.path.basename(x) for x in
                 glob.glob(f"{folder}/table-*.tex")}
    check("reads and writes nothing else", files <= known, files - known)
    done = subprocess.run(["qpdf", "--check", f"{stem}.pdf"], cwd=folder,
                          capture_output=True)
    check("qpdf", done.returncode == 0, done.stderr)
    text = subprocess.run(["pdftotext", "-raw", f"{stem}.pdf", "-"],
                          cwd=folder, capture_output=True).stdout.decode()
    check("no canary sang", "SANG" not in text)
    text = close(text)
    lost = [c["text"] for t in tables for r in t["rows"] for c in r["cells"]
            if c and re.search(r"\d", c["text"]) and
            re.fullmatch(r"(?:[\d\s.,()%<>\u2212\u202f]|to|CI)+", c["text"])
            and
            close(c["text"]) not in text]
    check("every number is on paper", not lost, lost[:5])


def one(folder):
    found = []
    with open(f"{folder}/canary.tex", "w") as f:
        f.write("SANG")
    with open(f"{folder}/out.json", encoding="utf-8") as f:
        tables = [b for b in json.load(f)["blocks"] if b["kind"] == "table"]
    judge(folder, "out", tables, found)
    for file in sorted(glob.glob(f"{folder}/table-*.tex")):
        stem = os.path.basename(file)[:-4]
        number = int(stem[6:])
        with open(f"{folder}/paper-{number}.tex", "w") as f:
            f.write(PAPER % (number, stem))
        judge(folder, f"paper-{number}",
              [t for t in tables if t["number"] == number], found)
    return found


def main():
    os.chdir(sys.argv[1])
    passed = failed = 0
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for found in pool.map(one, sys.argv[2:]):
            for ok, what in found:
                passed += ok
                failed += not ok
                if not ok:
                    print("FAILED:", what)
    print(f"{passed} passed, {failed} failed")
    return failed > 0


sys.exit(main())
