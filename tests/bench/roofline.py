"""What bounds the window judgement of one piece: python tests/bench/roofline.py [--given-back]

For each stage of an outlook over 16 days x 96 starts x 51 members: processor time (median of 7), the bytes that its
passes over arrays move, how fast that is beside what a triad moves in the same run on arrays of the same size, and the
shares of the time that its exp, log and power take at the rate at which they run alone, that calling numpy takes
whatever the size, and that new pages take. Bytes, elements and calls are counted by a subclass of numpy's array that
looks on at a run of its own: what an operation reads and writes, once each. Writing to selections, and the little that
is done with arrays stripped of the subclass, is not seen, so bytes are a lower bound.

Memory is kept at hand as the daemon has it; with `--given-back` the C library does as it sees fit, as in most programs.
"""

import collections
import mmap
import resource
import statistics
import sys
import time
from dataclasses import fields, replace
from pathlib import Path
from unittest import mock

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from bench.bench_plan import LAYS, NOW, STALE_AFTER_H, VARNISH, pieces, site, weather
from dryspell.heap import keep_at_hand
from dryspell.outlook.conditions import conditions_at, face_weather
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.exposure import exposure_of
from dryspell.outlook.judge import Asked, spans_of
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.windows import blocks_of, judge_all, windows_of
from dryspell.science import surface

MEMBERS, ROUNDS = 51, 7
FAR = 1 << 23
"""Elements of an array far beyond the caches: 64 MiB."""
SLOW = ("exp", "expm1", "log", "power")
tally = collections.Counter()


class Counted(np.ndarray):
    """An array that counts what is done with it."""

    def __array_ufunc__(self, ufunc, method, *given, **named):
        given, named = _plain(given), _plain(named)
        found = getattr(ufunc, method)(*given, **named)
        return _counted(ufunc.__name__, (given, named.get("where")), found)

    def __getitem__(self, at):
        found = super().__getitem__(at)
        if isinstance(found, np.ndarray) and not np.may_share_memory(_plain(found), _plain(self)):
            tally["bytes"] += 2 * found.nbytes
        return found

    def __array_function__(self, function, types, given, named):
        given, named = _plain(given), _plain(named)
        found, read = function(*given, **named), (given, tuple(named.values()))
        is_view = any(np.may_share_memory(made, each) for made in _arrays(found) for each in _arrays(read))
        return _watched(found) if is_view else _counted(function.__name__, read, found)


def _plain(each):
    if isinstance(each, np.ndarray):
        return each.view(np.ndarray)
    if isinstance(each, tuple | list):
        return type(each)(map(_plain, each))
    return {name: _plain(value) for name, value in each.items()} if isinstance(each, dict) else each


def _arrays(each):
    if isinstance(each, np.ndarray):
        yield each
    elif isinstance(each, tuple | list):
        for part in each:
            yield from _arrays(part)


def _counted(name, given, found):
    """Add an operation to the tally, and return its outcome to be looked at further."""
    made = list(_arrays(found))
    tally["calls"] += 1
    tally["bytes"] += sum(each.nbytes for each in (*made, *_arrays(given)))
    if name in SLOW:
        tally[name] += sum(each.size for each in made)
    return _watched(found)


def _watched(each):
    if isinstance(each, np.ndarray):
        return each.view(Counted)
    return type(each)(map(_watched, each)) if type(each) in (tuple, list) else each


def watched(model):
    """Return a dataclass with its arrays watched."""
    changes = {each.name: _watched(getattr(model, each.name)) for each in fields(model)}
    if isinstance(getattr(model, "columns", None), dict):
        changes["columns"] = {name: _watched(column) for name, column in model.columns.items()}
    return replace(model, **changes)


def count(stage, before):
    """Return what a stage moves: bytes, and elements of exp, log and power."""
    kept = {"asarray": np.asanyarray, "ascontiguousarray": lambda array: np.asanyarray(array, order="C")}
    with mock.patch.multiple(np, **kept):
        given = before()
        tally.clear()
        stage(*given)
    return collections.Counter(tally)


def measure(stage, before=tuple):
    """Return processor time and page faults of a stage: medians."""
    times, faults = [], []
    for _ in range(ROUNDS):
        given = before()
        begun, at = resource.getrusage(resource.RUSAGE_SELF).ru_minflt, time.process_time()
        stage(*given)
        times.append(time.process_time() - at)
        faults.append(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - begun)
    return statistics.median(times), statistics.median(faults)


def triad(size):
    """Return how many bytes a second a = b + 3 c moves: what its two passes read and write."""
    a, b, c = np.zeros(size), np.ones(size), np.ones(size)
    again = max(1, FAR // size)

    def run():
        for _ in range(again):
            np.multiply(c, 3.0, out=a)
            np.add(a, b, out=a)

    return again * 5 * 8 * size / measure(run)[0]


def slow_s(size):
    """Return the seconds of exp, log and power on an element."""
    x, out = np.random.default_rng(1).uniform(0.5, 2.0, size), np.empty(size)
    runs = {name: ((x, 0.6) if name == "power" else (x,)) for name in SLOW}

    def seconds(name):
        return measure(lambda: [getattr(np, name)(*runs[name], out=out) for _ in range(10)])[0] / 10

    return {name: seconds(name) / size for name in SLOW}


def call_s():
    """Return what a call of numpy takes on an array of one element. [s]"""
    x, out = np.ones(1), np.empty(1)
    return measure(lambda: [np.add(x, x, out=out) for _ in range(10_000)])[0] / 10_000


def fault_s():
    """Return what it takes to meet a page for the first time, beyond writing to it. [s]"""
    pages = 16384

    def touch(fresh):
        memory = np.frombuffer(fresh, dtype=np.uint8)
        memory[:: mmap.PAGESIZE] = 1

    def used():
        fresh = mmap.mmap(-1, pages * mmap.PAGESIZE)
        touch(fresh)
        return (fresh,)

    new_s, faults = measure(touch, lambda: (mmap.mmap(-1, pages * mmap.PAGESIZE),))
    return (new_s - measure(touch, used)[0]) / max(faults, 1)


def stages():
    """Yield the stages of an outlook: name, work, what it is given, and the same watched."""
    yard, table = site("yard"), weather(MEMBERS)
    piece = pieces([yard])[0]
    w, c = face_weather(piece, yard, table), conditions_at(piece, yard, table)
    asked = Asked(6, 4, c.times[np.zeros(MEMBERS, dtype=np.int64)])
    starts = np.arange(c.times.size)

    def solved(w):
        return surface.solve(
            w.times, w.air_c, w.dew_point_c, w.wind_10m_m_s, w.plane_w_m2, w.sky_w_m2, exposure_of(piece, yard),
            rain_mm=w.rain_mm, pressure_hpa=w.pressure_hpa,
        )  # fmt: skip

    def dried(c):
        clock = DryingClock(c, VARNISH)
        reached = spans_of(c, clock, starts, asked), clock.of_films(c.times)
        return [getattr(reached[1], name) for name in ("touch_dry", "dew_safe", "rain_safe", "sandable")]

    def judged(c):
        return judge_all(c, DryingClock(c, VARNISH), VARNISH, starts, asked)

    def told(found):
        return windows_of(found), blocks_of(found)

    def whole(table):
        return make_outlook(piece, yard, LAYS, [], table, NOW, stale_after_h=STALE_AFTER_H)

    def columns(table):
        return face_weather(piece, yard, table)

    yield "columns at the face", columns, lambda: (table,), lambda: (watched(table),)
    yield "surface temperature, water", solved, lambda: (w,), lambda: (watched(w),)
    yield "drying sums", dried, lambda: (replace(c),), lambda: (watched(c),)
    yield "judging, with drying sums", judged, lambda: (replace(c),), lambda: (watched(c),)
    yield "windows", told, lambda: (judged(replace(c)),), lambda: (judged(watched(c)),)
    yield "the whole outlook", whole, lambda: (table,), lambda: (watched(table),)


def main(arguments):
    """Print the account."""
    if arguments != ["--given-back"]:
        keep_at_hand()
    size = MEMBERS * conditions_size()
    near, far, each_s, a_call_s, a_fault_s = triad(size), triad(FAR), slow_s(size), call_s(), fault_s()
    print(
        f"arrays of {size * 8 / 1024:.0f} KiB; a triad moves {near / 1e9:.1f} GB/s on these,"
        f" {far / 1e9:.1f} GB/s on 64 MiB"
    )
    print("an element:", ", ".join(f"{name} {1e9 * s:.1f} ns" for name, s in each_s.items()), end="; ")
    print(f"a call: {a_call_s * 1e6:.2f} us; a new page: {a_fault_s * 1e6:.2f} us")
    print(f"{'stage':27}     ms   MB moved   GB/s  of triad  exp, log, power   calls  of time  pages  of time")
    for name, work, given, looked_at in stages():
        took_s, faults = measure(work, given)
        seen = count(work, looked_at)
        slow = sum(seen[each] * each_s[each] for each in SLOW)
        print(
            f"{name:27}{took_s * 1e3:7.1f}{seen['bytes'] / 1e6:11.1f}{seen['bytes'] / took_s / 1e9:7.2f}"
            f"{seen['bytes'] / near / took_s:10.0%}{slow / took_s:17.0%}"
            f"{seen['calls']:8}{seen['calls'] * a_call_s / took_s:9.0%}{faults:7.0f}{faults * a_fault_s / took_s:9.0%}"
        )


def conditions_size():
    """Return how many instants the grid has."""
    yard = site("yard")
    return conditions_at(pieces([yard])[0], yard, weather(1)).times.size


if __name__ == "__main__":
    main(sys.argv[1:])
