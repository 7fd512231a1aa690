"""Draws one chart and ends: `python -m dryspell.alerts.picture_draw` takes it as text and gives a PNG.

With `svg` it takes a chart a line and gives an SVG for each, and with `script` what a browser needs to draw charts by
itself. A process of its own: the library brings a JavaScript engine of a hundred megabytes, and whatever it does, the
daemon goes on.
"""

import os
import re
import resource
import sys
from types import ModuleType

SCALE = 2.5
"""Pixels a unit of the chart: a telephone's screen has two or three a point."""
CPU_S = 60
EMBED = "window.vegaEmbed = vegaEmbed;"
SCRIPT_BEGINS = "/* vl-convert */\n"

_LONG = re.compile(r"-?\d+\.\d{3,}")


def main() -> None:
    """Read a Vega-Lite specification and write its picture."""
    import vl_convert  # noqa: PLC0415  (an extra, which only this process loads)

    os.nice(10)
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
    kind, chart = sys.argv[1:2] or ["png"], sys.stdin.read()
    if kind == ["script"]:
        sys.stdout.write(SCRIPT_BEGINS + vl_convert.javascript_bundle(EMBED))
    elif kind == ["svg"]:
        sys.stdout.write("\n".join(_svg(vl_convert, line) for line in chart.splitlines()))
    else:
        # Nothing is fetched from anywhere here either.
        sys.stdout.buffer.write(vl_convert.vegalite_to_png(chart, scale=SCALE, allowed_base_urls=[]))


def _svg(vl_convert: ModuleType, chart: str) -> str:
    """Return a drawing in one line."""
    # Without a base address nothing is fetched from anywhere.
    svg = vl_convert.vegalite_to_svg(chart, allowed_base_urls=[])
    # A tenth of a unit is less than any screen shows, and half of the file.
    return _LONG.sub(lambda number: f"{float(number[0]):.1f}", svg).replace("\n", " ")


if __name__ == "__main__":
    main()
