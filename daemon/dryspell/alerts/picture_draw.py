"""Draws one chart and ends: `python -m dryspell.alerts.picture_draw` takes it as text and gives a PNG.

A process of its own: the library brings a JavaScript engine of a hundred megabytes, and whatever it does, the daemon
goes on.
"""

import os
import resource
import sys

SCALE = 2.5
"""Pixels a unit of the chart: a telephone's screen has two or three a point."""
CPU_S = 60


def main() -> None:
    """Read a Vega-Lite specification and write its picture."""
    import vl_convert  # noqa: PLC0415  (an extra, which only this process loads)

    os.nice(10)
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
    # Without a base address nothing is fetched from anywhere.
    sys.stdout.buffer.write(vl_convert.vegalite_to_png(sys.stdin.read(), scale=SCALE, allowed_base_urls=[]))


if __name__ == "__main__":
    main()
