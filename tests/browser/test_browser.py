"""What a person does with the page, in a real browser before the real daemon."""

import sqlite3

import pytest

from page_tour import PAGES, SIZES, TOKEN, load_until, press


def coats(folder):
    with sqlite3.connect(f"file:{folder}/state/dryspell.sqlite3?mode=ro", uri=True) as state:
        found = state.execute("SELECT number, undone_at IS NULL FROM coats WHERE piece = 'rail' ORDER BY id").fetchall()
    state.close()
    return found


def card(page, name):
    return page.locator("article", has=page.get_by_role("heading", name=name))


def test_a_coat_is_logged_with_two_taps_the_window_moves_and_it_is_taken_back(start, window, picture, tmp_path):
    page = window(start().url)
    load_until(page, "", "Coat 4 now")
    rail = card(page, "Toe rail")
    assert "Brush down by" in rail.inner_text()
    assert "to spare" in rail.locator(".why").inner_text()
    assert "Wait" in card(page, "Oak front door").inner_text()
    picture(page, "phone-verdict")
    press(rail.get_by_role("link", name="Coat 4 is on"))
    picture(page, "phone-confirm")
    page.get_by_role("button", name="Yes, coat 4 is on").click()
    page.wait_for_url("**/?did=record*")
    assert "Coat 4 of Toe rail is on the record." in page.inner_text("main")
    rail = card(page, "Toe rail")
    assert "Wait" in rail.inner_text()
    assert "Coat 4 is not ready to coat over before" in rail.inner_text()
    assert rail.get_by_role("progressbar", name="dew-safe").get_attribute("value") is not None
    assert coats(tmp_path) == [(4, 1)]
    picture(page, "phone-logged")
    press(page.get_by_role("link", name="Take it back"))
    press(page.get_by_role("button", name="Yes, take it back"))
    load_until(page, "", "Coat 4 now")
    assert coats(tmp_path) == [(4, 0)]


def test_without_scripts_everything_is_read_and_logged_and_mistakes_are_said(start, window, tmp_path):
    page = window(start().url, java_script_enabled=False)
    for _ in range(120):
        page.goto("")
        if page.get_by_text("Coat 4 now").count():
            break
        page.wait_for_timeout(250)
    press(card(page, "Toe rail").get_by_role("link", name="Coat 4 is on"))
    page.get_by_text("Tell more of it").click()
    page.get_by_label("Thinner").fill("50 %")
    page.get_by_label("Who put it on").fill("Ada")
    press(page.get_by_role("button", name="Record it with this"))
    assert "can mean two mixes" in page.locator("#p-thinner").inner_text()
    assert page.get_by_label("Who put it on").input_value() == "Ada"
    page.get_by_label("Thinner").fill("10 parts")
    press(page.get_by_role("button", name="Record it with this"))
    assert "Coat 4 of Toe rail is on the record." in page.inner_text("main")
    assert coats(tmp_path) == [(4, 1)]
    press(page.get_by_role("link", name="Record of Toe rail"))
    assert "10 parts" in page.inner_text("main")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
def test_every_page_fits_its_screen_by_day_and_by_night(start, window, picture, size, scheme):
    width, height = SIZES[size]
    page = window(start().url, width=width, height=height, color_scheme=scheme)
    load_until(page, "plan", "Leave")
    page.goto("record/rail/coat")
    press(page.get_by_role("button", name="Yes, coat 4 is on"))
    paper = {}
    for name, path in PAGES.items():
        page.goto(path)
        picture(page, f"{size}-{scheme}-{name}")
        paper[name] = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert set(paper.values()) == {"rgb(245, 242, 234)" if scheme == "light" else "rgb(17, 25, 28)"}


def test_light_and_units_are_chosen_and_kept(start, window):
    page = window(start().url, color_scheme="light")
    load_until(page, "", "Toe rail")
    page.goto("more")
    page.get_by_label("Dark").check()
    page.get_by_label("US:").check()
    press(page.get_by_role("button", name="Keep that on this device"))
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(17, 25, 28)"
    page.goto("material")
    assert "fl oz" in page.inner_text("main")
    cut_off = (
        "[...document.querySelectorAll('.takes .scroll')].filter((each) => each.scrollWidth > each.clientWidth).length"
    )
    assert page.evaluate(cut_off) == 0  # the longer units fit a telephone too


def test_a_keyboard_finds_its_way(start, window):
    page = window(start().url)
    load_until(page, "", "Coat 4 now")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.keyboard.press("Enter")
    for _ in range(8):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Coat 4 is on":
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url("**/record/rail/coat*")


def test_a_stranger_is_refused_and_whoever_knows_the_token_is_let_in(start, window, picture):
    page = window(start(page='token_env = "DRYSPELL_PAGE"').url)
    page.goto("plan")
    assert page.url.endswith("/login?next=%2Fplan")
    picture(page, "phone-login")
    page.get_by_label("Token").fill("a guess of mine")
    press(page.get_by_role("button", name="Log in"))
    assert "That is not the token." in page.inner_text("main")
    picture(page, "phone-refused")
    page.get_by_label("Token").fill(TOKEN)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/plan")
    page.goto("more")
    page.get_by_role("button", name="Log out", exact=True).click()
    page.wait_for_url("**/login")
    page.goto("")
    assert "/login" in page.url


def test_the_last_state_can_be_read_without_the_daemon_and_says_its_age(start, window, picture):
    daemon = start(now=None)
    page = window(daemon.url)
    load_until(page, "", "Toe rail")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    kept = "caches.open('dryspell-pages-1').then((kept) => kept.keys()).then((keys) => keys.map((key) => key.url))"
    for _ in range(120):
        if any(url.endswith("/material") for url in page.evaluate(kept)):
            break
        page.wait_for_timeout(250)
    assert daemon.stop() == 0
    page.clock.install()
    page.clock.fast_forward("45:00")
    page.goto("material")
    assert "What to buy" in page.inner_text("main")
    page.goto("")
    page.clock.run_for("00:11")
    page.wait_for_function("!document.getElementById('old').hidden")
    assert "min old, and the daemon is out of reach. Do not go by it." in page.inner_text("#old")
    picture(page, "phone-out-of-reach")
