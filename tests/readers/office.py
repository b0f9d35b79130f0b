"""office.py FOLDER NAME...: LibreOffice opens the workbook and every CSV file
of FOLDER/NAME; what it read is compared with the JSON form and with the CSV
files as Python reads them. Numbers are numbers, texts are texts, nothing is
computed. Work files go to FOLDER/office. Last line: N passed, N failed.
"""
import csv
import glob
import json
import os
import re
import shutil
import subprocess
import sys

import openpyxl

# Comma, quote, UTF-8, from line 1; texts quoted, numbers not, as shown in
# full, formulas as formulas, every sheet.
OUT = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,true,false,true,false,false,-1"
# As a double click would: English, formulas computed.
IN = "CSV:44,34,76,1,,1033,false,false"
MOST = 40  # CSV files of one document; its workbook is read whole
count = [0, 0]


def check(what, ok, why=""):
    count[not ok] += 1
    if not ok:
        print(f"FAILED: {what}: {ascii(why)}"[:500])


def office(folder, files, *words):
    """LibreOffice on all files, in a profile of its own; it takes no more
    than about 240 at a start."""
    os.makedirs(folder, exist_ok=True)
    profile = os.path.abspath("office/profile")
    for start in range(0, len(files), 200):
        done = subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{profile}",
             "--headless", "--norestore", *words, "--outdir", folder,
             *files[start:start + 200]],
            stdin=subprocess.DEVNULL, capture_output=True, timeout=400)
        if done.returncode:
            check("LibreOffice ends well", False, done.stderr)


def fields(text):
    """Rows of (text, was it quoted): quoted is text, the rest a number."""
    rows, row, at = [], [], 0
    while at < len(text):
        if text[at] == '"':
            m = re.compile(r'"((?:[^"]|"")*)"').match(text, at)
            row.append((m.group(1).replace('""', '"'), True))
        else:
            m = re.compile(r"[^,\n]*").match(text, at)
            row.append((m.group(0), False))
        at = m.end()
        if at < len(text) and text[at] == ",":
            at += 1
            if at == len(text) or text[at] == "\n":
                row.append(("", False))
        if at >= len(text) or text[at] == "\n":
            rows.append(row)
            row, at = [], at + 1
    return rows


def ours(name):
    """Per table: its rows and the datatype of each column."""
    about = f"{name}/out.csv-metadata.json"
    if not os.path.exists(about):
        return {}
    out = {}
    for i, t in enumerate(json.load(open(about, encoding="utf-8"))["tables"]):
        with open(f"{name}/out-{i + 1}.csv", encoding="utf-8",
                  newline="") as f:
            rows = list(csv.reader(f, strict=True))
        out[i + 1] = rows, [c["datatype"] for c in
                            t["tableSchema"]["columns"]]
    return out


def unguarded(text):
    return text[1:] if re.match(r"'[\s'\ufffd]*[=+\-@\uff1d\uff0b\uff0d\uff20]|'[\t\r]",
                                text) else text


def one_workbook(name, tables):
    check(f"{name}: its notes", os.path.exists(f"office/sheets/{name}-Notes.csv"))
    for number, (rows, kinds) in tables.items():
        file = f"office/sheets/{name}-Table {number}.csv"
        got = fields(open(file, encoding="utf-8", newline="").read())
        wrong = []
        for mine, theirs in zip(rows[1:], got[1:]):
            for kind, a, (b, quoted) in zip(kinds, mine, theirs):
                if kind == "decimal":
                    good = not quoted and (float(a) == float(b) if a and b
                                           else a == b)
                else:
                    good = unguarded(a) == b and (quoted or not a)
                if not good:
                    wrong.append((a, b, quoted))
        check(f"{file}: rows", len(rows) == len(got), (len(rows), len(got)))
        check(f"{file}: cells", not wrong, wrong[:4])


def one_csv(file, rows, kinds):
    sheet = openpyxl.load_workbook(file).active
    wrong = []
    for i, row in enumerate(rows):
        for k, (kind, a) in enumerate(zip(kinds, row)):
            cell = sheet.cell(row=i + 1, column=k + 1)
            if i and kind == "decimal":
                good = cell.data_type == "n" and (
                    float(a) == cell.value if a else cell.value is None)
            else:
                good = cell.data_type not in "fe" and not cell.hyperlink
            if not good:
                wrong.append((cell.coordinate, a, cell.value, cell.data_type))
    check(f"{file}: cells", not wrong, wrong[:4])


def main():
    os.chdir(sys.argv[1])
    names = sys.argv[2:]
    shutil.rmtree("office", ignore_errors=True)
    os.makedirs("office/in")
    tables = {n: ours(n) for n in names}
    for n in names:
        shutil.copy(f"{n}/out.xlsx", f"office/in/{n}.xlsx")
        for k in tables[n]:
            if k <= MOST:
                shutil.copy(f"{n}/out-{k}.csv", f"office/in/{n}-{k}.csv")
    # What must be computed, so that not computing means something.
    with open("office/in/control.csv", "w") as f:
        f.write('a,b\r\n=1+1,"=2+2"\r\n-0.02,x\r\n')
    office("office/sheets", sorted(glob.glob("office/in/*.xlsx")),
           "--convert-to", OUT)
    office("office/books", sorted(glob.glob("office/in/*.csv")),
           f"--infilter={IN}", "--convert-to", "xlsx")
    control = openpyxl.load_workbook("office/books/control.xlsx").active
    check("LibreOffice computes what is a formula",
          control["A2"].data_type == "f" and control["A3"].value == -0.02)
    for n in names:
        one_workbook(n, tables[n])
        for k, (rows, kinds) in [t for t in tables[n].items()
                                 if t[0] <= MOST]:
            one_csv(f"office/books/{n}-{k}.xlsx", rows, kinds)
    print(f"{count[0]} passed, {count[1]} failed")
    return count[1] > 0


sys.exit(main())
