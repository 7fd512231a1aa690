"""Judging every start of a piece over 16 days in 51 ways: 16 days x 96 starts x 51 members."""

import functools
from dataclasses import replace

import numpy as np

from bench.bench_plan import LAYS, NOW, STALE_AFTER_H, VARNISH, pieces, site, weather
from bench.reference import work
from bench.row import Row, cpu, pair
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import NOMINAL, ONE_DEGREE, SLOWER, Asked, judge
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.windows import judge_all

EVERY = 16
"""The plain loops judge one start in so many, of one member; their cost is taken as often as there is more of ours."""
MEMBERS = 51


@functools.cache
def case():
    """Return the piece's conditions, what is asked of a coat, and the starts."""
    yard = site("yard")
    c = conditions_at(pieces([yard])[0], yard, weather(MEMBERS))
    return c, Asked(6, 4, c.times[np.zeros(MEMBERS, dtype=np.int64)]), np.arange(c.times.size)


def judged():
    """Judge all starts as forecast and with a turn for the worse, and keep nothing for the next time."""
    c, asked, starts = case()

    def call():
        fresh = replace(c)
        return judge_all(fresh, DryingClock(fresh, VARNISH), VARNISH, starts, asked)

    return cpu(call)


def in_plain_loops(member, every=EVERY):
    """Return what plain loops say of some starts of a member, a dict a start and strictness."""
    from outlook.plainly import Plain

    c, asked, starts = case()
    plain = Plain(c, VARNISH, member)
    return [
        plain.verdicts(
            int(start), asked.brush_steps, asked.settle_steps, asked.ready_at[member], each.reserve, each.guard_k
        )
        for each in (NOMINAL, SLOWER, ONE_DEGREE)
        for start in starts[::every]
    ]


def judged_of(member, every=EVERY):
    """Return the same as ours has it."""
    c, asked, starts = case()
    return [
        {ruling.limit: bool(ruling.passes[member, start]) for ruling in rulings}
        for each in (NOMINAL, SLOWER, ONE_DEGREE)
        for rulings in [judge(c, DryingClock(c, VARNISH), VARNISH, starts, asked, each)]
        for start in starts[::every]
    ]


def judged_in_plain_loops():
    """Return their cost; they have to come to the same."""
    for member in (3, 30):
        assert judged_of(member) == in_plain_loops(member), f"member {member} is judged otherwise in plain loops"
    once = cpu(lambda: in_plain_loops(7))
    return lambda: once() * MEMBERS * EVERY


def outlooks():
    """The whole outlook of a piece: its conditions, sun and surface, the judgement, and windows with their words."""
    yard, table = site("yard"), weather(MEMBERS)
    one = pieces([yard])[0]
    return cpu(lambda: make_outlook(one, yard, LAYS, [], table, NOW, stale_after_h=STALE_AFTER_H))


SIZE = "16 days x 96 starts x 51 members"
ARRAYS = "20 times numpy's product, exp, choice, sum and picking over (51, 1537)"
ROWS = (
    Row("windows_scalar", f"judging {SIZE}", "plain loops", pair(judged, judged_in_plain_loops), "more", bar=300.0,
        ours_at_most=0.06),
    Row("windows", f"judging {SIZE}", ARRAYS, pair(judged, lambda: cpu(work.arrays())), "less", guard=True),
    Row("outlook", f"the outlook of a piece, {SIZE}", ARRAYS, pair(outlooks, lambda: cpu(work.arrays())), "less",
        guard=True),
)  # fmt: skip
