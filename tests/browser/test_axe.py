"""Every page before axe-core, which finds what keeps out people with a screen reader, a keyboard or weak eyes.

Its rules are those of WCAG 2.2, levels A and AA, with the contrast of every text, and what its makers call good
practice: https://github.com/dequelabs/axe-core/blob/develop/doc/rule-descriptions.md. Its package brings the script.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe

from page_tour import NOWHERE, PAGES, SIZES, TOKEN, load_until, press

EVERY = {
    **PAGES, "outlooks": "outlook", "outlook": "outlook/rail", "no such page": NOWHERE, "refused": "record/rail/pot",
    "no such coat": "record/rail/undo?coat=77", "sheet": "record/rail/sheet",
}  # fmt: skip
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPEN_ALL = "for (const each of document.querySelectorAll('details')) each.open = true"


def found(page):
    """Return what is wrong with a page when all of it is open, a line each."""
    page.evaluate(OPEN_ALL)
    answer = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}}).response
    assert len(answer["passes"]) > 5, page.url  # it has looked
    return [
        f"{page.url}: {rule['impact']}, {rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in answer["violations"]
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
def test_no_page_keeps_anybody_out(start, window, size, scheme):
    width, height = SIZES[size]
    page = window(start().url, width=width, height=height, color_scheme=scheme)
    load_until(page, "plan", "Leave")
    wrong = found(page)
    page.goto("")
    wrong += found(page)
    page.goto("record/rail/coat")
    page.get_by_text("Tell more of it").click()
    page.get_by_label("Thinner").fill("50 %")
    press(page.get_by_role("button", name="Record it with this"))
    wrong += found(page)
    page.goto("record/rail/coat")
    press(page.get_by_role("button", name="Yes, coat 4 is on"))
    for path in EVERY.values():
        page.goto(path)
        wrong += found(page)
    page.goto("outlook/rail")
    page.wait_for_selector(".living svg", timeout=120_000)
    wrong += found(page)
    assert "\n".join(dict.fromkeys(wrong)) == ""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_way_in_keeps_nobody_out(start, window, scheme):
    page = window(start(page='token_env = "DRYSPELL_PAGE"').url, color_scheme=scheme)
    page.goto("plan")
    wrong = found(page)
    page.get_by_label("Token").fill("a guess of mine")
    press(page.get_by_role("button", name="Log in"))
    wrong += found(page)
    page.get_by_label("Token").fill(TOKEN)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/plan")
    page.goto("more")
    wrong += found(page)
    assert "\n".join(dict.fromkeys(wrong)) == ""
