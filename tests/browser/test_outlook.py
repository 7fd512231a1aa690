"""The outlook in a real browser: the chart tells the hour that is pointed at, and is there without any script."""

import re

import pytest

PHONE, DESK = (390, 844), (1280, 900)
WATCH = """
window.refused = [];
document.addEventListener("securitypolicyviolation", (event) => refused.push(event.violatedDirective));
"""


def load(page, path="outlook/rail", within="Nearest limit"):
    """Load a page until the daemon has had its first look."""
    for _ in range(120):
        page.goto(path, wait_until="domcontentloaded")  # a drawing may take its time
        if within in page.content():
            return
        page.wait_for_timeout(250)
    raise AssertionError(f"{within!r} never stood on {path}")


def until(page, expression):
    """Wait until something holds; Playwright's own way needs eval, which the page's policy forbids."""
    for _ in range(480):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(250)
    raise AssertionError(expression)


def shown(page):
    """Wait for the living chart, and return where it is."""
    page.wait_for_selector(".living svg", timeout=120_000)
    page.locator(".living").scroll_into_view_if_needed()
    return page.locator(".living svg").bounding_box()


def said(page):
    figures = page.locator(".readout-figures div").all_inner_texts()
    return page.inner_text(".readout-at"), page.inner_text(".readout-said"), dict(each.split("\n") for each in figures)


def in_table(page, time):
    """Return the cells of a time of day, of the first day in the table that has it."""
    page.locator("details.figures summary").first.click()
    row = page.locator("table.hours tr", has=page.locator(f"th[scope=row]:text-is('{time}')")).first
    return row.locator("td").all_inner_texts()


def test_no_rule_of_the_policy_is_broken_and_nothing_comes_from_another_host(start, window):
    page = window(start().url, width=DESK[0], height=DESK[1])
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.add_init_script(WATCH)
    load(page)
    shown(page)
    assert page.evaluate("refused") == []
    assert {re.match(r"https?://[^/]+", url)[0] for url in asked} == {re.match(r"http://[^/]+", page.url)[0]}
    assert any("/static/charts/vega-" in url for url in asked)


def test_the_hour_under_the_mouse_is_told_with_its_figures_and_its_limit(start, window, picture):
    page = window(start().url, width=DESK[0], height=DESK[1])
    load(page)
    box = shown(page)
    seen = []
    for share in (0.2, 0.5, 0.8):
        page.mouse.move(box["x"] + share * box["width"], box["y"] + 150)
        page.wait_for_timeout(100)
        seen.append(said(page))
    assert len({at for at, _, _ in seen}) == 3
    for at, words, figures in seen:
        assert re.fullmatch(r"\w{3} \d+ Jun \d\d:00", at)
        assert words
        assert figures["air"].endswith("°C")
        assert figures["over dew point"].split(",")[0].endswith(" K")
    picture(page, "desk-outlook")


def test_the_figures_that_are_told_are_those_of_the_table(start, window):
    page = window(start().url, width=DESK[0], height=DESK[1])
    load(page)
    shown(page)
    slider = page.locator(".readout input")
    slider.focus()
    for _ in range(40):
        page.keyboard.press("ArrowRight")
        at, _, figures = said(page)
        if at.endswith("18:00"):
            break
    assert slider.get_attribute("aria-valuetext") == f"{at}. {said(page)[1]}"
    cells = in_table(page, "18:00")
    values = [value.split(" ")[0] for value in figures.values()]
    told = [cell.split(" ")[0] for cell in cells[: len(values)]]
    assert values == told


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_on_a_telephone_a_tap_tells_the_hour_and_the_chart_fits(start, window, picture, theme):
    page = window(start().url, has_touch=True, color_scheme=theme)
    load(page)
    box = shown(page)
    assert box["width"] <= PHONE[0]
    before = said(page)[0]
    page.evaluate("window.scrollTo(0, document.querySelector('.living').getBoundingClientRect().top + scrollY - 400)")
    box = page.locator(".living svg").bounding_box()
    page.touchscreen.tap(box["x"] + 0.7 * box["width"], box["y"] + 100)
    page.wait_for_timeout(150)
    assert said(page)[0] != before
    # Letters in the chart are as large as they were drawn: nothing is scaled down to fit.
    assert page.evaluate("document.querySelector('.living svg').getBoundingClientRect().width") == pytest.approx(
        float(page.locator(".living svg").get_attribute("width")), abs=1
    )
    picture(page, f"phone-outlook-{theme}")


def test_without_scripts_the_drawing_and_the_table_are_there(start, window, picture):
    page = window(start().url, java_script_enabled=False)
    load(page)
    until(page, "document.querySelector('figure img').naturalWidth > 300")
    alt = page.locator("figure img").get_attribute("alt")
    assert "over the dew point" in alt
    assert page.locator(".readout").count() == 0
    assert any(cell.endswith("coat") for cell in in_table(page, "12:00"))
    picture(page, "phone-outlook-no-script")


def test_another_theme_and_another_width_are_drawn_anew(start, window):
    page = window(start().url, width=DESK[0], height=DESK[1], color_scheme="light")
    load(page)
    wide = shown(page)["width"]
    with page.expect_response(re.compile(r"outlook\.json.*theme=dark.*size=wide")):
        page.emulate_media(color_scheme="dark")
    with page.expect_response(re.compile(r"outlook\.json.*theme=dark.*size=narrow")):
        page.set_viewport_size({"width": 390, "height": 844})
    until(page, f"document.querySelector('.living svg').getBoundingClientRect().width < {wide / 2}")
    assert page.locator(".living").count() == 1
    assert page.locator(".readout").count() == 1


@pytest.mark.parametrize(("size", "name"), [(PHONE, "phone"), (DESK, "desk")])
def test_all_days_of_all_pieces_are_at_a_glance(start, window, picture, size, name):
    page = window(start().url, width=size[0], height=size[1])
    load(page, "outlook", "by-day")
    until(page, "document.querySelector('figure img').naturalWidth > 300")
    picture(page, f"{name}-outlooks")
    page.locator("summary").first.click()
    page.locator("ul.by-day a").nth(2).click()
    page.wait_for_url("**/outlook/rail?day=*", wait_until="domcontentloaded")
    assert page.locator("nav.days a[aria-current]").inner_text().startswith("Thu 4 Jun")
