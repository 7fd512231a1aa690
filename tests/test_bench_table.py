"""The table of what things cost: its ratios, and when its guard says that a row has fallen. Figures are invented."""

import json
from importlib import import_module
from pkgutil import iter_modules

import pytest

from bench import kept, rows
from bench.row import Row, Sample, cpu, measured, pair


def row(costs, against, better="less"):
    """Return a row whose sides cost what is listed, the first of each unheeded."""
    ours, reference = iter(costs), iter(against)
    return Row("invented", "", "", pair(lambda: lambda: next(ours), lambda: lambda: next(reference)), better)


def test_a_ratio_is_the_median_of_the_rounds_and_says_how_far_they_lie_apart():
    sample = measured(row([99, 2, 2, 2, 2, 4, 2, 6], [1] * 8))
    assert sample.ratios == (2, 2, 2, 2, 4, 2, 6)
    assert (sample.ratio, sample.spread, sample.ours, sample.reference) == (2, 0, 2, 1)


def test_where_more_is_better_it_says_how_many_times_as_cheap_ours_is():
    assert measured(row([1] * 8, [5] * 8, "more")).ratio == 5


def test_both_sides_are_measured_turn_about():
    turns = []

    def side(name):
        def cost():
            turns.append(name)
            return 1.0

        return lambda: cost

    measured(Row("turns", "", "", pair(side("ours"), side("theirs")), "less"), rounds=4)
    first, second = ("ours", "theirs"), ("theirs", "ours")
    assert turns == [*first, *first, *second, *first, *second]


def test_a_cost_is_what_this_process_took_of_a_processor():
    assert cpu(lambda: sum(range(200_000)))() > 0.0


@pytest.mark.parametrize(
    ("better", "was", "rounds", "has_fallen"),
    [
        ("less", 10.0, [10.0, 9.9, 10.2, 10.1, 9.8, 10.0, 10.0], False),
        ("less", 10.0, [14.0] * 7, False),  # 28.6 % fewer for the same
        ("less", 10.0, [14.4] * 7, True),  # 30.6 % fewer
        ("more", 10.0, [7.1] * 7, False),
        ("more", 10.0, [6.9] * 7, True),
        ("more", 10.0, [5.0, 5.0, 5.0, 5.0, 5.0, 8.0, 5.0], True),  # one round was lucky
        ("more", 10.0, [5.0, 5.0, 5.0, 5.0, 8.0, 8.0, 5.0], False),  # two are: it may be the machine
        ("less", 10.0, [3.0] * 7, False),  # better is no fault
    ],
)
def test_a_row_has_fallen_where_all_rounds_but_one_lie_past_thirty_per_cent(better, was, rounds, has_fallen):
    assert kept.has_fallen(better, was, rounds) is has_fallen


def line(commit, machine, **ratios):
    rows = {name: {"ratio": ratio, "better": "less"} for name, ratio in ratios.items()}
    return {"commit": commit, "machine": machine, "rows": rows}


def test_the_kept_figure_is_the_newest_of_this_kind_of_machine_or_else_of_any():
    lines = [line("a", "this", page=1.0), line("b", "this", page=2.0, plan=5.0), line("c", "that", page=3.0, sun=7.0)]
    assert kept.figure(lines, "page", "this")["ratio"] == 2.0
    assert kept.figure(lines, "sun", "this")["ratio"] == 7.0
    assert kept.figure(lines, "moon", "this") is None


def test_what_is_kept_is_a_line_of_json_with_versions_that_is_read_back(tmp_path):
    file = tmp_path / "kept.jsonl"
    for ratio in (2.0, 3.0):
        kept.add(file, [row([], [])], {"invented": Sample((ratio,) * 7, ratio, 1.0)})
    first, second = (json.loads(each) for each in file.read_text("utf-8").splitlines())
    assert set(first) == {"at", "commit", "machine", "versions", "rows"}
    assert {"python", "numpy"} <= set(first["versions"])
    assert first["machine"] == kept.machine()
    assert kept.figure(kept.read(file), "invented")["ratio"] == second["rows"]["invented"]["ratio"] == 3.0


def test_two_commits_are_compared_row_by_row():
    lines = [line("aaaa", "this", page=10.0, gone=1.0), line("bbbb", "this", page=20.0, new=1.0)]
    head, only = kept.comparison(lines, "aa", "bb").splitlines()
    assert head.split()[1:3] == ["aa", "bb"]
    assert only.split() == ["page", "10", "20", "50%"]
    with pytest.raises(SystemExit, match="no figures of commit cc"):
        kept.comparison(lines, "aa", "cc")


def test_every_row_has_a_name_of_its_own_and_each_that_is_guarded_a_kept_figure():
    found = [row for each in iter_modules(rows.__path__) for row in import_module(f"bench.rows.{each.name}").ROWS]
    assert len({row.name for row in found}) == len(found) > 20
    lines = kept.read(kept.FILE)
    assert [row.name for row in found if row.guard and kept.figure(lines, row.name) is None] == []
    assert any(row.guard for row in found)


def test_the_judgement_whose_cost_is_told_comes_to_what_plain_loops_come_to():
    from bench.rows import windows

    assert windows.judged_of(11, every=24) == windows.in_plain_loops(11, every=24)
