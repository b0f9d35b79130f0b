#!/usr/bin/env python3
"""release_read.py - a released folder read by somebody else's reader.

check FOLDER DB N       files, metadata, marks, groups and bytes
reload FOLDER FILE      the wide table as a file that can be loaded again

Nothing of the program is used: Python's csv, json, re, hashlib and sqlite3.
Ends with a line "N passed, M failed".
"""
import collections
import csv
import datetime
import hashlib
import json
import math
import os
import re
import sqlite3
import sys

OUTCOMES = ["tnc", "mnc", "viability", "hct", "rbc", "platelets", "cd34",
            "cd271", "cfu_f", "cfu_f_per_e6", "dish_1", "dish_2", "dish_3",
            "dish_4", "dish_5", "dish_6"]
COLUMN = ["tnc", "mnc", "viability", "hct", "rbc", "platelets", "cd34",
          "cd271", "cfu_f", "cfu_f_e6", "dish_1", "dish_2", "dish_3",
          "dish_4", "dish_5", "dish_6"]
MARKS = {0: "measured", 1: "below", 2: "above", 3: "too many to count",
         4: "failed", 5: "not ordered", 6: "not detected"}
passed = failed = 0


def check(words, good, more=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print("FAILED:", words, more)


def read(folder, name):
    with open(os.path.join(folder, name), newline="", encoding="utf-8") as f:
        rows = list(csv.reader(f, strict=True))
    head = rows[0]
    check(name + ": a row with another number of cells",
          all(len(r) == len(head) for r in rows))
    check(name + ": a name twice", len(set(head)) == len(head))
    return head, [dict(zip(head, r)) for r in rows[1:]]


# ---- the description ---------------------------------------------------------

def metadata(folder, tables):
    with open(os.path.join(folder, "csv-metadata.json"),
              encoding="utf-8") as f:
        about = json.load(f)
    check("metadata: context",
          about["@context"][0] == "http://www.w3.org/ns/csvw")
    check("metadata: its tables", [t["url"] for t in about["tables"]] ==
          ["long.csv", "wide.csv", "dictionary.csv"])
    for t in about["tables"]:
        head, rows = tables[t["url"]]
        columns = t["tableSchema"]["columns"]
        check(t["url"] + ": columns of the metadata",
              [c["name"] for c in columns] == head)
        for c in columns:
            cells = [r[c["name"]] for r in rows if r[c["name"]] != c["null"]]
            kind = c["datatype"]
            if kind == "double":
                good = all(math.isfinite(float(x)) for x in cells)
            elif isinstance(kind, dict):
                form = re.compile(kind["format"])
                good = all(form.fullmatch(x) for x in cells)
            else:
                good = kind == "string"
            check("%s: cells of %s" % (t["url"], c["name"]), good)


def dictionary(tables):
    rows = tables["dictionary.csv"][1]
    for name in ("long.csv", "wide.csv"):
        head, data = tables[name]
        mine = [r for r in rows if r["file"] == name]
        check(name + ": columns of the dictionary",
              [r["column"] for r in mine] == head)
        for r in mine:
            filled = sum(1 for d in data if d[r["column"]] != "")
            check("%s: filled cells of %s" % (name, r["column"]),
                  int(r["filled"]) == filled and
                  int(r["rows"]) == len(data))
            check("%s: %s without words" % (name, r["column"]),
                  r["meaning"] and r["derived"] and r["kind"])


# ---- groups ------------------------------------------------------------------

def groups(rows):
    """Sizes of the groups of patients alike by all that is told of them."""
    cases = collections.defaultdict(lambda: (set(), set()))
    for r in rows:
        told, marks = cases[r["patient"], r["case"]]
        told.add((r["sex"], r["age"], r["bmi_band"], r["year"]))
        if r["landmark"]:
            marks.add(r["landmark"])
    patients = collections.defaultdict(set)
    for (patient, _), (told, marks) in cases.items():
        check("a case told in two ways", len(told) == 1)
        patients[patient].add((tuple(sorted(told)), tuple(sorted(marks))))
    alike = collections.Counter(frozenset(v) for v in patients.values())
    return sorted(alike.values()), len(patients)


def small_cells(folder, tables, least):
    with open(os.path.join(folder, "report.txt"), encoding="utf-8") as f:
        report = f.read().replace("\u202f", "")
    for name in ("long.csv", "wide.csv"):
        sizes, patients = groups(tables[name][1])
        check("%s: a group of %d patients" % (name, sizes[0]),
              sizes[0] >= least)
        line = re.search("^%s +(\\d+) +(\\d+) +(\\d+) +(\\d+)" %
                         re.escape(name), report, re.M)
        check(name + ": what the report says of its groups",
              line and [int(x) for x in line.groups()] ==
              [patients, len(sizes), sizes[0],
               sum(1 for s in sizes if s < least)], line and line.group(0))
        events = collections.defaultdict(set)
        for r in tables[name][1]:
            if r["adverse_event"] not in ("", "none"):
                events[r["adverse_event"]].add(r["patient"])
        for kind, who in events.items():
            check("%s: %s in %d patients" % (name, kind, len(who)),
                  len(who) >= least)
        for column in ("sex", "age", "bmi_band", "year", "landmark"):
            alone = collections.defaultdict(set)
            for r in tables[name][1]:
                alone[r[column]].add(r["patient"])
            few = [v for v, who in alone.items() if v and len(who) < least]
            check("%s: rare values of %s" % (name, column), not few, few)


# ---- what must not be there --------------------------------------------------

def forbidden(db):
    texts = set()
    for sql in ("SELECT label FROM patients", "SELECT label FROM cases",
                "SELECT code FROM operators", "SELECT name FROM devices",
                "SELECT name FROM method_versions",
                "SELECT label FROM sample_labels",
                "SELECT label FROM pool_samples", "SELECT name FROM sources",
                "SELECT sha256 FROM sources", "SELECT hash FROM audit",
                "SELECT question FROM looks", "SELECT name FROM plans"):
        texts.update(r[0] for r in db.execute(sql) if r[0])
    dates = [r[0] for r in db.execute(
        "SELECT DISTINCT case_date FROM cases WHERE case_date IS NOT NULL")]
    for days in dates:
        d = datetime.date(1970, 1, 1) + datetime.timedelta(days)
        texts.update(d.strftime(f) for f in ("%Y-%m-%d", "%d.%m.%Y",
                                             "%m/%d/%Y", "%Y%m%d", "%Y-%m"))
    # words of the program's own texts are no secrets of the clinic
    return {t for t in texts if t not in ("case", "none", "pool", "all")}


def nothing_left(folder, db, release_date):
    texts = {t for t in forbidden(db) if not release_date.startswith(t)}
    phrases = [t for t in texts if re.search(r"\s", t)]
    check("nothing to look for", len(texts) > 10)
    for name in sorted(os.listdir(folder)):
        with open(os.path.join(folder, name), "rb") as f:
            text = f.read().decode("utf-8")
        words = set(re.split(r"[\s,\"|;:()\[\]{}']+", name + " " + text))
        words |= {w.strip(".") for w in words}
        words |= set(re.findall(r"\w+", " ".join(words)))
        hit = sorted(words & texts) + [p for p in phrases if p in text]
        check(name + ": a name, label, date or hash of the clinic", not hit,
              hit[:5])


def no_dates(tables):
    for name in ("long.csv", "wide.csv"):
        head, rows = tables[name]
        check(name + ": a birth year, a date, a note",
              not [h for h in head if re.search(
                  "birth|date|note|comment|lot|serial|file|line", h)])
        check(name + ": an age that is told though it is above 89",
              all(r["age"] in ("", "90+") or
                  int(re.findall(r"\d+", r["age"])[-1]) <= 89 for r in rows))


def order(tables):
    for name in ("long.csv", "wide.csv"):
        rows = tables[name][1]
        keys = [(r["patient"], r["case"]) for r in rows]
        check(name + ": rows not in the order of the codes",
              keys == sorted(keys))


def manifest(folder):
    with open(os.path.join(folder, "manifest.tsv"), "rb") as f:
        text = f.read()
    lines = [l.split("\t") for l in text.decode().splitlines()]
    noted = {l[1]: (int(l[2]), l[3]) for l in lines if l[0] == "output"}
    check("manifest: its files", set(noted) | {"manifest.tsv"} ==
          set(os.listdir(folder)))
    for name, (size, sha256) in noted.items():
        with open(os.path.join(folder, name), "rb") as f:
            data = f.read()
        check("manifest: " + name, len(data) == size and
              hashlib.sha256(data).hexdigest() == sha256)
    check("manifest: a line that tells of the clinic",
          {l[0] for l in lines} <= {"perdraw-manifest", "program", "command",
                                    "date", "option", "output", "end"})
    last = text.rstrip(b"\n").rfind(b"\n") + 1
    check("manifest: its end", lines[-1] ==
          ["end", hashlib.sha256(text[:last]).hexdigest()])
    return [l[1] for l in lines if l[0] == "date"][0]


# ---- what must still be there ------------------------------------------------

def marks(tables, db):
    """Every result with its mark and value, counted in store and files."""
    store, long_, wide = (collections.Counter() for _ in range(3))
    for row in db.execute("SELECT states, " + ", ".join(COLUMN) +
                          " FROM assays"):
        for k, x in enumerate(row[1:]):
            state = row[0] >> 4 * k & 15
            if state or x is not None:
                mark = MARKS[state]
                if mark == "measured" and x == 0:
                    mark = "zero"
                store[OUTCOMES[k], mark, x] += 1
    for r in tables["long.csv"][1]:
        if r["outcome"]:
            long_[r["outcome"], r["mark"],
                  float(r["value"]) if r["value"] else None] += 1
    head, rows = tables["wide.csv"]
    field = {o: head[head.index(o + "_mark") - 1] for o in OUTCOMES}
    for r in rows:
        for o in OUTCOMES:
            if r[o + "_mark"]:
                wide[o, r[o + "_mark"],
                     float(r[field[o]]) if r[field[o]] else None] += 1
            else:
                check("a value without a mark", r[field[o]] == "")
    check("long.csv: results are not those of the store", long_ == store)
    check("wide.csv: results are not those of the store", wide == store)
    return {m for _, m, _ in store}


def ratio(pulls):
    """Geometric mean ratio of pull 2 over pull 1 inside each site, TNC."""
    pairs = [math.log(p[2] / p[1]) for p in pulls.values()
             if 1 in p and 2 in p]
    return math.exp(math.fsum(sorted(pairs)) / len(pairs)), len(pairs)


def effect(tables, db):
    told, stored = collections.defaultdict(dict), collections.defaultdict(dict)
    for r in tables["long.csv"][1]:
        if r["outcome"] == "tnc" and r["mark"] == "measured" and \
                r["aliquot_no"]:
            told[r["case"], r["side"], r["site_no"]][int(r["aliquot_no"])] = \
                float(r["value"])
    for sample, tnc in db.execute(
            "SELECT sample_id, tnc FROM assays WHERE tnc > 0 AND states & 15 "
            "= 0 AND (sample_id >> 16 & 3) <> 3"):
        stored[sample >> 8][sample & 255] = tnc
    a, b = ratio(told), ratio(stored)
    check("pull 2 over pull 1 from the files and from the store",
          a[1] == b[1] > 20 and abs(a[0] / b[0] - 1) < 1e-12, (a, b))


def main_check(folder, path, least):
    db = sqlite3.connect("file:%s?mode=ro" % path, uri=True)
    tables = {n: read(folder, n)
              for n in ("long.csv", "wide.csv", "dictionary.csv")}
    metadata(folder, tables)
    dictionary(tables)
    small_cells(folder, tables, least)
    no_dates(tables)
    order(tables)
    nothing_left(folder, db, manifest(folder))
    print("marks:", ", ".join(sorted(marks(tables, db))))
    effect(tables, db)
    print("%d passed, %d failed" % (passed, failed))
    return failed == 0


# ---- loaded again ------------------------------------------------------------

CELL = {"below": "<%s", "above": ">%s", "too many to count": "TNTC",
        "failed": "failed", "not ordered": "not ordered",
        "not detected": "ND", "measured": "%s", "zero": "%s", "": ""}


def main_reload(folder, path):
    head, rows = read(folder, "wide.csv")
    mark = {h[:-5]: h for h in head if h.endswith("_mark")}
    field = {head[head.index(m) - 1]: m for m in mark.values()}
    drop = set(mark.values()) | {"visit_no", "year", "age", "bmi_band",
                                 "adverse_event", "days_since_first",
                                 "source"}
    keep = [h for h in head if h not in drop]
    with open(path, "w", newline="", encoding="utf-8") as f:
        out = csv.writer(f)
        out.writerow(keep + ["case_date"])
        for r in rows:
            if r["pool"]:
                continue
            cells = []
            for h in keep:
                form = CELL[r[field[h]]] if h in field else "%s"
                cells.append(form % r[h] if "%s" in form else form)
            out.writerow(cells + ["%s-07-01" % (r["year"] or 2020)])
    return True


if __name__ == "__main__":
    if sys.argv[1] == "check":
        good = main_check(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        good = main_reload(sys.argv[2], sys.argv[3])
    sys.exit(0 if good else 1)
