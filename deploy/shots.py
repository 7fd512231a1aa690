"""Takes the README's two pictures of the page, deploy/page-*.png, from the demo in Debian's Chromium."""  # noqa: INP001  (a script)

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from dryspell.bundled import bundled

HERE = Path(__file__).parent
NOW = "2026-09-03T11:15+02:00"
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]  # fmt: skip
LARGEST = 200_000
_SERVED = re.compile(r"the page is at (\S+)")


@contextmanager
def demo() -> Iterator[str]:
    """Run the demo, and give the address of its page."""
    with TemporaryDirectory() as folder:
        file = Path(folder, "demo.toml")
        file.write_text(bundled("demo.toml").read_text("utf-8") + '\n[page]\nlisten = "127.0.0.1:0"\n', "utf-8")
        Path(folder, "demo-weather.csv").write_bytes(bundled("demo-weather.csv").read_bytes())
        command = [sys.executable, "-m", "dryspell", "demo", "--config", str(file), "--now", NOW]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as running:  # noqa: S603  (our own command)
            try:
                found = (_SERVED.search(line) for line in running.stderr or ())
                yield next(match[1] for match in found if match)
            finally:
                running.terminate()


def take(browser: Browser, url: str, name: str, size: tuple[int, int], scale: float, wait_for: str) -> None:
    """Take a picture of a page when something is on it."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, device_scale_factor=scale, reduced_motion="reduce"
    )
    page = context.new_page()
    page.goto(url, wait_until="domcontentloaded")
    page.wait_for_selector(wait_for, timeout=180_000)
    page.wait_for_timeout(500)
    file = HERE / name
    page.screenshot(path=file)
    context.close()
    with Image.open(file) as picture:  # in 160 colours it is a third as large, and looks the same
        picture.convert("RGB").quantize(160, dither=Image.Dither.NONE).save(file, optimize=True)
    if file.stat().st_size > LARGEST:
        raise SystemExit(f"{file} has {file.stat().st_size} bytes; at most {LARGEST} belong beside a README")


if __name__ == "__main__":
    with demo() as url, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        take(browser, url, "page-today.png", (390, 844), 1.5, "article.card")
        take(browser, f"{url}outlook/toe_rail", "page-outlook.png", (1280, 1120), 1.0, ".living svg")
        browser.close()
