"""How the page looks, as far as that can be reckoned: contrast by WCAG 2.2, targets, and colour never alone."""

import re

import pytest

from dryspell.web.static_files import FOLDER
from dryspell.web.templating import FOLDER as TEMPLATES

CSS = (FOLDER / "page.css").read_text("utf-8")
PAIRS = [
    ("ink", "paper"), ("ink", "sheet"), ("soft", "paper"), ("soft", "sheet"), ("link", "paper"), ("link", "sheet"),
    ("coat-ink", "coat"), ("tight-ink", "tight"), ("wait-ink", "wait"), ("done-ink", "done"), ("act-ink", "act"),
    ("warn", "paper"), ("warn", "sheet"), ("warn", "warn-paper"), ("ink", "warn-paper"), ("ink", "note"),
    ("link", "note"),
]  # fmt: skip
PARTS = [("bar", "track"), ("soft", "sheet"), ("soft", "paper"), ("warn", "sheet"), ("link", "sheet"), ("act", "paper")]


def inks(scheme):
    block = CSS.split(":root {")[1] if scheme == "light" else CSS.split(':root[data-theme="dark"] {')[1]
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block.split("}")[0]))


def luminance(colour):
    """Relative luminance (WCAG 2.2, definition; sRGB of IEC 61966-2-1)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_reckoning_of_contrast_is_that_of_the_standard():
    # WCAG 2.2: black on white is 21 to 1; #777777 on white is 4.48 to 1 (the W3C's own example of one that just fails).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), PAIRS)
def test_all_text_stands_out_from_its_ground(scheme, ink, ground):
    # WCAG 2.2, 1.4.3, level AA: 4.5 to 1 for text of any size.
    found = inks(scheme)
    assert contrast(found[ink], found[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("part", "ground"), PARTS)
def test_bars_edges_and_outlines_stand_out(scheme, part, ground):
    # WCAG 2.2, 1.4.11, level AA: 3 to 1 for what is needed to understand a control.
    found = inks(scheme)
    assert contrast(found[part], found[ground]) >= 3.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_verdicts_differ_in_lightness_for_eyes_that_see_no_colours(scheme):
    found = inks(scheme)
    assert contrast(found["tight"], found["coat"]) >= 3.0
    assert contrast(found["tight"], found["wait"]) >= 3.0


def test_what_the_device_chooses_looks_as_what_a_person_chooses():
    by_device = CSS.split(':root[data-theme="auto"] {')[1].split("}")[0]
    assert dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", by_device)) == inks("dark")


def test_every_verdict_has_a_shape_of_its_own():
    shapes = (TEMPLATES / "shapes.html").read_text("utf-8")
    drawn = re.findall(r"word == '(\w+)' %}(.*)", shapes)
    assert {word for word, _ in drawn} == {"coat", "tight", "wait", "done"}
    assert len({shape for _, shape in drawn}) == 4


@pytest.mark.parametrize("template", sorted(TEMPLATES.glob("*.html")), ids=lambda path: path.name)
def test_no_template_holds_a_script_or_style_or_marks_anything_as_harmless(template):
    text = template.read_text("utf-8")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|https?://(?!www\.w3\.org)", text)
    assert not re.search(r"\|\s*safe|autoescape false|Markup", text)
    assert not re.search(r"<script(?! src=)", text)


@pytest.mark.parametrize("script", sorted(FOLDER.glob("*.js")), ids=lambda path: path.name)
def test_no_script_puts_text_into_the_page_as_markup_or_asks_elsewhere(script):
    text = script.read_text("utf-8")
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", text)
    assert not re.search(r"https?://(?!www\.w3\.org)", text)
