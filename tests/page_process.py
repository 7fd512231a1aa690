"""The daemon in a process of its own, with the demo's pieces and its page on loopback: for benches."""

import os
import re
import shutil
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

from dryspell.bundled import bundled

NOW = "2026-09-03T11:15+02:00"
WAIT_S = 60.0


class PageProcess:
    """A daemon that has been told to serve."""

    def __init__(self, process, address):
        self.process = process
        self.address = address

    @property
    def resident(self):
        """Its memory. [bytes]"""
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE")

    @property
    def cpu_s(self):
        """How long it has had a processor. [s]"""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def page_process(folder):
    """Run `dryspell run` on the demo's pieces and weather, and leave no process behind."""
    for name in ("demo.toml", "demo-weather.csv"):
        shutil.copy(bundled(name), folder / name)
    rows = [line for line in (folder / "demo-weather.csv").read_text("utf-8").splitlines() if not line.startswith("#")]
    (folder / "demo-weather.csv").write_text("\n".join(["# issued 2026-09-03T08:00Z", *rows]) + "\n", "utf-8")
    config = (folder / "demo.toml").read_text("utf-8")
    (folder / "demo.toml").write_text(f'state = "{folder / "state"}"\npage.listen = "127.0.0.1:0"\n{config}', "utf-8")
    command = [sys.executable, "-m", "dryspell", "run", "--config", str(folder / "demo.toml"), "--now", NOW]
    log = folder / "log"
    with log.open("w") as stderr:
        process = subprocess.Popen(command, stderr=stderr)
    try:
        until = time.monotonic() + WAIT_S
        while not (match := re.search(r"the page is at http://([\d.]+):(\d+)/", log.read_text("utf-8"))):
            if time.monotonic() > until or process.poll() is not None:
                raise RuntimeError(f"the daemon has no page: {log.read_text('utf-8')[-2000:]}")
            time.sleep(0.1)
        yield PageProcess(process, (match[1], int(match[2])))
    finally:
        process.terminate()
        process.wait(timeout=WAIT_S)
