"""paper.py FOLDER: what pages.mjs printed, read by qpdf and pdftotext: every
caption and heading is on paper, a figure's words stand on one page with its
title, a table's heads on every page that holds its rows, the sheet has its
size. Last line: N passed, N failed.
"""
import collections
import glob
import json
import re
import subprocess
import sys

SIZES = {"a4": (595, 842), "letter": (612, 792)}
count = [0, 0]


def check(what, ok, why=""):
    count[not ok] += 1
    if not ok:
        print(f"FAILED: {what}: {why}"[:500])


def close(text):
    """Without blanks: lines break where they like."""
    return re.sub(r"[\s\u200b\u2060]+", "", text)


def output(*words):
    return subprocess.run(words, capture_output=True, text=True,
                          errors="replace")


def whole_figure(figure, pages):
    """A page that holds the title and every word of the drawing."""
    words = {close(w) for w in figure["labels"]}
    best = max(pages, key=lambda p: (close(figure["title"]) in p,
                                     sum(w in p for w in words)))
    if close(figure["title"]) not in best:
        return "its title is on no page"
    lost = [w for w in words if w not in best]
    # Words set upright or turned are read letter by letter now and then.
    return f"not on its page: {lost[:5]}" if len(lost) > len(words) / 20 \
        else ""


def own_rows(tables):
    """Rows that no other table has, as they stand on paper."""
    texts = [[close("".join(r)) for r in t["rows"]] for t in tables]
    often = collections.Counter(r for rows in texts for r in set(rows))
    return [[r for r in rows if len(r) > 12 and often[r] == 1]
            for rows in texts]


def heads_lost(table, rows, pages):
    heads = close("".join(table["heads"]))
    return any(heads not in p and any(r in p for r in rows) for p in pages)


def read(parts, name, size):
    what = f"{name}, {size}"
    file = name + "-" + size + ".pdf"
    done = output("qpdf", "--check", file)
    check(f"{what}: qpdf", done.returncode == 0, done.stdout + done.stderr)
    info = output("pdfinfo", file).stdout
    got = re.search(r"Page size: +([\d.]+) x ([\d.]+)", info)
    check(f"{what}: size of the sheet", got and all(
        abs(float(g) - w) < 2 for g, w in zip(got.groups(), SIZES[size])),
        info)
    check(f"{what}: tagged", "Tagged:          yes" in info, info)
    text = output("pdftotext", "-raw", file, "-").stdout
    pages = [close(p) for p in text.split("\f")[:-1]]
    check(f"{what}: no empty page", all(pages), len(pages))
    everything = "".join(pages)
    for kind in ("captions", "headings"):
        lost = [c for c in parts[kind] if close(c) not in everything]
        check(f"{what}: {kind}", not lost, lost[:4])
    for figure in parts["figures"]:
        why = whole_figure(figure, pages)
        check(f"{what}: '{figure['title']}' is whole", not why, why)
    lost = [c for c, t, rows in zip(parts["captions"], parts["tables"],
                                    own_rows(parts["tables"]))
            if heads_lost(t, rows, pages)]
    check(f"{what}: heads on every page of a table", not lost, lost[:4])


def main():
    for file in sorted(glob.glob(sys.argv[1] + "/*.paper.json")):
        name = file[:-len(".paper.json")]
        for size in SIZES:
            read(json.load(open(file, encoding="utf-8")), name, size)
    check("something was read", sum(count) > 0)
    print(f"{count[0]} passed, {count[1]} failed")
    return count[1] > 0


sys.exit(main())
