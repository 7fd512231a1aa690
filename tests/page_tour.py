"""Where the tests in a browser go."""

NOWHERE = "nothing-here"
TOKEN = "b1f2-a-token-that-nobody-guesses"
PAGES = {
    "today": "", "plan": "plan", "records": "record", "record": "record/rail", "coat": "record/rail/coat",
    "correct": "record/rail/correct", "spoilt": "record/rail/spoilt", "sandable": "record/rail/sandable",
    "undo": "record/rail/undo", "material": "material", "review": "review", "doing": "doing", "more": "more",
}  # fmt: skip
SIZES = {"phone": (390, 844), "desk": (1280, 900)}


def load_until(page, path, text):
    """Load a page until something stands there: the daemon may still be at its first look or plan."""
    for _ in range(120):
        page.goto(path)
        if text in page.inner_text("main"):
            return
        page.wait_for_timeout(250)
    raise AssertionError(f"{text!r} never stood on {path}")


def press(what):
    """Press a link or a button that leads to another page, and be there."""
    with what.page.expect_navigation():
        what.click()
