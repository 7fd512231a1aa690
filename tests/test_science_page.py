"""The page on the science says what the tests find now, as far as that can be told without the recorded data."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "deploy" / "science"
PAGE = (FOLDER / "README.md").read_text("utf-8")
TEMPLATE = (FOLDER / "template.md").read_text("utf-8")
NO_FORMULAS = {"__init__", "bounds", "middle"}


def script(name):
    spec = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def page():
    return script("page")


def test_every_figure_of_the_tests_stands_on_the_page_as_it_comes_out_now(page):
    figures = page.collected("-m", "not measured")
    assert len(figures) > 50
    lines = PAGE.splitlines()
    stale = [f for f in figures if f"| {' | '.join(page.detail(f))} |" not in lines]
    assert [f"{f.name}: {f.text}" for f in stale] == [], "python deploy/science/page.py writes it anew"


def test_the_text_is_that_of_the_template(page):
    texts = re.split(page._PLACE.pattern, TEMPLATE, flags=re.MULTILINE)[::2]
    assert [text for text in texts if text not in PAGE] == [], "python deploy/science/page.py writes it anew"
    assert page._PLACE.search(PAGE) is None


def test_every_formula_has_a_section():
    modules = {file.stem for file in (ROOT / "daemon" / "dryspell" / "science").glob("*.py")} - NO_FORMULAS
    sections = TEMPLATE.partition("\n## Air")[2]
    assert {name for name in modules if f"science/{name}.py)" not in sections} == set()


def test_every_file_and_picture_it_links_to_is_there():
    links = [link for link in re.findall(r"\]\(([^)]+)\)", PAGE) if "://" not in link]
    assert [link for link in links if not (FOLDER / link).exists()] == []
    assert {link for link in links if link.endswith(".svg")} == {file.name for file in FOLDER.glob("*.svg")}


def test_a_picture_drawn_again_is_the_same_to_the_byte_and_stands_on_white():
    pictures = script("pictures")
    assert set(pictures.PICTURES) == {file.name for file in FOLDER.glob("*.svg")}
    once, again = (pictures.as_svg(pictures.PICTURES["coat.svg"]) for _ in range(2))
    assert once == again
    assert b"fill: #ffffff" in once


def figure(page, **changes):
    plain = {"name": "dew point", "value": 0.0439, "bar": 0.06, "unit": "K", "source": "a reference"}
    return page.Figure(**{**plain, "test": "tests/science/test_air.py::test_it_agrees", **changes})


@pytest.mark.parametrize(
    ("value", "bar", "unit", "text", "bar_text"),
    [
        (0.0439, 0.06, "K", "0.0439 K", "at most 0.06 K"),
        (-7.284, 9, "W/m2", "-7.28 W/m²", "at most 9 W/m²"),
        (95.13, 94, "%", "95.1 %", "at least 94 %"),
        (-0.00001, 0.05, "degC", "0.0000 °C", "at most 0.05 °C"),
        (1234.5, None, "um", "1230 µm", ""),
        (0.0, None, "s", "0 s", ""),
    ],
)
def test_a_figure_is_rounded_by_its_bar(page, value, bar, unit, text, bar_text):
    found = figure(page, value=value, bar=bar, unit=unit)
    assert (found.text, found.bar_text) == (text, bar_text)


def test_of_many_figures_alike_the_largest_stands_in_the_table_and_all_below(page):
    four = [figure(page, name=f"at {k} degC", value=k / 100) for k in (1, -5, 2, 3)]
    written = page.written("<!-- figures: test_air -->", four)
    assert "| at -5 °C (the largest of 4 alike) | -0.0500 K | at most 0.06 K | a reference |" in written
    assert all(f"| at {k} °C | " in written for k in (1, -5, 2, 3))
    assert written.count("alike") == 1


def test_figures_that_no_section_names_are_not_left_out_silently(page):
    with pytest.raises(SystemExit, match=r"no section of template\.md has the figures of test_air"):
        page.written("<!-- figures: test_sun -->", [figure(page)])
