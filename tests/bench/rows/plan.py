"""Planning the coats to come of a piece, and of several that share people."""

import functools

from bench.bench_plan import COATS, LAYS, NOW, STALE_AFTER_H, judged, pieces, site, weather
from bench.reference import work
from bench.row import Row, cpu, pair
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.plan import make_plan
from dryspell.outlook.shared_plan import make_plans
from dryspell.trade.person import Person

MEMBERS = 51
PIECES = 6


@functools.cache
def case():
    yard = site("yard")
    return pieces([yard])[0], yard, LAYS, [], weather(MEMBERS), NOW


def plan():
    return cpu(lambda: make_plan(*case(), stale_after_h=STALE_AFTER_H))


def outlook():
    """What the next coat alone takes, conditions and all."""
    return cpu(lambda: make_outlook(*case(), stale_after_h=STALE_AFTER_H))


def shared():
    """Choosing among starts that are judged, by the search alone: the solver takes the time that it is given."""
    sites = [site("yard")]
    ready, people = judged(weather(1), sites)[:PIECES], [Person(key="kim"), Person(key="sasha")]
    return cpu(lambda: make_plans(ready, people, effort=0.0))


ROWS = (
    Row("plan", f"planning {COATS} coats, {MEMBERS} members, 16 days", "the outlook of the next coat",
        pair(plan, outlook), "less"),
    Row("plan_work", f"planning {COATS} coats, {MEMBERS} members, 16 days", "numpy's work over arrays",
        pair(plan, lambda: cpu(work.arrays())), "less", guard=True),
    Row("plan_shared", f"{PIECES} pieces of {COATS} coats for two people, no solver", "much with little in Python",
        pair(shared, lambda: cpu(work.small(20_000))), "less", guard=True),
)  # fmt: skip
