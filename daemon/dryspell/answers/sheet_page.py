"""An HTML page that stands by itself: nothing in it from elsewhere, everything escaped, to print on A4."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

NUMBER, WORD, TEXT = "n", "w", ""
"""Kinds of columns: figures at the right, words that stay in one line, text that wraps."""

_STYLE = """
@page { size: A4 landscape; margin: 11mm 12mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 8mm; max-width: 285mm; color: #1c1c1c; background: #fff;
  font: 9pt/1.4 "Noto Sans", "DejaVu Sans", "Segoe UI", Arial, sans-serif; }
@media print { body { padding: 0; max-width: none; font-size: 8.4pt; line-height: 1.35; } }
h1 { font-size: 17pt; font-weight: 600; margin: 0 0 1mm; overflow-wrap: anywhere; }
h2 { font-size: 11pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 1.5mm 0; max-width: 230mm; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0.5mm 6mm; margin: 4mm 0 0; max-width: 250mm; }
dt { color: #555; }
dd { margin: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { text-align: left; vertical-align: bottom; font-weight: 600; border-bottom: 1.2pt solid #1c1c1c; }
td { vertical-align: top; border-top: 0.4pt solid #bbb; overflow-wrap: break-word; }
th, td { padding: 0.9mm 4mm 0.9mm 0; }
tr.same td { border-top: none; padding-top: 0; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
td.n, td.w { white-space: nowrap; }
tr.off td { color: #666; }
.aside { color: #5a5a5a; }
sup { font-size: 6.5pt; line-height: 0; color: #5a5a5a; margin-left: 0.3mm; }
ul { margin: 0; padding-left: 5mm; max-width: 250mm; }
li { margin: 0 0 0.5mm; overflow-wrap: anywhere; }
.keep { break-inside: avoid; }
"""


@dataclass(frozen=True)
class Line:
    """A line of a table; its cells are HTML already.

    `same` says that it goes on with the line above, `off` that it does not count.
    """

    cells: Sequence[str]
    same: bool = False
    off: bool = False


def page(title: str, body: Iterable[str]) -> str:
    """Return a page; its title is plain text, its body is HTML."""
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
            f"<title>{escape(title)}</title>",
            f"<style>{_STYLE}</style>",
            "</head>",
            "<body><main>",
            *body,
            "</main></body>",
            "</html>",
            "",
        )
    )


def table(columns: Sequence[tuple[str, str]], lines: Iterable[Line]) -> str:
    """Return a table.

    Parameters
    ----------
    columns
        The heading of each, plain text, and its kind.
    """

    def tag(name: str, kind: str, content: str) -> str:
        of_kind = f' class="{kind}"' if kind else ""
        return f"<{name}{of_kind}>{content}</{name}>"

    heads = "".join(tag("th", kind, escape(head)) for head, kind in columns)
    rows = []
    for line in lines:
        marks = " ".join(mark for mark, there in (("same", line.same), ("off", line.off)) if there)
        cells = "".join(tag("td", kind, cell) for (_, kind), cell in zip(columns, line.cells, strict=True))
        rows.append(f'<tr class="{marks}">{cells}</tr>' if marks else f"<tr>{cells}</tr>")
    return "\n".join(("<table>", f"<thead><tr>{heads}</tr></thead>", "<tbody>", *rows, "</tbody>", "</table>"))


def bullets(texts: Iterable[str]) -> str:
    """Return a list of plain texts."""
    return "\n".join(("<ul>", *(f"<li>{escape(text)}</li>" for text in texts), "</ul>"))


def aside(text: str) -> str:
    """Return a paragraph of plain text that stands back."""
    return f'<p class="aside">{escape(text)}</p>'


def facts(told: Iterable[tuple[str, str]]) -> str:
    """Return facts with their names, both plain text; empty ones are left out."""
    pairs = "\n".join(f"<dt>{escape(name)}</dt><dd>{escape(fact)}</dd>" for name, fact in told if fact)
    return f"<dl>\n{pairs}\n</dl>"


def mark(text: str) -> str:
    """Return a mark that stands high after a figure."""
    return f"<sup>{escape(text)}</sup>" if text else ""
