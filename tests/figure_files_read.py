#!/usr/bin/python3
"""Reads a folder of figure files back: SVG as XML, PNG chunk by chunk, PDF by
the tools of poppler and qpdf where they are installed. Prints a line starting
with FAILED for each thing unsound, and how many files were read at the end.

  figure_files_read.py FOLDER DATE     DATE: of the reading, YYYY-MM-DD
"""
import os
import re
import shutil
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
import zlib

SVG = "{http://www.w3.org/2000/svg}"
LIGHT = {"none", "#ffffff", "#1c2430", "#556070", "#2b3442", "#d9dde3",
         "#e9e4d3", "#005f96", "#a33f00", "#00664a", "#574b73", "#4d5867",
         "#111722", "#bcd7ea"}
# Ascent and descent of DejaVu Sans, as its hhea table has them, a unit high.
FONT_HEIGHT = (1901 + 483) / 2048


def check(good, *words):
    if not good:
        print("FAILED:", *words)
    return good


def luminance(text):
    part = [int(text[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    part = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
            for v in part]
    return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2]


def read_svg(path):
    """(title, description, every text) of the drawing."""
    root = ET.parse(path).getroot()
    check(root.tag == SVG + "svg", path, "is no SVG")
    check(root.get("role") == "img", path, "has no role")
    ids = {e.get("id") for e in root.iter() if e.get("id")}
    check(set(root.get("aria-labelledby", "x").split()) == ids, path,
          "does not name its title and description")
    title = root.findtext(SVG + "title") or ""
    desc = root.findtext(SVG + "desc") or ""
    check(title.strip() and desc.strip(), path, "has no title or description")
    texts = [e.text or "" for e in root.iter(SVG + "text")]
    check(len(texts) > 3, path, "has no text")
    for e in root.iter():
        check(not e.get("class") and not e.get("style"), path,
              "needs a style sheet")
        for name in ("fill", "stroke"):
            check(e.get(name, "none") in LIGHT, path, "is not light:",
                  e.get(name))
        if e.tag == SVG + "text":
            own = 1.05 / (luminance(e.get("fill")) + 0.05)
            on_dark = e.get("fill") == "#ffffff"
            check(own >= 4.5 or on_dark, path, "pale text", e.text)
        check(e.tag.startswith(SVG), path, "holds", e.tag)
    return title, desc, texts


def read_png(path, width_mm, title):
    data = open(path, "rb").read()
    check(data[:8] == b"\x89PNG\r\n\x1a\n", path, "is no PNG")
    at, chunks, dots = 8, [], b""
    while at < len(data):
        size, = struct.unpack(">I", data[at:at + 4])
        kind, body = data[at + 4:at + 8], data[at + 8:at + 8 + size]
        crc, = struct.unpack(">I", data[at + 8 + size:at + 12 + size])
        check(zlib.crc32(kind + body) == crc, path, kind, "check sum")
        chunks.append((kind, body))
        if kind == b"IDAT":
            dots += body
        at += 12 + size
    kinds = [k for k, _ in chunks]
    check(kinds[0] == b"IHDR" and kinds[-1] == b"IEND", path, "order", kinds)
    check(kinds.count(b"pHYs") == 1 and b"tIME" not in kinds, path, kinds)
    wide, high, depth, colour = struct.unpack(">IIBB", chunks[0][1][:10])
    check(wide == round(width_mm / 25.4 * 600), path, "width", wide)
    check(kinds.index(b"pHYs") < kinds.index(b"IDAT"), path, "pHYs is late")
    physical = struct.unpack(">IIB", dict(chunks)[b"pHYs"])
    check(physical == (23622, 23622, 1), path, "physical size", physical)
    words = dict(body.split(b"\0", 1) for k, body in chunks if k == b"iTXt")
    check(words.get(b"Title", b"").endswith(b"\0" + title.encode()), path,
          "title", words.get(b"Title"))
    check(b"Description" in words, path, "description")
    check((depth, colour) == (8, 2), path, "depth and colour")
    rows = zlib.decompress(dots)
    check(len(rows) == high * (3 * wide + 1), path, "dots")
    check(rows.count(255) < 0.999 * len(rows), path, "is empty")
    return wide, high


def run(path, *command):
    done = subprocess.run(command, capture_output=True, check=False)
    check(done.returncode == 0, path, command[0],
          done.stderr.decode()[:200], done.stdout.decode()[:200])
    return done.stdout.decode()


def has(tool):
    if not shutil.which(tool):
        NOT_RUN.add(tool)
        return False
    return True


NOT_RUN = set()


def read_pdf(path, width_mm, title, texts, day):
    data = open(path, "rb").read()
    check(data.startswith(b"%PDF-1.") and data.rstrip().endswith(b"%%EOF"),
          path, "is no PDF")
    if has("qpdf"):
        run(path, "qpdf", "--check", path)
        plain = subprocess.run(["qpdf", "--qdf", "--object-streams=disable",
                                path, "-"], capture_output=True, check=True)
        lines = [float(w) for w in
                 re.findall(rb"(?:^|\s)(\d*\.?\d+) w\s", plain.stdout)]
        check(lines and min(lines) >= 0.4999, path, "thin line",
              min(lines, default=None))
        check(b"/Subtype /Image" not in plain.stdout, path,
              "holds an image of dots")
    if has("pdfinfo"):
        info = dict(line.split(":", 1) for line in
                    run(path, "env", "TZ=UTC", "pdfinfo", "-isodates", path)
                    .splitlines() if ":" in line)
        check(info["Title"].strip() == title, path, "title", info["Title"])
        check(info.get("Subject", "").strip(), path, "has no description")
        check(info["CreationDate"].strip().startswith(day), path, "date",
              info["CreationDate"])
        check(info["Pages"].strip() == "1", path, "pages")
        wide = float(info["Page size"].split()[0])
        check(abs(wide - width_mm / 25.4 * 72) < 0.01, path, "width", wide)
    if has("pdffonts"):
        for line in run(path, "pdffonts", path).splitlines()[2:]:
            check(re.match(r"[A-Z]{6}\+DejaVuSans(-Bold)? ", line), path,
                  "font", line)
            check(" yes yes yes " in line, path, "font", line)
    if has("pdftotext"):
        page = run(path, "pdftotext", "-bbox", path, "-")
        box = re.findall(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" '
                         r'xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>',
                         page)
        check(box, path, "has no words")
        for x0, y0, x1, y1, word in box:
            wide, high = float(x1) - float(x0), float(y1) - float(y0)
            # of text turned on its side the box stands
            size = wide if high > 1.5 * wide else high
            if len(word) > 2:
                check(size >= 7 * FONT_HEIGHT - 0.02, path, "small text",
                      word, size)
            check(float(x0) >= -1 and float(x1) <= width_mm / 25.4 * 72 + 1,
                  path, "text leaves the page:", word, x0, x1)
        words = set(run(path, "pdftotext", path, "-").split())
        wanted = {w for t in texts for w in t.split()}
        lost = {w for w in wanted - words if w.isascii() and len(w) > 2}
        check(len(lost) <= len(wanted) * 0.1, path, "text lost:",
              sorted(lost)[:8])


def main():
    folder, day = sys.argv[1:3]
    names = sorted(os.listdir(folder))
    listing = open(os.path.join(folder, "figures.txt"),
                   encoding="utf-8").read()
    heads = dict(re.findall(r"^Figure (\d+)\. (.*)", listing, re.M))
    figures = {}
    for name in names:
        at = re.fullmatch(r"figure-(\d+)\.svg", name)
        if at:
            figures[at[1]] = read_svg(os.path.join(folder, name))
    check(set(figures) == set(heads), "the list differs from the files")
    for name in names:
        at = re.fullmatch(r"figure-(\d+)-(85|174)mm\.(pdf|png)", name)
        path = os.path.join(folder, name)
        if not at:
            check(name == "figures.txt" or name.endswith(".svg"), "stray",
                  name)
            continue
        title, _, texts = figures[at[1]]
        check(title.startswith(heads[at[1]][:40]), name, "title")
        check(name in listing, name, "is not in the list")
        if at[3] == "png":
            read_png(path, int(at[2]), title)
        else:
            read_pdf(path, int(at[2]), title, texts, day)
    for tool in sorted(NOT_RUN):
        print(tool, "is not installed: what it checks is NOT RUN")
    print("read", len(names))


main()
