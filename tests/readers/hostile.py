"""hostile.py FOLDER: the texts of payloads.py through every text a store, a
plan, a claim, a table of printed ratios and a file's name accept, to every
form. Leaves FOLDER/NAME/out.html and the other forms for the readers that come
after; judges terminal bytes, JSON, CSV, the workbook and the words of the page
itself. What the program refuses must be refused with a reason. Last line:
N passed, N failed.
"""
import csv
import glob
import html.parser
import io
import json
import os
import re
import subprocess
import sys
import unicodedata
import zipfile

import openpyxl
from payloads import payloads

PERDRAW = os.environ["PERDRAW"]
GENERATE = os.environ["PERDRAW_GENERATE"]
FORMS = ["text:txt", "html:html", "csv:csv", "latex:tex", "xlsx:xlsx",
         "json:json", "tsv:tsv"]
ALL = [text for kind, text in payloads()]
MARK = re.compile(r"zq\d{3}")
count = [0, 0]


def check(what, ok, why=""):
    count[not ok] += 1
    if not ok:
        print(f"FAILED: {what}: {ascii(why)}"[:400])


def run(*words, wanted=(0,)):
    done = subprocess.run([PERDRAW, *words], capture_output=True,
                          stdin=subprocess.DEVNULL)
    terminal(f"{words[0]}, standard output", done.stdout)
    terminal(f"{words[0]}, standard error", done.stderr)
    if done.returncode not in wanted:
        check(f"{words[0]} ends well", False,
              f"{done.returncode} {done.stderr[:600]}")
    return done


def terminal(what, raw, tabs=False):
    """Nothing a terminal would obey, hide or turn around."""
    try:
        text = raw.decode("utf-8", "strict")
    except UnicodeDecodeError as e:
        check(f"{what} is UTF-8", False, str(e))
        return
    bad = {c for c in text if c != "\n" and not (tabs and c == "\t") and
           (unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp", "Cs"))}
    check(f"{what}: no control character", not bad, sorted(bad))


class Words(html.parser.HTMLParser):
    """The words of a page and the kinds of its tags and attributes."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.words, self.seen = [], set()

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        self.seen |= {f"{name}=" for name, _ in attrs}
        self.words += [value for _, value in attrs if value]

    def handle_data(self, data):
        self.words.append(data)

    def handle_comment(self, data):
        self.seen.add("comment")


PAGE = set("""html head meta title style body a header nav ul li main section
h1 h2 h3 p div ol span table caption thead tbody tr th td figure figcaption b
svg desc path text footer dl dt dd lang= charset= http-equiv= content= name=
class= href= id= aria-label= aria-labelledby= aria-hidden= role= tabindex=
scope= colspan= viewBox= viewbox= width= height= x= y= d= font-size=
text-anchor= stroke-width= stroke-dasharray= transform=""".split())


def shown(text):
    """As a report shows a text: controls and what hides is U+FFFD."""
    text = re.sub("[\t\n\r]", " ", text)
    return re.sub(r"[\ufffd\s]+", " ", "".join(
        "\ufffd" if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp", "Cn",
                                                "Co") else c for c in text))


def page(folder, wanted):
    reader = Words()
    reader.feed(open(f"{folder}/out.html", encoding="utf-8").read())
    check(f"{folder}: tags of the page", reader.seen <= PAGE,
          sorted(reader.seen - PAGE))
    words = shown(" ".join(reader.words))
    lost = [t for t in wanted if shown(t).strip() not in words]
    check(f"{folder}: every text is on the page as text", not lost, lost[:4])


def sheets(folder):
    for name in glob.glob(f"{folder}/out-*.csv"):
        raw = open(name, encoding="utf-8", newline="").read()
        rows = list(csv.reader(io.StringIO(raw, newline=""), strict=True))
        about = json.load(open(f"{folder}/out.csv-metadata.json"))
        number = int(re.search(r"-(\d+)\.csv", name).group(1))
        kinds = [c["datatype"] for c in
                 about["tables"][number - 1]["tableSchema"]["columns"]]
        check(f"{name}: one width", {len(r) for r in rows} == {len(kinds)},
              {len(r) for r in rows})
        sent = [f for r in rows[1:] for k, f in zip(kinds, r)
                if k == "string" and re.match(
                    "\\s*[=+\\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]", f)]
        check(f"{name}: no formula", not sent, sent[:4])
        odd = [f for r in rows[1:] for k, f in zip(kinds, r) if k == "decimal"
               and f and not re.fullmatch(r"-?\d+(\.\d+)?", f)]
        check(f"{name}: numbers are numbers", not odd, odd[:4])
    with zipfile.ZipFile(f"{folder}/out.xlsx") as z:
        parts = [n for n in z.namelist() if re.search(
            "externalLink|hyperlink|vba|macro|embed|connections", n, re.I)]
        check(f"{folder}: parts of the workbook", not parts, parts)
        links = [n for n in z.namelist() if n.endswith(".rels") and
                 b'TargetMode="External"' in z.read(n)]
        check(f"{folder}: the workbook links to nothing", not links, links)
    book = openpyxl.load_workbook(f"{folder}/out.xlsx")
    live = [c.coordinate for s in book for r in s.iter_rows() for c in r
            if c.data_type in "fe" or c.hyperlink]
    check(f"{folder}: nothing in the workbook is computed", not live, live[:4])


def latex(folder):
    text = open(f"{folder}/out.tex", encoding="utf-8").read()
    check(f"{folder}: LaTeX reads and writes nothing", not re.search(
        r"(?<!backslash\{\})\\(input|include|write|openout|immediate|def|"
        r"catcode|csname|endinput|special|read)(?![a-z])\{?(?!ut)",
        text.split("\\begin{document}")[1]), folder)


def judge(folder, wanted):
    terminal(f"{folder}, text", open(f"{folder}/out.txt", "rb").read())
    terminal(f"{folder}, tsv", open(f"{folder}/out.tsv", "rb").read(), True)
    terminal(f"{folder}, LaTeX", open(f"{folder}/out.tex", "rb").read())
    terminal(f"{folder}, HTML", open(f"{folder}/out.html", "rb").read())
    raw = open(f"{folder}/out.json", "rb").read()
    terminal(f"{folder}, JSON", raw)
    json.loads(raw)
    page(folder, wanted)
    sheets(folder)
    latex(folder)


def forms(folder, wanted, *words, ends=(0,)):
    os.makedirs(folder)
    where = [w for f in FORMS for w in ("--" + f.split(":")[0],
             f"{folder}/out.{f.split(':')[1]}")]
    run(*words, *where, "--force", wanted=ends)
    judge(folder, wanted)


def write(name, rows):
    with open(name, "w", newline="", encoding="utf-8") as f:
        csv.writer(f).writerows(rows)


def clinic(labels):
    """The generated clinic with a text of the list for every label."""
    rows = list(csv.reader(open("clinic.csv", encoding="utf-8")))
    at = {n: i for i, n in enumerate(rows[0])}
    seen = {k: {} for k in ("patient", "case", "site")}
    out = [rows[0]]
    for i, r in enumerate(rows[1:]):
        key = {"patient": r[at["patient"]], "case": r[at["case"]],
               "site": tuple(r[at[k]] for k in ("case", "side", "site_no"))}
        n = {k: seen[k].setdefault(key[k], len(seen[k])) for k in key}
        for k in ("patient", "case"):
            turn, which = divmod(n[k], len(labels))
            r[at[k]] = labels[which] + (f" {turn}" if turn else "")
        r[at["operator"]] = labels[n["case"] % len(labels)]
        r[at["needle"]] = labels[n["site"] % len(labels)]
        r[at["method_version"]] = labels[i // 7 % len(labels)]
        out.append(r)
    return out


def labels():
    write("all.csv", clinic([t for t in ALL if "\0" not in t]))
    said = run("load", "--db", "h.db", "--date", "2026-01-05", "--all",
               "all.csv", wanted=(0, 65)).stderr.decode()
    bad = {m for line in said.split("\n") if ": error: " in line
           and "rows-disagree" not in line for m in MARK.findall(line)}
    taken = [t for t in ALL if not bad & set(MARK.findall(t))]
    refused = [t for t in ALL if t not in taken]
    seen = [t for t in refused if not any(
        unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp", "Zs", "Cn", "Co",
                                    "Mn") or ord(c) > 0x7f for c in t)]
    check("labels of plain characters are taken", not seen, seen[:6])
    check("most labels are taken", len(taken) > 200, len(taken))
    write("taken.csv", clinic(taken))
    run("load", "--db", "h.db", "--date", "2026-01-05", "taken.csv")
    return taken


def plan(titles):
    """A review whose every question has such a title, refused early, so that
    three hundred are read at once. A plan's value is the rest of its line."""
    def text():
        return (f"[plan]\ntitle = {titles[0]}\nmin_patients = 10000\n" +
                "".join(f"[q{i:03d}]\ntitle = {t}\noutcome = tnc\n"
                        "judge = concentration\nwithin = site\nmargin = 0.80\n"
                        "compare = aliquot_no 2 against 1\n"
                        f"margin_reason = {t}\n"
                        for i, t in enumerate(titles)))
    titles, n = list(titles), len(titles)
    while len(titles) > 1:
        open("h.plan", "w", encoding="utf-8", newline="").write(text())
        done = run("review", "--quiet", "--db", "d.db", "--plan", "h.plan",
                   "--no-ledger", "--first-page", wanted=(0, 1, 78))
        if done.returncode != 78:
            break
        at = re.match(rb"h\.plan:(\d+)", done.stderr)
        check("a title is refused with its place", at, done.stderr)
        line = int(at.group(1)) if at else 4
        before = text().split("\n")[:line]
        titles.pop(max(sum(x.startswith("[q") for x in before) - 1, 0))
    check("most titles are taken", len(titles) > 0.8 * n, len(titles))
    forms("plan", [re.sub(r"(^|\s)#.*", "", t).strip() for t in titles],
          "review", "--quiet", "--db", "d.db", "--plan", "h.plan", "--date",
          "2026-02-01", "--no-ledger", ends=(0, 1))


def claims(texts):
    """Texts in the words of a claim, as many at once as it has words."""
    base = open("demo.claim", encoding="utf-8").read()
    fields = [r"^(title +=).*", r"^(source +=).*", r"^(margin_reason +=).*",
              r"^(name +=) closed.*", r"^(name +=) open.*",
              r"^(currency +=).*"]
    for turn, start in enumerate(range(0, len(texts), 60)):
        claim = base
        for field, text in zip(fields, texts[start:]):
            text = re.sub(r"[\r\n]", " ", text)
            claim = re.sub(field, lambda m: f"{m.group(1)} {text}", claim,
                           flags=re.M)
        open("h.claim", "w", encoding="utf-8", newline="").write(claim)
        forms(f"claim{turn}", texts[start:start + 1], "claim", "--quiet",
              "--db", "d.db", "--date", "2026-02-01", "--no-ledger", "h.claim")


def printed(texts):
    rows = [["source", "outcome", "judge", "first", "second", "ratio", "low",
             "high", "level", "n", "design", "note"]]
    rows += [[t, "cfu_f", "concentration", "pull 2", "pull 1", "0.50", "0.40",
              "0.62", "0.95", "20", "paired", t] for t in texts]
    write("h.csv", rows)
    forms("pool", texts, "pool", "--printed", "h.csv", "--outcome", "cfu_f",
          "--date", "2026-02-01")


def names(texts):
    """Files of such names, listed by history."""
    taken, files = [], []
    for i, t in enumerate(texts):
        name = t.replace("/", "\u2215").replace("\0", "") + ".csv"
        if name[0] == "-":
            name = "./" + name
        write(name, [["case", "side", "site_no", "aliquot_no",
                      "method_version", "tnc_e6_per_ml"],
                     [CASE[0], CASE[1], CASE[2], CASE[3], f"n{i}", "30.5"]])
        files.append(name)
        taken.append(os.path.basename(name))
    run("load", "--quiet", "--db", "d.db", "--date", "2026-01-05", "--",
        *files)
    forms("history", taken, "history", "--db", "d.db")


def main():
    os.makedirs(sys.argv[1], exist_ok=True)
    demo = os.path.join(os.environ["PERDRAW_SOURCE"], "demo-data")
    os.chdir(sys.argv[1])
    subprocess.run([GENERATE, "--cases", "300", "--out-dir", "."], check=True,
                   stdout=subprocess.DEVNULL)
    open("demo.claim", "w").write(open(f"{demo}/demo.claim").read())
    global CASE
    first = list(csv.DictReader(open("clinic.csv")))[0]
    CASE = [first[k] for k in ("case", "side", "site_no", "aliquot_no")]
    run("load", "--quiet", "--db", "d.db", "--date", "2026-01-05",
        "clinic.csv")
    taken = labels()
    forms("missing", taken, "findings", "--db", "h.db", "--missing", "--date",
          "2026-02-01")
    forms("watch", [], "watch", "--db", "h.db", "--date", "2026-02-01")
    run("findings", "--db", "h.db", "--all")
    plan([t for t in ALL if "\0" not in t])
    printed(ALL)
    claims(taken)
    names([t for t in ALL if "\0" not in t])
    check("nothing was written that nobody asked for",
          not glob.glob("**/taken", recursive=True), "taken")
    check("the database is whole", run("history", "--db", "h.db").stdout
          .decode().count("The audit chain holds") == 1)
    print(f"{count[0]} passed, {count[1]} failed")
    return count[1] > 0


sys.exit(main())
