"""The days ahead as strips of marks, on outlooks made by hand."""

from datetime import UTC, datetime, timedelta

from dryspell.cli import strip
from dryspell.cli.strip import COAT, TIGHT, note, strips_of
from dryspell.outlook.model import Block, Limit, Outlook, Reason, Stages, Window

MONDAY = datetime(2026, 9, 7, tzinfo=UTC)


def at(hours, day=MONDAY):
    return day + timedelta(hours=hours)


def block(start, end, limit, *others, **reason):
    return Block(start=at(start), end=at(end), reason=Reason(limit=limit, **reason), others=others)


def window(start, last_start, brush_down_by, tight_until, word="coat", good_from=None):
    return Window(
        start=at(start), last_start=at(last_start), good_from=at(start if good_from is None else good_from),
        brush_down_by=at(brush_down_by), tight_until=at(tight_until), word=word, best_start=at(start), probability=1.0,
        binding=Reason(limit=Limit.WIND), margin_apply_k=4, margin_hold_k=2, surface_c=18, humidity_pct=60,
        stages=Stages(),
    )  # fmt: skip


def outlook(windows=(), blocks=(), zone="UTC", made_at=MONDAY):
    return Outlook(
        piece="rail", piece_name="Rail", site="yard", timezone=zone, made_at=made_at, word="wait", reason=None,
        next_coat=2, coats=7, coating="primer_1k", windows=windows, blocks=blocks,
    )  # fmt: skip


def row(strips, day=0):
    return strips.row(strips.days[day])


def test_every_limit_has_its_mark():
    assert set(strip._MARKS) == set(Limit)


def test_a_window_fills_the_time_the_brush_may_be_in_hand_and_reasons_the_rest():
    strips = strips_of(
        outlook(
            [window(10, 11.75, 12, 13)],
            [
                block(0, 8, Limit.HOURS),
                block(8, 10, Limit.DRY),
                block(12, 16, Limit.MARGIN_HOLD),
                block(16, 24, Limit.HOURS),
            ],
        )
    )
    assert (strips.first, strips.count) == (16, 20)
    assert row(strips) == "wwww" + COAT * 4 + TIGHT * 2 + "dddddd····"
    assert strips.ruler() == "  9     12    15"


def test_a_tight_window_and_a_tight_beginning_are_marked_so():
    assert row(strips_of(outlook([window(10, 11, 12, 12, word="tight")]))).strip() == TIGHT * 4
    begins_tight = strips_of(outlook([window(10, 11, 12, 13, good_from=11)]))
    assert row(begins_tight).strip() == TIGHT * 2 + COAT * 2 + TIGHT * 2


def test_a_quarter_of_an_hour_of_window_is_seen():
    strips = strips_of(outlook([window(10, 10, 10.25, 10.25)], [block(8, 10, Limit.SUN), block(10.25, 12, Limit.RAIN)]))
    assert row(strips).strip() == "ssss" + COAT + "rrr"


def test_a_window_over_midnight_is_on_both_days():
    strips = strips_of(outlook([window(23, 24.5, 25, 25)]))
    assert [day.date.day for day in strips.days] == [7, 8]
    assert row(strips, 0).strip() == COAT  # a mark an hour
    assert row(strips, 1).strip() == COAT


def test_a_night_worker_gets_a_mark_an_hour():
    strips = strips_of(outlook([window(1, 2, 3, 3), window(22, 22, 23, 23)], [block(3, 22, Limit.WIND)]))
    assert strips.step == 2
    assert len(row(strips)) <= 24


def test_days_are_the_sites_own():
    strips = strips_of(outlook(blocks=[block(22, 23, Limit.WIND)], zone="Europe/Berlin"))
    assert [day.date.day for day in strips.days] == [8]


def test_clocks_that_change_lose_no_day():
    spring = datetime(2026, 3, 28, 12, tzinfo=UTC)
    whole = Block(start=spring, end=spring + timedelta(days=2), reason=Reason(limit=Limit.WIND))
    strips = strips_of(outlook(blocks=[whole], zone="Europe/Berlin"))
    assert [day.date.day for day in strips.days] == [28, 29, 30]
    assert row(strips, 1).count("g") == len(row(strips, 1)) - 1  # the hour that is left out


def test_an_outlook_of_nights_alone_is_shown_all_the_same():
    strips = strips_of(outlook(blocks=[block(0, 24, Limit.HOURS)]))
    assert set(row(strips)) == {"·"}


def test_the_night_in_which_the_forecast_ends_makes_no_day_of_its_own():
    blocks = [block(8, 18, Limit.WIND), block(18, 25, Limit.HOURS)]
    assert [day.date for day in strips_of(outlook(blocks=blocks)).days] == [MONDAY.date()]


def test_the_note_of_a_day_is_its_windows():
    two = outlook([window(10, 11, 12, 13), window(15, 16, 17, 17, word="tight")])
    assert note(strips_of(two).days[0], two, "metric") == "10:00 to 12:00, tight to 13:00, tight 15:00 to 17:00"


def test_the_note_of_a_day_without_is_the_reason_that_takes_most_of_it_and_not_the_night():
    wind = {"value": 9.0, "bound": 6.0, "unit": "m/s"}
    day = outlook(
        blocks=[
            block(0, 8, Limit.HOURS),
            block(8, 9, Limit.DRY),
            block(9, 16, Limit.WIND, **wind),
            block(16, 24, Limit.HOURS),
        ]
    )
    assert note(strips_of(day).days[0], day, "metric") == "wind 9.0 m/s (max 6 m/s)"
    assert note(strips_of(day).days[0], day, "us") == "wind 20 mph (max 13.4 mph)"


def test_the_note_of_a_wet_day_says_rain_where_it_rains():
    wet = outlook(blocks=[block(8, 18, Limit.DRY, Limit.RAIN, at=at(20)), block(32, 40, Limit.DRY, at=at(42))])
    days = strips_of(wet).days
    assert [note(day, wet, "metric") for day in days] == ["rain, and not dry before 20:00", "not dry before 18:00"]


def test_the_legend_names_the_marks_that_are_there_and_no_others():
    assert strip.legend({COAT, "d", "·"}) == [f"{COAT} coat", "· night or off work", "d dew"]
