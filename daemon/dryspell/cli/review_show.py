"""A review on a terminal of 80 columns, with the picture of the odds, and as a document for other programs."""

import textwrap
from collections.abc import Iterator, Mapping

from dryspell.cli.paint import Paint
from dryspell.cli.show import WIDTH, heading
from dryspell.outlook.review import BINS, Reviewed, Score

CAME, SAID = "█", "│"
_BAR, _LABEL = 50, 14
_HEADS = ("starts", "right", "hit", "miss", "false", "wait", "Brier", "skill")
_LATER = "the daemon keeps what it says while it runs, and it can be reviewed when its weather has come."
_FEW = 30
"""Fewer starts than this say little; odds of a tenth with so few are marked (no source)."""


def review_text(found: Mapping[str, Reviewed], names: Mapping[str, str], paint: Paint) -> str:
    """Return everything there is to say.

    Parameters
    ----------
    found
        By piece.
    names
        What the pieces are called.
    """
    everything = Reviewed.joined(found.values())
    waiting = f"{everything.open_} more wait for their weather" if everything.open_ else ""
    lines = [*heading("How right it was", waiting, paint)]
    if not everything.came.size:
        return "\n".join([*lines, *_wrapped(f"Nothing to review yet of {', '.join(names.values())}: {_LATER}")])
    lines += [paint("Ahead".ljust(_LABEL) + _head(), "aside")]
    lines += [_row(_ahead(lead), score) for lead, score in everything.by_lead().items()]
    if len(found) > 1:
        lines += ["", paint("Piece".ljust(_LABEL) + _head(), "aside")]
        lines += [_row(names[key], each.score) for key, each in found.items() if each.came.size]
    lines += ["", *_picture(everything.score, paint), ""]
    lines += _wrapped(
        "hit: coat was said, and its weather came. miss: wait was said, and a coat would have done. false: coat was "
        "said, and it would not have done. wait: rightly so. Brier: mean square error of the odds, 0 is best. skill: 1 "
        "is best, 0 is no better than the same odds every day."
    )
    return "\n".join(line.rstrip() for line in lines)


def _head() -> str:
    return "".join(head.rjust(8) for head in _HEADS)


def _row(label: str, score: Score) -> str:
    right = f"{score.right:.0%}" if score.right is not None else ""
    brier = f"{score.brier:.3f}" if score.brier is not None else ""
    skill = f"{score.skill:.2f}" if score.skill is not None else "-"
    counts = (score.hits, score.misses, score.false_alarms, score.correct_waits)
    cells = (str(score.count), right, *map(str, counts), brier, skill)
    return textwrap.shorten(label, _LABEL - 1, placeholder="…").ljust(_LABEL) + "".join(cell.rjust(8) for cell in cells)


def _ahead(lead_h: int) -> str:
    if lead_h == 0:
        return "now"
    return f"{lead_h // 24} day{'s' if lead_h > 24 else ''}" if lead_h % 24 == 0 else f"{lead_h} h"


def _picture(score: Score, paint: Paint) -> Iterator[str]:
    """Yield a bar for each tenth of the odds, as long as the share that came, with a mark at what was said."""
    yield paint("Odds said".ljust(_LABEL) + "came true".ljust(_BAR - 4) + "100 %   starts", "aside")
    for k, of in enumerate(score.reliability):
        if of is None:
            continue
        bar = list((CAME * round(of.came * _BAR)).ljust(_BAR + 1))
        bar[round(of.said * _BAR)] = SAID
        label = f"{100 * k // BINS}-{100 * (k + 1) // BINS} %".rjust(_LABEL - 3).ljust(_LABEL)
        few = " few" if of.count < _FEW else ""
        yield f"{label}{''.join(bar)}{of.count:>9}{few}"
    yield paint(f"{CAME} came  {SAID} said: where the bar ends at the mark, the odds hold what they say", "aside")


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, break_on_hyphens=False)
