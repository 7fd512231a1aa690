"""What things cost, each against a reference of the same run: `python tests/bench/table.py [ROW ...]`

One line a row: the ratio (the median of seven rounds, each of ours and of the reference, turn about), its spread, the
bar where there is one, and what either side cost. ROW is the name of a row or of a module in `rows/`, or a pattern of
the shell; all are measured where none is named. Ends with 1 where a bar is missed.

    --keep [FILE]     add the figures as a line of JSON, with versions and machine, to FILE (else to kept.jsonl)
    --compare A B     measure nothing; print how the figures of commit B in that file compare with those of commit A
    --guard           measure the guarded rows, and end with 1 where one has fallen too far below its kept figure;
                      with --keep, keep new figures of them instead

Everything runs on one core, each row in a process of its own. Costs are processor time where the work is our own
process's, so that another's load is not counted; a busy machine still spoils caches, so keep figures of a quiet one.
"""

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from fnmatch import fnmatch
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from pkgutil import iter_modules

ALONE = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS", "NUMBA_NUM_THREADS")
os.environ |= dict.fromkeys(ALONE, "1")  # before numpy is imported
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench import kept, rows  # noqa: E402  (tests are not a package)
from bench.row import measured  # noqa: E402
from dryspell.heap import keep_at_hand  # noqa: E402


def every_row():
    """Return the rows of every module in `rows/`, by module and name."""
    found = {}
    for module in sorted(each.name for each in iter_modules(rows.__path__)):
        for row in import_module(f"bench.rows.{module}").ROWS:
            assert row.name not in {name for _, name in found}, f"two rows are called {row.name}"
            found[module, row.name] = row
    return found


def chosen(found, patterns):
    """Return the rows that one of the patterns names, all where there is none."""
    for pattern in patterns:
        if not any(fnmatch(name, pattern) for names in found for name in names):
            raise SystemExit(f"no row is called {pattern}; there are {', '.join(name for _, name in found)}")
    return [
        row
        for names, row in found.items()
        if not patterns or any(fnmatch(name, pattern) for name in names for pattern in patterns)
    ]


def one_core():
    """Keep this process, and what it starts, on one processor, where the system can."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


def measured_apart(row):
    """Measure a row in a process of its own: what memory another row left behind alters a cost by a half."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as process:
        return process.submit(_measured_by_name, row.name).result()


def _measured_by_name(name):
    keep_at_hand()  # as the daemon does
    return measured(next(row for row in every_row().values() if row.name == name))


def meets(row, sample):
    """Return whether the bar is met; where there is none, it is."""
    if row.bar is None:
        return True
    return sample.ratio >= row.bar if row.better == "more" else sample.ratio <= row.bar


def line(row, sample):
    """Return a row of the table."""
    bar = "" if row.bar is None else f"{'>=' if row.better == 'more' else '<='} {row.bar:g}"
    marks = "" if meets(row, sample) else "  MISSED"
    if row.ours_at_most is not None and sample.ours > row.ours_at_most:
        marks += f"  (over {row.ours_at_most:g} {row.unit} here)"
    costs = f"{sample.ours:10.4g} {sample.reference:10.4g} {row.unit:4}"
    ratio = f"{row.name:26} {sample.ratio:10.4g} +-{sample.spread:5.1%} {bar:>9}"
    return f"{ratio} {costs} {row.says} / {row.against}{marks}"


HEAD = f"{'row':26} {'ratio':>10} {'spread':>7} {'bar':>9} {'ours':>10} {'reference':>10}"


def table(wanted):
    """Measure and print rows; return their samples by name, and whether every bar was met."""
    print(HEAD)
    samples, met = {}, True
    for row in wanted:
        try:
            samples[row.name] = measured_apart(row)
        except ImportError as error:
            print(f"{row.name:26} not measured: {error}")
            continue
        met = met and meets(row, samples[row.name])
        print(line(row, samples[row.name]), flush=True)
    return samples, met


def guard(wanted, lines):
    """Measure the guarded rows against what is kept; return whether all hold. One that has fallen is measured again."""
    print(HEAD)
    fallen = []
    for row in wanted:
        was = kept.figure(lines, row.name)
        if was is None:
            fallen.append(f"{row.name}: no figure is kept; add one with --keep")
            continue
        for _ in range(2):
            sample = measured_apart(row)
            print(line(row, sample), f" (kept {was['ratio']:.4g})", flush=True)
            if not kept.has_fallen(row.better, was["ratio"], sample.ratios):
                break
        else:
            change = kept.standing(row.better, was["ratio"], sample.ratio) - 1
            fallen.append(
                f"{row.name}: {change:+.0%} against the kept figure, {was['ratio']:.4g}; now {sample.ratio:.4g}"
            )
    for each in fallen:
        print(f"FALLEN: {each}")
    return not fallen


def main():
    """Do what the command line asks."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("row", nargs="*")
    parser.add_argument("--keep", nargs="?", type=Path, const=kept.FILE, metavar="FILE")
    parser.add_argument("--compare", nargs=2, metavar=("A", "B"))
    parser.add_argument("--guard", action="store_true")
    asked = parser.parse_args()
    if asked.compare:
        print(kept.comparison(kept.read(asked.keep or kept.FILE), *asked.compare))
        return True
    wanted = chosen(every_row(), asked.row)
    one_core()
    if asked.guard and not asked.keep:
        return guard([row for row in wanted if row.guard], kept.read(kept.FILE))
    wanted = [row for row in wanted if row.guard or not asked.guard]
    samples, met = table(wanted)
    if asked.keep:
        kept.add(asked.keep, wanted, samples)
    return met


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
