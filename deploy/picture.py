"""Draws the picture in the README, deploy/picture.svg, from what the demo really prints."""  # noqa: INP001  (a script)

import re
from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from dryspell.bundled import bundled
from dryspell.cli.demo import Scenario
from dryspell.config import load

PICTURE = Path(__file__).with_name("picture.svg")
NOW = datetime.fromisoformat("2026-09-03T11:15+02:00")
COMMAND = "$ sh deploy/try --once"

CELL_W, CELL_H, SIZE, EDGE, COLUMNS = 8.4, 19.0, 14.0, 20.0, 80
PAPER, INK = "#14171c", "#d6dae0"
INKS = {"31": "#ff7b72", "32": "#56d364", "33": "#e3b341", "35": "#d2a8ff", "36": "#76e3ea"}
_CODE = re.compile(r"\x1b\[([\d;]*)m")

Mark = tuple[str, str, bool, bool]
"""A character with its ink, and whether it is bold and dim."""


def printed() -> list[str]:
    """Return the lines to draw: the verdicts, the first piece, and what the marks mean."""
    scenario = Scenario(load(bundled("demo.toml")), NOW)
    lines = scenario.once(as_json=False, colour=True).splitlines()
    plain = [_CODE.sub("", line) for line in lines]
    rules = [i for i, line in enumerate(plain) if line.startswith("──")]
    legend = next(i for i, line in enumerate(plain) if line.startswith("█ "))
    return [COMMAND, "", *lines[: rules[1] - 1], "  ...", "", *lines[legend : plain.index("", legend)]]


def marks(line: str) -> Iterator[Mark]:
    """Yield the characters of a line with the style its escape codes give them."""
    ink, bold, dim, at = INK, False, False, 0
    for code in [*_CODE.finditer(line), None]:
        end = len(line) if code is None else code.start()
        yield from ((mark, ink, bold, dim) for mark in line[at:end])
        if code is None:
            return
        at = code.end()
        for number in code[1].split(";"):
            ink = INK if number in ("", "0") else INKS.get(number, ink)
            bold = number == "1" or (bold and number not in ("", "0"))
            dim = number == "2" or (dim and number not in ("", "0"))


def drawn(lines: list[str]) -> str:
    """Return the picture. Blocks and rules are drawn as shapes, so that they meet whatever font there is."""
    width, height = EDGE * 2 + CELL_W * COLUMNS, EDGE * 2 + CELL_H * len(lines)
    body = [part for row, line in enumerate(lines) for part in _row(line, EDGE + CELL_H * row)]
    size = f'viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img">',
            "<title>What the demo prints: a verdict for each piece, and the days ahead of a toe rail</title>",
            f'<rect width="100%" height="100%" rx="8" fill="{PAPER}"/>',
            f'<g font-family="ui-monospace, Menlo, Consolas, \'DejaVu Sans Mono\', monospace" font-size="{SIZE:g}">',
            *body,
            "</g>",
            "</svg>",
            "",
        ]
    )


def _row(line: str, top: float) -> Iterator[str]:
    column = 0
    for (kind, ink, bold, dim), run in groupby(marks(line), key=lambda mark: (_kind(mark[0]), *mark[1:])):
        text = "".join(mark[0] for mark in run)
        left, length = EDGE + CELL_W * column, CELL_W * len(text)
        column += len(text)
        faint = ' opacity="0.6"' if dim else ""
        if kind in ("block", "shade"):
            shade = ' opacity="0.7"' if kind == "shade" else ""
            yield f'<rect x="{left:g}" y="{top + 2:g}" width="{length:g}" height="{CELL_H - 4:g}" fill="{ink}"{shade}/>'
        elif kind == "rule":
            yield f'<rect x="{left:g}" y="{top + CELL_H / 2:g}" width="{length:g}" height="1" fill="{ink}"{faint}/>'
        elif text.strip():
            lead = len(text) - len(text.lstrip())
            word = text.strip()
            weight = ' font-weight="bold"' if bold else ""
            yield (
                f'<text x="{left + CELL_W * lead:g}" y="{top + SIZE:g}" textLength="{CELL_W * len(word):g}" '
                f'xml:space="preserve" fill="{ink}"{weight}{faint}>{escape(word)}</text>'
            )


def _kind(mark: str) -> str:
    return {"█": "block", "▒": "shade", "─": "rule"}.get(mark, "text")


if __name__ == "__main__":
    PICTURE.write_text(drawn(printed()), "utf-8")
