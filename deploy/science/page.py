"""Writes deploy/science/README.md and draws its pictures: python deploy/science/page.py

The text is template.md beside this file. The figures are those that the tests note (the fixture `figure` in
tests/conftest.py) in a run of their own, the recorded data of ../shared/measured included: without it there is no page.
"""  # noqa: INP001  (a script)

import json
import math
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

FOLDER = Path(__file__).resolve().parent
ROOT = FOLDER.parents[1]
PAGE, TEMPLATE = FOLDER / "README.md", FOLDER / "template.md"
MEASURED = ROOT.parent / "shared" / "measured"

_PLACE = re.compile(r"^<!-- figures: (.+) -->$", re.MULTILINE)
_SPELLED = {"m2": "m²", "m2K": "m²K", "m3": "m³", "ft2": "ft²", "degC": "°C", "degF": "°F", "um": "µm", "+-": "±"}
_MANY = 3
"""Of more figures than these of one check the page has the largest in the table, and all of them below it."""


class Figure(NamedTuple):
    """What a check came to, as the fixture `figure` notes it."""

    name: str
    value: float
    bar: float | None
    unit: str
    source: str
    test: str

    @property
    def text(self) -> str:
        """The value to a hundredth of its bar's leading digit, without a bar to three digits, with its unit."""
        if self.bar is not None:
            digits = 2 - math.floor(math.log10(abs(self.bar)))
        else:
            digits = 2 - math.floor(math.log10(abs(self.value))) if self.value else 0
        return spelled(f"{round(self.value, digits) + 0.0:.{max(digits, 0)}f} {self.unit}").strip()

    @property
    def bar_text(self) -> str:
        """What its test lets pass."""
        if self.bar is None:
            return ""
        return spelled(f"{'at most' if abs(self.value) <= self.bar else 'at least'} {self.bar:.3g} {self.unit}")

    @property
    def file(self) -> str:
        """The name of the file of its test, without its ending."""
        return Path(self.test.partition("::")[0]).stem

    @property
    def check(self) -> str:
        """The name of its test."""
        return self.test.partition("::")[2]


def spelled(text: str) -> str:
    """Return a text with its units as people write them."""
    pattern = r"(?<![A-Za-z0-9])(?:" + "|".join(map(re.escape, _SPELLED)) + r")(?![A-Za-z0-9])"
    return re.sub(pattern, lambda found: _SPELLED[found[0]], text).replace("|", "/")


def collected(*arguments: str) -> list[Figure]:
    """Run the tests that note figures, and return these.

    Raises
    ------
    SystemExit
        When one of them fails; what pytest printed is the text.
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "figures.json"
        # The test of this page reads it, and at first there is none.
        command = [sys.executable, "-m", "pytest", "tests", "--ignore=tests/test_science_page.py", "-q", *arguments]
        env = os.environ | {"DRYSPELL_FIGURES": str(file)}
        run = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)  # noqa: S603
        if run.returncode:
            raise SystemExit(f"the tests that note the figures do not pass:\n{run.stdout}{run.stderr}")
        return [Figure(**entry) for entry in json.loads(file.read_text("utf-8"))]


def written(template: str, figures: Sequence[Figure]) -> str:
    """Return the page: the template with the figures of the tests that each of its sections names.

    Raises
    ------
    SystemExit
        When figures are of a test that no section names.
    """
    named = {name for names in _PLACE.findall(template) for name in names.split()}
    if left := sorted({figure.file for figure in figures} - named):
        raise SystemExit(f"no section of {TEMPLATE.name} has the figures of {', '.join(left)}: name them in one")
    return _PLACE.sub(lambda place: _section([f for n in place[1].split() for f in figures if f.file == n]), template)


def _section(figures: Sequence[Figure]) -> str:
    rows = [row for _, checks in groupby(figures, lambda f: (f.test, f.bar, f.unit)) for row in _rows(list(checks))]
    files = dict.fromkeys(figure.test.partition("::")[0] for figure in figures)
    return "\n".join(
        [
            *_table(("figure", "measured", "bar", "against"), rows),
            "",
            f"<details><summary>All {len(figures)} figures, and the test of each</summary>",
            "",
            "```sh",
            f"DRYSPELL_FIGURES=figures.json python -m pytest {' '.join(files)}",
            "```",
            "",
            *_table(("figure", "measured", "against", "test"), [detail(figure) for figure in figures]),
            "",
            "</details>",
        ]
    )


def detail(figure: Figure) -> tuple[str, ...]:
    """Return the row of a figure in the table of all."""
    return spelled(figure.name), figure.text, spelled(figure.source), f"`{figure.check}`"


def _rows(figures: list[Figure]) -> list[tuple[str, ...]]:
    """Return the rows of one check; of many figures alike the largest."""
    if len(figures) <= _MANY or figures[0].bar is None:
        return [(spelled(f.name), f.text, f.bar_text, spelled(f.source)) for f in figures]
    largest = max(figures, key=lambda figure: abs(figure.value))
    name = f"{spelled(largest.name)} (the largest of {len(figures)} alike)"
    return [(name, largest.text, largest.bar_text, spelled(largest.source))]


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(cells)} |" for cells in (heads, ["---"] * len(heads), *rows)]


def main() -> None:
    """Write the page and draw the pictures."""
    if not MEASURED.is_dir():
        raise SystemExit("the page needs the recorded data of ../shared/measured, and that folder is not here")
    page = written(TEMPLATE.read_text("utf-8"), collected())
    import pictures  # noqa: PLC0415  (matplotlib is slow, and wants a place on the path)

    for name, draw in pictures.PICTURES.items():
        (FOLDER / name).write_bytes(pictures.as_svg(draw))
    PAGE.write_text(page, "utf-8")


if __name__ == "__main__":
    main()
