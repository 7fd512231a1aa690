"""Whether charts can be read in faint light and by colour-blind eyes, and beside the page's own colours."""

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from dryspell.alerts.picture_look import DARK, LIGHT
from dryspell.web.static_files import FOLDER

LOOKS = pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
EYES = ("normal", "protanomaly", "deuteranomaly", "tritanomaly")


def luminance(colour):
    """Relative luminance, as WCAG 2.2 defines it."""
    parts = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def laid_on(colour, opacity, paper):
    """Return what a colour of some opacity looks like on paper."""
    mixed = (round(opacity * int(colour[n : n + 2], 16) + (1 - opacity) * int(paper[n : n + 2], 16)) for n in (1, 3, 5))
    return "#" + "".join(f"{part:02x}" for part in mixed)


def seen_by(eyes, colour):
    """Return a colour as such eyes see it, by the model of Machado, Oliveira and Fernandes (2009) in colorspacious.

    At severity 100: those that lack a kind of cones altogether.
    """
    from colorspacious import cspace_convert

    rgb = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    if eyes == "normal":
        return rgb
    return np.clip(cspace_convert(rgb, {"name": "sRGB1+CVD", "cvd_type": eyes, "severity": 100}, "sRGB1"), 0.0, 1.0)


def apart(eyes, one, other):
    """Return how far apart two colours look (CAM02-UCS; 1 is about what can just be told when they touch)."""
    from colorspacious import deltaE

    return float(deltaE(seen_by(eyes, one), seen_by(eyes, other), input_space="sRGB1"))


@LOOKS
def test_letters_have_the_contrast_that_wcag_asks_of_text_on_paper_and_on_every_band(look):
    papers = [look.paper, laid_on(look.night, look.night_opacity, look.paper)]
    papers += [laid_on(band, 0.35, look.paper) for band in (look.coat, look.tight)]
    for paper in papers:
        assert contrast(look.ink, paper) >= 4.5  # success criterion 1.4.3
    assert contrast(look.on_coat, look.coat) >= 4.5


@LOOKS
def test_lines_and_bars_have_the_contrast_that_wcag_asks_of_graphics(look):
    for colour in (look.surface, look.air, look.dew, look.rain, look.sun, look.coat, look.ink):
        assert contrast(colour, look.paper) >= 3.0  # success criterion 1.4.11
    # A tight window is outlined in ink: its filling need not stand out by itself.
    assert contrast(look.ink, look.tight) >= 3.0 or contrast(look.tight, look.paper) >= 3.0


@LOOKS
@pytest.mark.parametrize("eyes", EYES)
def test_no_eyes_take_one_line_for_another_or_a_tight_window_for_a_good_one(look, eyes):
    for one, other in combinations((look.surface, look.air, look.dew), 2):
        assert apart(eyes, one, other) > 15
    assert apart(eyes, look.coat, look.tight) > 30


def test_the_simulation_finds_red_and_green_of_one_lightness_alike_for_those_who_lack_the_cones():
    # What every textbook says of red-green blindness; without it the test above could not fail.
    red, green = "#b04a3a", "#6f7d2c"
    assert apart("normal", red, green) > 30
    assert min(apart(eyes, red, green) for eyes in EYES[1:3]) < 12


def test_lines_differ_in_their_dashes_and_widths_too():
    for one, other in combinations(LIGHT.lines, 2):
        assert one[2] != other[2]
    assert [line[2:] for line in LIGHT.lines] == [line[2:] for line in DARK.lines]


def test_a_good_window_has_the_page_s_colour_of_one():
    css = Path(FOLDER, "page.css").read_text("utf-8")
    light = re.search(r":root \{[^}]*?--coat: (#\w+)", css)
    assert light is not None
    assert light[1] == LIGHT.coat
    assert re.search(r"--sheet: (#\w+)", css.partition("prefers-color-scheme: dark")[2])[1] == DARK.paper
