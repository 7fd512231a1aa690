"""How long readers wait when many ask at once while ticks run: `python tests/bench/bench_page.py [READERS]`.

All send their request at the same moment and read its answer to the end, again and again. In the second half somebody
records a coat and takes it back without a break, which runs a tick each time. Readers and daemon share the machine's
cores; the processor's time for each is what a busy machine does not alter.

Then Chromium, where there is one, loads every page: how much comes over the wire, and when it first paints, of a page
that nobody has asked for yet and again of one that is kept.
"""

import asyncio
import json
import os
import shutil
import statistics
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from page_process import page_process

PATHS = ("/", "/api/v1/windows/toe_rail", "/api/v1/status", "/plan", "/calendar/site/orchard.ics")
ROUNDS = 10
REST_S = 1.0
RELOADS = 7
PAGES = (
    "/", "/outlook", "/outlook/toe_rail", "/plan", "/record", "/record/toe_rail", "/record/toe_rail/coat", "/material",
    "/review", "/doing", "/more",
)  # fmt: skip
FIRST_PAINT = "performance.getEntriesByType('paint').find((each) => each.name === 'first-contentful-paint')?.startTime"
WEIGHT = """[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
  .map((each) => each.encodedBodySize)"""


async def ask(reader, writer, method, path, body=""):
    """Send a request on a connection that stays, and return status, body and how long it took [s]."""
    begun = time.perf_counter()
    kind = f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n" if method == "POST" else ""
    writer.write(f"{method} {path} HTTP/1.1\r\nHost: localhost\r\n{kind}\r\n{body}".encode())
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    length = next((line[15:] for line in head.lower().split("\r\n") if line.startswith("content-length:")), "0")
    answer = await reader.readexactly(int(length))
    return int(head.split()[1]), answer, time.perf_counter() - begun


async def once(address, *what):
    reader, writer = await asyncio.open_connection(*address)
    try:
        return await ask(reader, writer, *what)
    finally:
        writer.close()


async def disturb(address, stop):
    """Change the record, and so run ticks, until it is told to stop; return how many."""
    ticks = 0
    while not stop.is_set():
        status, answer, _ = await once(address, "POST", "/api/v1/record/front_door/coats", "{}")
        assert status == 201, answer
        number = json.loads(answer)["coat"]
        status, answer, _ = await once(address, "DELETE", f"/api/v1/record/front_door/coats/{number}")
        assert status == 200, answer
        ticks += 2
    return ticks


async def verdict(address):
    for _ in range(300):
        status, answer, _ = await once(address, "GET", "/api/v1/windows/toe_rail")
        if status == 200:
            piece = json.loads(answer)["pieces"][0]
            return piece["verdict"], piece["windows"][0]["brush_down_by"]
        await asyncio.sleep(0.1)
    raise RuntimeError("there is no tick")


def busy_s():
    """Return how long all processors of the machine have been at work. [s]"""
    fields = [int(each) for each in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
    return (sum(fields) - fields[3] - fields[4]) / os.sysconf("SC_CLK_TCK")


async def measure(page, readers):
    address = page.address
    before = await verdict(address)
    connections = [await asyncio.open_connection(*address) for _ in range(readers)]
    for busy in (False, True):
        stop = asyncio.Event()
        ticks = asyncio.create_task(disturb(address, stop)) if busy else None
        print(f"{readers} readers at once, {ROUNDS} times each" + (", while ticks run" if busy else ""))
        begun, ours_s, all_s = time.perf_counter(), page.cpu_s + time.process_time(), busy_s()
        for path in PATHS:
            took, wrong, cpu_s = [], 0, page.cpu_s
            for _ in range(ROUNDS):
                answers = await asyncio.gather(*(ask(*connection, "GET", path) for connection in connections))
                took += [seconds for *_, seconds in answers]
                wrong += sum(status != 200 for status, *_ in answers)
                await asyncio.sleep(REST_S / 5)
            p50, p99 = np.percentile(took, (50, 99)) * 1e3
            each_ms = 1e3 * (page.cpu_s - cpu_s) / len(took)
            print(f"  {path:<28} p50 {p50:5.0f} ms  p99 {p99:5.0f} ms  processor each {each_ms:4.2f} ms  wrong {wrong}")
        others = (busy_s() - all_s - page.cpu_s - time.process_time() + ours_s) / (time.perf_counter() - begun)
        print(f"  others kept {max(others, 0.0):.1f} of {os.cpu_count()} cores busy meanwhile")
        if ticks is not None:
            stop.set()
            print(f"  ticks meanwhile: {await ticks}")
    print(f"verdict and window before {before}, after {await verdict(address)}")


def look(address, flags=("--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking")):
    """Print when each page first paints, and what it weighs with all that it asks for."""
    from playwright.sync_api import sync_playwright

    def paint(page):
        page.wait_for_load_state("networkidle")
        return page.evaluate(FIRST_PAINT) or float("nan")

    url = f"http://{address[0]}:{address[1]}"
    print(
        "in Chromium: first paint of a page that is made for it, and of one that is kept, the median of "
        f"{RELOADS}; the page, packed, and with all that it asks for"
    )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        page = browser.new_page(service_workers="block")
        page.goto(f"{url}/login")  # the browser itself is warm
        for path in PAGES:
            page.goto(url + path)
            first, weights = paint(page), page.evaluate(WEIGHT)
            again = []
            for _ in range(RELOADS):
                page.reload()
                again.append(paint(page))
            kept, size, whole = statistics.median(again), weights[0] / 1000, sum(weights) / 1000
            print(f"  {path:<22} made {first:4.0f} ms  kept {kept:4.0f} ms  {size:5.1f} kB  {whole:6.1f} kB")
        browser.close()


def main():
    readers = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with TemporaryDirectory() as folder, page_process(Path(folder)) as page:
        asyncio.run(measure(page, readers))
        if shutil.which("chromium"):
            look(page.address)


if __name__ == "__main__":
    main()
