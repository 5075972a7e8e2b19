"""The page of a result sheet: its look, and its pieces as HTML. Everything that comes in as text stays text."""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from collections.abc import Collection, Sequence
from html import escape

_BEFORE_DATA = "data:image/png;base64,"
_DATA = re.compile(re.escape(_BEFORE_DATA) + r"([^\"]*)")

# Controls that no page may hold, and marks of the direction of writing.
_HIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
ROWS_KEPT_TOGETHER = 20  # on paper; a longer table goes over pages, its head on each
OPENING = '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'

STYLE = """
:root { color-scheme: light dark; --paper: #fdfdfc; --ink: #1d2327; --soft: #59646b; --rule: #c9cfd3; --panel: #f0f3f4;
  --mark: #0b5f95; --warn: #a04300; }
@media (prefers-color-scheme: dark) { :root { --paper: #15191c; --ink: #e4e8ea; --soft: #a3adb3; --rule: #3d464c;
  --panel: #1e2428; --mark: #6db7e6; --warn: #f0a060; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 54rem; padding: 1.5rem 1.25rem 3rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif; overflow-wrap: break-word; }
header { border-bottom: 3px solid var(--ink); margin-bottom: 1.25rem; }
header p { margin: 0 0 .6rem; }
h1 { font-size: 1.45rem; line-height: 1.25; margin: .2rem 0 .6rem; }
h2 { font-size: 1.08rem; margin: 2rem 0 .6rem; padding-top: .45rem; border-top: 1px solid var(--rule);
  break-after: avoid; }
h3 { font-size: .95rem; margin: 1rem 0 .3rem; break-after: avoid; }
.kind { color: var(--soft); font-size: .85rem; letter-spacing: .04em; }
.remark { color: var(--warn); font-weight: 600; }
.claim { border-left: 5px solid var(--mark); background: var(--panel); padding: .8rem 1rem; margin: 0 0 .8rem; }
.claim p { margin: 0 0 .5rem; } .claim p:first-child { font-size: 1.15rem; line-height: 1.4; font-weight: 600; }
.claim p:last-child { margin: 0; }
ul { margin: .3rem 0; padding-left: 1.25rem; } li { margin: .15rem 0; }
figure { margin: .8rem 0; break-inside: avoid; }
figure img { display: block; width: 100%; height: auto; background: #fff; border: 1px solid var(--rule);
  border-radius: 3px; padding: .5rem; }
figure.half { max-width: 42rem; }
figcaption, caption { color: var(--soft); font-size: .85rem; text-align: left; padding: .3rem 0; }
.wide { overflow-x: auto; margin: .6rem 0 1rem; }
table { border-collapse: collapse; font-size: .88rem; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: .22rem .9rem .22rem 0; border-bottom: 1px solid var(--rule); }
thead th { border-bottom: 2px solid var(--ink); vertical-align: bottom; }
tbody th { font-weight: 600; }
td.n + td:not(.n), th.n + th:not(.n) { padding-left: .5rem; }
td.n { text-align: right; white-space: nowrap; } th.n { text-align: right; }
.small td:nth-child(2) { min-width: 4.6em; }
tbody th { min-width: 6em; } td:not(.n) { min-width: 8em; }
.small table { font-size: .78rem; } .small th, .small td { padding-right: .6rem; min-width: 0; }
.runs td:nth-child(2) { white-space: nowrap; } .runs td:nth-child(3) { min-width: 13em; }
.runs td:nth-child(7) { min-width: 6em; }
figure.narrow { max-width: 34rem; }
.words td { max-width: 38rem; } .words table { width: auto; }
.budget table { font-size: .82rem; } .budget td:nth-child(2) { min-width: 0; }
.budget td:nth-last-child(2) { min-width: 11em; } .budget td:last-child { min-width: 10em; }
.budget tbody tr:last-child { border-top: 2px solid var(--ink); font-weight: 600; }
.choices td:last-child { min-width: 14.5em; }
.seal td { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .72rem; word-break: break-all; }
.printed { color: var(--soft); font-size: .78rem; word-break: break-all; }
.keys { columns: 2 20rem; column-gap: 2rem; } .keys > div { break-inside: avoid; margin-top: 0; }
.beside { display: flex; flex-wrap: wrap; gap: 0 1.5rem; align-items: start; }
.beside figure { flex: 1 1 19rem; max-width: 30rem; } .beside .wide { flex: 0 1 auto; max-width: 100%; }
.hash th, .hash td { padding-top: .08rem; padding-bottom: .08rem; font-size: .78rem; }
.hash td { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .72rem; word-break: break-all; }
code, pre { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .9em; }
pre { background: var(--panel); padding: .6rem .8rem; overflow-x: auto; }
@media screen and (max-width: 36rem) { body { padding: 1rem .8rem 2rem; } h1 { font-size: 1.2rem; }
  .claim p:first-child { font-size: 1.05rem; } figure { overflow-x: auto; } figure img { padding: .2rem; }
  figure.page img, figure.whole img { min-width: 36rem; }
  tbody th { min-width: 7.5em; } .choices tbody th { min-width: 10em; }
  .budget table, .budget caption, .budget thead, .budget tbody { display: block; }
  .budget tr { display: flex; flex-wrap: wrap; border-bottom: 1px solid var(--rule); }
  .budget th, .budget td { border: none; min-width: 0; padding-right: .15rem; }
  .budget table { font-size: .76rem; } .budget thead th { font-size: .66rem; }
  .budget tr > :first-child { flex: 0 0 4.6rem; }
  .budget tr > :nth-child(2) { flex: 0 0 2rem; } .budget tr > :nth-child(3) { flex: 0 0 2.2rem; }
  .budget tr > .n:nth-child(n+4) { flex: 0 0 3.45rem; } .wide.budget tr > :nth-last-child(-n+2) { flex: 1 1 100%;
  padding-left: 0; } .budget td:last-child { font-style: italic; padding-bottom: .5rem; } }
@page { size: A4; margin: 15mm 15mm 17mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 8pt sans-serif; } }
@media print { :root { color-scheme: light; --paper: #fff; --ink: #000; --soft: #444; --rule: #bbb; --panel: #f2f2f2;
  --mark: #0b5f95; --warn: #8a3a00; font-size: 9.5pt; }
  body { max-width: none; padding: 0; line-height: 1.38; } h2 { margin-top: 1.2rem; }
  .wide { overflow: visible; } .wide:not(.long), .beside, tr, li, .claim { break-inside: avoid; }
  thead { display: table-header-group; } caption, thead { break-after: avoid; }
  figure img { border: none; padding: 0; max-width: 165mm; } figure.half { max-width: 125mm; }
  figure.page img { max-height: 225mm; width: auto; max-width: 100%; } .beside figure { flex-basis: 72mm; } }
"""


def safe(text: str) -> str:
    """Make text harmless on a page: markup stays text, and marks that turn the order of reading are shown.

    Parameters
    ----------
    text : str
        Of a user.

    Returns
    -------
    str
        HTML. A mark that would show the digits of a number in another order stands as its code point.

    Examples
    --------
    >>> safe("<b>"), safe("K\u202e01")
    ('&lt;b&gt;', 'K[U+202E]01')
    """
    return _HIDDEN.sub(lambda mark: f"[U+{ord(mark[0]):04X}]", escape(text))


def page(title: str, header: str, sections: Sequence[str]) -> str:
    """Put the whole page together.

    Parameters
    ----------
    title : str
        Title of the window.
    header : str
        HTML of the head of the page.
    sections : sequence of str
        HTML of its sections, in order.

    Returns
    -------
    str
        A complete document that loads nothing from anywhere.
    """
    return (
        f"{OPENING}"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{safe(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        f"<header>\n{header}\n</header>\n<main>\n" + "\n".join(sections) + "\n</main>\n</body>\n</html>\n"
    )


def section(heading: str, *parts: str) -> str:
    """Make a section with its heading.

    Parameters
    ----------
    heading : str
        Text.
    *parts : str
        HTML; empty parts are passed over.

    Returns
    -------
    str
        HTML, or nothing at all if there is no part.
    """
    content = "\n".join(part for part in parts if part)
    return f"<section>\n<h2>{safe(heading)}</h2>\n{content}\n</section>" if content else ""


def subsection(heading: str, *parts: str) -> str:
    """Make a part of a section with its own heading.

    Parameters
    ----------
    heading : str
        Text.
    *parts : str
        HTML; empty parts are passed over.

    Returns
    -------
    str
        HTML, or nothing at all if there is no part.
    """
    content = "\n".join(part for part in parts if part)
    return f"<h3>{safe(heading)}</h3>\n{content}" if content else ""


def paragraph(text: str, kind: str = "") -> str:
    """Make a paragraph.

    Parameters
    ----------
    text : str
        Text.
    kind : str
        Class of the look.

    Returns
    -------
    str
        HTML, or nothing for no text.
    """
    look = f' class="{kind}"' if kind else ""
    return f"<p{look}>{safe(text)}</p>" if text else ""


def bullets(lines: Sequence[str]) -> str:
    """Make a list.

    Parameters
    ----------
    lines : sequence of str
        Text of its points.

    Returns
    -------
    str
        HTML, or nothing for no lines.
    """
    items = "".join(f"<li>{safe(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def table(
    caption: str,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    numbers: Collection[int] = (),
    kind: str = "",
) -> str:
    """Make a table whose first column names the rows.

    Parameters
    ----------
    caption : str
        What the table shows.
    head : sequence of str
        Names of the columns.
    rows : sequence of sequence of str
        Text of the cells.
    numbers : collection of int
        Columns of numbers, from 0; set flush right.
    kind : str
        Further class of the look.

    Returns
    -------
    str
        HTML; a wide table scrolls inside its own box.
    """
    look = ['class="n" ' if i in numbers else "" for i in range(len(head))]
    top = "".join(f'<th {look[i]}scope="col">{safe(name)}</th>' for i, name in enumerate(head))
    body = "\n".join(
        "<tr>"
        + "".join(
            f'<th {look[i]}scope="row">{safe(cell)}</th>'
            if i == 0
            else f"<td {look[i]}".rstrip() + f">{safe(cell)}</td>"
            for i, cell in enumerate(row)
        )
        + "</tr>"
        for row in rows
    )
    classes = f"wide {kind}".strip() + (" long" if len(rows) > ROWS_KEPT_TOGETHER else "")
    return (
        f'<div class="{classes}" role="region" aria-label="{safe(caption)}" tabindex="0"><table>'
        f"<caption>{safe(caption)}</caption>\n<thead><tr>{top}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def picture(png: bytes, alt: str, caption: str, kind: str = "") -> str:
    """Make a figure with its picture inside the page.

    Parameters
    ----------
    png : bytes
        Content of the PNG file.
    alt : str
        What the picture shows, for those who do not see it.
    caption : str
        Text below it.
    kind : str
        Class of the look: ``narrow``, ``half``, ``whole`` or ``page``, by how much room the picture wants.

    Returns
    -------
    str
        HTML.
    """
    look = f' class="{kind}"' if kind else ""
    data = b64encode(png).decode("ascii")
    return (
        f'<figure{look}><img src="{_BEFORE_DATA}{data}" alt="{safe(alt)}">'
        f"<figcaption>{safe(caption)}</figcaption></figure>"
    )


def without_pictures(document: str) -> str:
    """Take the content of all pictures out of a page.

    Parameters
    ----------
    document : str
        HTML of a page with its pictures inside.

    Returns
    -------
    str
        The same page with empty pictures.
    """
    return _DATA.sub(_BEFORE_DATA, document)


def pictures_on(document: str) -> list[bytes]:
    """Take the pictures off a page.

    Parameters
    ----------
    document : str
        HTML of a page with its pictures inside.

    Returns
    -------
    list of bytes
        Content of the PNG files in the order of the page; b"" for one that is none.
    """
    found = []
    for match in _DATA.finditer(document):
        try:
            found.append(b64decode(match[1], validate=True))
        except ValueError:
            found.append(b"")
    return found
