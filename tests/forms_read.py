"""Reads every form of one result with readers that are not the program's own
and says where they differ. Called by forms.sh in a folder that holds
out.txt out.html out.csv-metadata.json out-N.csv out.tex out.xlsx out.json
out.tsv; argument: the JSON Schema. Prints a line a failure, then the number of
comparisons made.
"""
import collections
import csv
import html.parser
import io
import json
import re
import sys
import urllib.parse
import xml.etree.ElementTree as tree
import zipfile

MINUS, THIN, DASH = "\u2212", "\u202f", "\u2014"
compared = 0
NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)")


def same(what, got, wanted):
    global compared
    compared += 1
    if got != wanted:
        print(f"FAILED: {what}: {got!r} is not {wanted!r}"[:600])


def plain(text):
    """ASCII minus, thousands together."""
    return text.replace(MINUS, "-").replace(THIN, "")


def numbers(text):
    """All numbers in a text, as floats; a dash between words is no minus."""
    text = re.sub(r"(?<=[\w.)])-", " ", plain(text))
    return collections.Counter(float(n) for n in NUMBER.findall(text))


class Page(html.parser.HTMLParser):
    """The tables of a page, as rows of cell texts."""

    def __init__(self):
        super().__init__()
        self.tables, self.cell = [], None

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.cell = ""

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.tables[-1][-1].append(self.cell)
            self.cell = None

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data


def text_tables(text):
    """Table number -> all that the text form prints of it."""
    out, at = {}, None
    for line in text.split("\n"):
        m = re.match(r"Table (\d+)\. ", line)
        if m:
            at = int(m.group(1))
            out[at] = line[m.end():] + "\n"
        elif not line.strip():
            at = None
        elif at is not None:
            out[at] += line + "\n"
    return out


def check_json(document, schema):
    try:
        import jsonschema
    except ImportError:
        print("jsonschema is not installed: the schema is NOT RUN")
        return
    jsonschema.Draft202012Validator.check_schema(schema)
    found = list(jsonschema.Draft202012Validator(schema).iter_errors(document))
    same("JSON against its schema", [e.message for e in found], [])
    broken = dict(document, title=3)
    same("the schema refuses a wrong document",
         len(list(jsonschema.Draft202012Validator(schema)
                  .iter_errors(broken))), 1)


def check_text(tables, text):
    """Every number of a table's cells stands in the text form, and the text
    form has none that the table does not have."""
    shown = text_tables(text)
    same("tables of the text form", sorted(shown), sorted(tables))
    for n, t in tables.items():
        cells = collections.Counter()
        around = numbers(t["caption"] + " " + t["missing"])
        for note in t["notes"]:
            around += numbers(note)
        for c in t["columns"]:
            around += numbers(f"{c['head']} {c['unit'] or ''}")
        for row in t["rows"]:
            around += numbers(row["group"] or "")
            for cell in row["cells"]:
                cells += numbers(cell["text"]) if cell else {}
        printed = numbers(shown.get(n, ""))
        same(f"text, table {n}: numbers not printed",
             {x for x in cells if x not in printed}, set())
        same(f"text, table {n}: numbers from nowhere",
             {x for x in printed if x not in cells and x not in around},
             set())


def check_html(tables, page):
    reader = Page()
    reader.feed(page)
    same("tables of the HTML form", len(reader.tables), len(tables))
    for (n, t), rows in zip(sorted(tables.items()), reader.tables):
        wide = len(t["columns"])
        body = [r for r in rows[1:] if len(r) == wide or wide == 1]
        wanted = [[c["text"] if c else DASH for c in r["cells"]]
                  for r in t["rows"]]
        if wide > 1:
            same(f"HTML, table {n}", body, wanted)


def values(t):
    """Every printed number of a table with its place, from the JSON form."""
    out = []
    for i, row in enumerate(t["rows"]):
        for cell in row["cells"]:
            for part in ("value", "low", "high"):
                if cell and cell.get(part) is not None:
                    out.append((i, float(cell[part])))
    return sorted(out)


def check_values(tables):
    """A value of the JSON form is the number its text starts with."""
    for n, t in tables.items():
        for row in t["rows"]:
            for cell in row["cells"]:
                if not cell or "value" not in cell:
                    continue
                parts = [cell.get(k) for k in ("value", "low", "high")]
                got = collections.Counter(float(p) for p in parts
                                          if p is not None)
                text = re.sub(r"\([0-9.]+% CI, ", "(", cell["text"])
                same(f"JSON, table {n}, '{cell['text']}'", got, numbers(text))


def unguarded(text):
    return text[1:] if re.match(r"'[\s'\ufffd]*[=+\-@\uff1d\uff0b\uff0d\uff20]",
                                text) else text


def check_about(about):
    """What CSV on the Web (W3C, 17 December 2015) asks of a description:
    Metadata Vocabulary for Tabular Data 5.1 to 5.6."""
    same("members of the description", sorted(about),
         ["@context", "dc:title", "tables"])
    same("context", about["@context"],
         ["http://www.w3.org/ns/csvw", {"language": "en"}])
    urls = [t["url"] for t in about["tables"]]
    same("each file once", len(set(urls)), len(urls))
    for t in about["tables"]:
        same("members of a table", set(t) - {"dc:description"},
             {"url", "dc:title", "tableSchema"})
        parts = urllib.parse.urlsplit(t["url"])
        same("the address is a file's name beside it",
             (parts.scheme, parts.netloc, "/" in parts.path), ("", "", False))
        for c in t["tableSchema"]["columns"]:
            same("members of a column", sorted(c),
                 ["datatype", "name", "null", "titles"])
            same("datatype", c["datatype"] in ("string", "decimal"), True)
            # 5.6: a name is a URI template variable and starts with no '_'
            same("name", bool(re.fullmatch(r"[a-z][a-z0-9_]*", c["name"])),
                 True)


def check_csv(tables):
    try:
        about = json.load(open("out.csv-metadata.json", encoding="utf-8"))
    except FileNotFoundError:
        same("tables without a file", sorted(tables), [])
        return {}
    check_about(about)
    same("tables of the CSV form", len(about["tables"]), len(tables))
    grids = {}
    for (n, t), one in zip(sorted(tables.items()), about["tables"]):
        name = urllib.parse.unquote(one["url"])
        same("file's name", name, f"out-{n}.csv")
        raw = open(name, encoding="utf-8", newline="").read()
        same(f"{name}: line ends", raw.count("\r\n"), raw.count("\n"))
        rows = list(csv.reader(io.StringIO(raw, newline=""), strict=True))
        columns = one["tableSchema"]["columns"]
        same(f"{name}: heads", rows[0], [c["titles"] for c in columns])
        names = [c["name"] for c in columns]
        same(f"{name}: names once", len(set(names)), len(names))
        same(f"{name}: rows", len(rows) - 1, len(t["rows"]))
        same(f"{name}: widths", {len(r) for r in rows}, {len(columns)})
        got = []
        for i, row in enumerate(rows[1:]):
            for c, field in zip(columns, row):
                if c["datatype"] == "decimal":
                    if field:
                        same(f"{name}: a decimal", bool(re.fullmatch(
                            r"-?\d+(\.\d+)?", field)), True)
                        got.append((i, float(field)))
                else:
                    same(f"{name}: no formula", bool(re.match(
                        r"\s*[=+\-@\t\r]", field)), False)
        same(f"{name}: numbers", sorted(got), values(t))
        grids[n] = (columns, rows)
    return grids


def check_xlsx(tables, grids):
    try:
        import openpyxl
    except ImportError:
        print("openpyxl is not installed: the workbook is read as XML only")
        with zipfile.ZipFile("out.xlsx") as z:
            same("the workbook's archive", z.testzip(), None)
            for name in z.namelist():
                if name.endswith((".xml", ".rels")):
                    tree.fromstring(z.read(name))
            same("sheets", len([n for n in z.namelist()
                                if n.startswith("xl/worksheets/sheet")]),
                 len(tables) + 1)
        return
    # This reader takes every "x005F_" away and leaves other escapes alone.
    book = openpyxl.load_workbook("out.xlsx")
    same("sheets", book.sheetnames,
         ["Notes"] + [f"Table {n}" for n in sorted(tables)])
    for n, (columns, rows) in grids.items():
        sheet = book[f"Table {n}"]
        same(f"sheet {n}: heads frozen", sheet.freeze_panes, "A2")
        for i, row in enumerate(rows):
            for k, field in enumerate(row):
                cell = sheet.cell(row=i + 1, column=k + 1)
                if i and columns[k]["datatype"] == "decimal":
                    same(f"sheet {n} {cell.coordinate}", cell.value,
                         float(field) if field else None)
                else:
                    same(f"sheet {n} {cell.coordinate}",
                         (cell.value or "", cell.data_type == "f"),
                         (unguarded(field).replace("x005F_", ""), False))
    words = [c.value for c in book["Notes"]["B"]]
    for n, t in tables.items():
        same(f"notes: caption of table {n}", t["caption"] in words, True)


def from_latex(text):
    """A LaTeX cell's words again."""
    for mark, sign in (("\\textemdash{}", DASH), ("$-$", MINUS),
                       ("\\,", THIN), ("\\%", "%"), ("\\textless{}", "<"),
                       ("\\textgreater{}", ">")):
        text = text.replace(mark, sign)
    text = re.sub(r"\$\^\{(\d)\}\$", r" ", text)
    text = re.sub(r"\\perdrawchar\{[0-9A-F]+\}|\\char\d+", "?", text)
    return text.replace("\\allowbreak{}", "").replace("{}", "")


def check_latex(tables, text):
    same("LaTeX is ASCII-clean of controls",
         re.search("[\x00-\x08\x0b-\x1f\x7f]", text), None)
    for n, t in tables.items():
        m = re.search(rf"% ---- table {n} begins\n(.*?)% ---- table {n} ends",
                      text, re.S)
        same(f"LaTeX, table {n} is there", bool(m), True)
        if not m:
            continue
        body = re.search(r"\\endfoot\n(.*?)\\end\{longtable\}", m.group(1),
                         re.S).group(1)
        body = body.replace("\\addlinespace[3pt]\n", "")
        rows = [r for r in re.split(r" \\tabularnewline\*?\n", body) if r
                and not r.startswith("\\multicolumn")]
        same(f"LaTeX, table {n}: rows", len(rows), len(t["rows"]))
        for r, row in zip(rows, t["rows"]):
            cells = re.split(r"(?<!\\)&", r)
            for got, cell in zip(cells, row["cells"]):
                wanted = cell["text"] if cell else ""
                wanted = re.sub("[\u2070-\u2079\u00b2\u00b3\u00b9]+", " ",
                                wanted)
                same(f"LaTeX, table {n}, '{wanted}'",
                     numbers(from_latex(got)), numbers(wanted))


def main():
    def read(name):
        return open(name, encoding="utf-8").read()

    def never(name):
        raise ValueError(f"{name} is not JSON")

    document = json.loads(read("out.json"), parse_constant=never)
    check_json(document, json.loads(read(sys.argv[1])))
    tables = {b["number"]: b for b in document["blocks"]
              if b["kind"] == "table"}
    check_values(tables)
    check_text(tables, read("out.txt"))
    check_html(tables, read("out.html"))
    grids = check_csv(tables)
    check_xlsx(tables, grids)
    check_latex(tables, read("out.tex"))
    print(f"compared {compared}")


main()
