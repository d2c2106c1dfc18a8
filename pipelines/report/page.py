"""Pieces of the report page: sections, tables, figures, and how they look."""

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

# Results as they are printed.
SYMBOLS = {
    "w": "<i>w</i>",
    "m_x": "<i>m</i><sub>x</sub>",
    "m_y": "<i>m</i><sub>y</sub>",
    "m_xy": "<i>m</i><sub>xy</sub>",
    "q_x": "<i>q</i><sub>x</sub>",
    "q_y": "<i>q</i><sub>y</sub>",
}

CSS = """
:root { --ink: #1d1d1b; --soft: #5b5b57; --rule: #c9c5ba; --paper: #fffefb; --tint: #f4f2ec;
  --warn: #8c2d04; }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 system-ui, "Segoe UI", Roboto, "Liberation Sans", Arial, sans-serif; }
header, main, footer { max-width: 1540px; margin: 0 auto; padding: 0 20px; }
header { padding-top: 28px; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0 0 4px; }
h2 { font-size: 1.35rem; margin: 2.6rem 0 0.6rem; padding-top: 0.6rem;
  border-top: 2px solid var(--ink); }
h3 { font-size: 1.05rem; margin: 1.8rem 0 0.5rem; }
p { max-width: 46rem; }
.lead { color: var(--soft); margin: 0 0 12px; }
.caution { border-left: 5px solid var(--warn); background: #fbf1ea; padding: 10px 16px;
  margin: 16px 0; max-width: none; }
.caution p, .caution ul { margin: 4px 0; max-width: none; }
nav { font-size: 0.92rem; margin: 14px 0; }
nav ol { columns: 3 15rem; padding-left: 1.4rem; margin: 4px 0; }
a { color: #1f4e79; }
figure { margin: 1.2rem 0 1.6rem; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
figcaption { font-size: 0.88rem; color: var(--soft); max-width: 60rem; }
figcaption strong { color: var(--ink); }
.scroll { overflow-x: auto; margin: 0.6rem 0 1.2rem; }
.tall { max-height: 36rem; overflow-y: auto; border-bottom: 1px solid var(--rule); }
.tall thead th { position: sticky; top: 0; background: var(--paper); }
table { border-collapse: collapse; font-size: 0.84rem; line-height: 1.35;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: 600; padding: 4px 0; }
th, td { padding: 3px 8px 3px 0; text-align: left; vertical-align: top;
  border-bottom: 1px solid var(--rule); }
thead th { border-bottom: 1.5px solid var(--ink); font-weight: 600; vertical-align: bottom; }
tbody th { font-weight: 500; }
.n { text-align: right; } td.n { white-space: nowrap; } .w { min-width: 8rem; }
.t { white-space: nowrap; }
.short { color: var(--warn); font-weight: 600; }
ul.plain { padding-left: 1.2rem; max-width: 60rem; }
footer { color: var(--soft); font-size: 0.85rem; margin: 3rem auto 2rem; }
code { font-size: 0.92em; overflow-wrap: anywhere; }
caption span { display: block; position: sticky; left: 0; max-width: calc(100vw - 40px); }
@media screen and (max-width: 760px) {
  figure { overflow-x: auto; } figure svg { width: max(100%, 40rem); }
  tbody th { min-width: 4rem; } td:not(.n) { min-width: 7rem; }
  figcaption { position: sticky; left: 0; max-width: calc(100vw - 40px); }
}
@media print {
  caption span { max-width: none; }
  @page { size: A4 landscape; margin: 12mm; }
  body { font-size: 10pt; background: none; }
  header, main, footer { max-width: none; padding: 0; }
  nav, #explore { display: none; }
  figure svg { max-height: 132mm; } figcaption { break-before: avoid; }
  h2 { break-after: avoid; } h3, caption { break-after: avoid; }
  table { font-size: 7.5pt; } tr { break-inside: avoid; }
  .scroll, .tall { overflow: visible; max-height: none; }
  .tall thead th { position: static; }
  .own-page { break-before: page; }
}
"""

CSS += (Path(__file__).parent / "assets" / "explorer.css").read_text(encoding="utf-8")


def text(value: object) -> str:
    """Plain text made safe for the page."""
    return escape(str(value), quote=True)


def together(words: str) -> str:
    """Plain text that is not broken over lines."""
    return f'<span class="t">{text(words)}</span>'


def paragraph(words: str) -> str:
    """A paragraph of plain text."""
    return f"<p>{text(words)}</p>"


def bullets(rows: Iterable[str]) -> str:
    """A list of plain sentences."""
    return '<ul class="plain">' + "".join(f"<li>{text(r)}</li>" for r in rows) + "</ul>"


def section(name: str, title: str, *parts: str) -> str:
    """A section with an address and a heading."""
    body = "\n".join(part for part in parts if part)
    heading = f'<h2 id="{name}-title">{text(title)}</h2>'
    return f'<section id="{name}" aria-labelledby="{name}-title">\n{heading}\n{body}\n</section>'


def figure(name: str, svg: str, caption: str) -> str:
    """A drawing with its caption (HTML)."""
    return f'<figure id="{name}">\n{svg}\n<figcaption>{caption}</figcaption>\n</figure>'


def table(
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    numeric: Iterable[int] = (),
    wide: Iterable[int] = (),
    tall: bool = False,
) -> str:
    """A table of HTML cells; the first cell of each row heads it.

    numeric : columns set to the right; wide : columns of text that are kept from getting narrow;
    tall : whether the table scrolls in its own window on a screen.
    """
    right, broad = set(numeric), set(wide)

    def css(k: int) -> str:
        return ' class="n"' if k in right else ' class="w"' if k in broad else ""

    head = "".join(f'<th scope="col"{css(k)}>{h}</th>' for k, h in enumerate(heads))
    body = []
    for row in rows:
        first, *others = row
        cells = "".join(f"<td{css(k)}>{c}</td>" for k, c in enumerate(others, start=1))
        body.append(f'<tr><th scope="row"{css(0)}>{first}</th>{cells}</tr>')
    wrap = "scroll tall" if tall else "scroll"
    return (
        f'<div class="{wrap}" tabindex="0" role="region" aria-label="{text(caption)}">'
        f"<table><caption><span>{text(caption)}</span></caption><thead><tr>{head}</tr></thead>\n<tbody>"
        + "\n".join(body)
        + "</tbody></table></div>"
    )


def page(title: str, header: str, contents: Sequence[tuple[str, str]], body: str, end: str) -> str:
    """The whole document; contents : (address, heading) of the sections."""
    links = "".join(f'<li><a href="#{name}">{text(words)}</a></li>' for name, words in contents)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{text(title)}</title>
<style>{CSS}</style>
</head>
<body>
<header>
{header}
<nav aria-label="Contents"><ol>{links}</ol></nav>
</header>
<main>
{body}
</main>
<footer>{end}</footer>
</body>
</html>
"""
