"""What malformed requests are answered, and what they leave behind: `python tests/bench/fuzz_page.py [MANY]`."""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from malformed import malformed, statuses
from page_process import page_process

MIB = 1024 * 1024


def main():
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    with TemporaryDirectory() as folder, page_process(Path(folder)) as page:
        host = ":".join(map(str, page.address))
        statuses(page.address, malformed(1, 500, host))  # what is made once and kept
        sizes, answered = [page.resident], {}
        begun = time.perf_counter()
        for part in range(5):
            for status, count in statuses(page.address, malformed(part + 2, many // 5, host)).items():
                answered[status] = answered.get(status, 0) + count
            sizes.append(page.resident)
        took = time.perf_counter() - begun
    print(f"{many} malformed requests in {took:.1f} s; 0 is closed without a word")
    print("  " + ", ".join(f"{status}: {count}" for status, count in sorted(answered.items())))
    print(f"  answered with a fault of the server: {sum(n for status, n in answered.items() if status >= 500)}")
    print("  memory after each fifth [MiB]: " + ", ".join(f"{size / MIB:.1f}" for size in sizes))


if __name__ == "__main__":
    main()
