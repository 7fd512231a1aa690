import re
from datetime import timedelta

import pytest

from alerts.fakes import DEW, at, film, outlook, unknown, window
from dryspell.alerts.decide import decide
from dryspell.alerts.model import Habits, PieceHabits
from dryspell.alerts.text import About, compose, notice_id
from dryspell.outlook.model import BareWood, Mix, Stages
from dryspell.trade.families import family, family_keys
from dryspell.trade.piece import Piece
from dryspell.trade.safety import DATA_SHEET, EPOXY, ISOCYANATE, RAGS, SOLVENT, cautions
from dryspell.trade.system import Step, lay_at, lays_of

W = [window(3, "09:45", "14:00", tight_until=at(3, "15:30"), hang_shade_by=at(3, "12:30"))]
TIGHT = "it works only if the forecast is right to the last degree"
LATER = [window(5, "10:00", "12:00", word="tight")]
RAIL = Piece.model_validate(
    {"key": "rail", "name": "Toe rail", "site": "mooring", "coating": "oil_varnish_1k", "area": "4 m^2"}
)


def about(seen, key="oil_varnish_1k", piece=RAIL, **step):
    lays = lays_of([Step(coating=key, times=8, **step)], {key: family(key)})
    below = lay_at(lays, seen.film.coat.number) if seen.film else None
    return {seen.piece: About(seen, lay_at(lays, seen.next_coat), piece, below)}


def said(*outlooks, units="metric", link="", habits=None, **more):
    """Return title and body of the last notice that the outlooks, one after the other, lead to."""
    memory, last = {}, None
    for seen in outlooks:
        notices, memory = decide(memory, [seen], seen.made_at, habits or Habits())
        last = (notices[-1], seen) if notices else last
    notice, seen = last
    return compose(notice, about(seen, **more), units, link=link)


EVENING = outlook(at(2, "18:00"), W + LATER)
OPEN = outlook(at(3, "09:45"), W + LATER)


def test_the_heads_up_has_the_window_the_last_stroke_the_numbers_and_what_comes_after():
    title, body = said(EVENING)
    assert title == "Coat Wed 09:45-14:45: Toe rail"
    tight = f"Tight ({TIGHT}): with the last stroke after that, to 15:30 at the latest."
    assert body.splitlines()[:-1] == [
        "Coat 4 of 8, neat (no thinner).",
        f"Begin Wed 09:45 to 13:15, brush down by 14:45. {tight}",
        "To brush Wed 09:45, begin 08:50: sand P400, dust off and wipe, about 50 min.",
        "Hang the shade by Wed 12:30: from then on the sun is too much for a wet film.",
        "Surface 16.2 °C, humidity 64 %.",
        "Surface over dew point: 4.1 K at the least while brushing, then 1.6 K until dew-safe.",
        "Nearest limit: surface 1.6 K over the dew point Wed 20:00, 0.6 K to spare.",
        "Estimated, begun at the best time: dew-safe Wed 18:20, rain-safe Wed 21:00, sandable Thu 10:00.",
        "Next other window: Fri 10:00 to 12:45, tight.",
        "Weather: open-meteo, 2 h old. Weather data by Open-Meteo.com",
    ]


def test_the_heads_up_prepares_no_sooner_than_the_coat_below_is_hard():
    stages = Stages(sandable=at(3, "09:30"))
    _, body = said(outlook(at(2, "18:00"), W, film=film(1, "10:00", at(1, "18:00"), stages=stages)))
    wanted = "Coat 3 is hard about Wed 09:30; then sand P400, dust off and wipe, about 50 min, and brush from 10:25."
    assert wanted in body.splitlines()


def test_coat_now_leads_with_the_last_stroke_and_ends_with_the_cautions():
    title, body = said(OPEN, link="http://shed.local:8080/")
    assert title == "Coat now, brush down by 14:45: Toe rail"
    assert "Not prepared yet? Sand P400, dust off and wipe, about 50 min, so brush from 10:40." in body.splitlines()
    assert "Coated? Record it: http://shed.local:8080/record/rail?coat=4" in body.splitlines()
    assert tuple(body.splitlines()[-4:-1]) == (RAGS, SOLVENT, DATA_SHEET)


def test_a_tight_window_says_so_first():
    title, body = said(outlook(at(3, "10:00"), [window(3, "09:45", "14:00", word="tight")]))
    assert title == "Tight now, brush down by 14:45: Toe rail"
    assert "Tight: it works only if the forecast is right to the last degree." in body
    assert "No other window within the forecast." in body


def test_a_window_too_short_to_prepare_in_says_so():
    _, body = said(outlook(at(3, "09:45"), [window(3, "09:45", "10:15")]))
    assert "about 50 min; that is too long for this window." in body


def test_a_window_that_opens_tight_says_from_when_it_is_better():
    windows = [window(3, "09:45", "14:00", good_from=at(3, "10:30"))]
    title, body = said(outlook(at(3, "09:45"), windows, word="tight"))
    assert title == "Tight now, better from 10:30: Toe rail"
    assert "Begin 09:45 to 14:00, brush down by 14:45. Tight (it works" in body
    assert "the last degree): before 10:30." in body


def test_both_parts_of_a_window_with_a_short_gap_are_named():
    _, body = said(outlook(at(3, "09:45"), [window(3, "09:45", "11:00"), window(3, "12:00", "14:00")]))
    assert "Begin 09:45 to 11:00, brush down by 11:45.\nThen again: Begin 12:00 to 14:00, brush down by 14:45." in body


def test_odds_and_how_long_a_mix_keeps_are_told_where_they_are_known():
    mix = Mix(pot_life_h=4.0, brushable_h=2.6667, induction_min=(0, 15))
    _, body = said(outlook(at(3, "09:45"), [window(3, "09:45", "14:00", probability=0.9, mix=mix)]))
    assert "Good in 90 % of the ways the weather may go." in body
    assert "A mix brushes well for about 2 h 40 min and goes off after 4 h: mix what you brush in that time." in body
    assert "Let it stand 0 to 15 min before you brush." in body


def test_the_last_call_says_until_when_and_where_to_record():
    title, body = said(OPEN, outlook(at(3, "12:30"), W + LATER), link="https://shed.example")
    assert title == "Begin by 13:15 or leave it: Toe rail"
    assert body.splitlines()[:3] == [
        "Coat 4 of 8: first stroke by 13:15, last by 14:45.",
        "Later is too late for this window.",
        "Not prepared yet? Leave it.",
    ]
    assert "Coated already? Record it, and this stops: https://shed.example/record/rail?coat=4" in body


def test_the_last_call_says_until_when_preparing_may_still_begin():
    habits = Habits(piece={"rail": PieceHabits(prepares=timedelta(minutes=50), brushes=timedelta(minutes=45))})
    _, body = said(OPEN, outlook(at(3, "12:15"), W + LATER), habits=habits)
    assert "Not prepared yet? Begin by 12:20: sand P400, dust off and wipe, about 50 min." in body.splitlines()


def test_the_shade_hangs_before_the_first_stroke_where_the_sun_is_there_already():
    _, body = said(outlook(at(3, "09:45"), [window(3, "09:45", "14:00", hang_shade_by=at(3, "09:45"))]))
    assert "Hang the shade before you begin: from then on the sun is too much for a wet film." in body.splitlines()


def test_whoever_may_have_coated_is_asked_to_record_it_when_the_window_goes():
    record = "Coated already? Record it, and hear what comes to it: https://shed.example/record/rail?coat=4"
    assert record in said(OPEN, outlook(at(3, "10:05"), LATER), link="https://shed.example")[1]
    assert record not in said(EVENING, outlook(at(2, "20:00"), LATER), link="https://shed.example")[1]


def test_a_window_that_has_gone_is_taken_back_with_the_reason_and_the_next_one():
    title, body = said(EVENING, outlook(at(2, "20:00"), LATER))
    assert title == "Wait, no coat Wed 09:45: Toe rail"
    assert body.splitlines()[:4] == [
        "You were told Wed 09:45 to 14:45 for coat 4.",
        "Dew: surface 0.4 K under the dew point, before the film is dew-safe (1 K over it needed).",
        "Leave the can shut.",
        "Next window: Fri 10:00 to 12:45, tight.",
    ]


def test_a_window_that_was_open_is_taken_back_as_one():
    assert said(OPEN, outlook(at(3, "10:05"), LATER))[0] == "Wait, not now after all: Toe rail"


def test_a_window_that_opens_later_names_the_new_hour():
    title, body = said(EVENING, outlook(at(2, "20:00"), [window(3, "11:30", "14:00")]))
    assert title == "Wait until Wed 11:30: Toe rail"
    assert "Now: Begin Wed 11:30 to 14:00, brush down by 14:45." in body


def test_a_window_that_ends_sooner_names_the_new_last_stroke():
    title, _ = said(OPEN, outlook(at(3, "10:00"), [window(3, "09:45", "12:00")]))
    assert title == "Brush down sooner, by 12:45: Toe rail"
    shut = outlook(at(3, "10:00"), [window(3, "10:45", "12:00")])
    assert said(OPEN, shut)[0] == "Wait until 10:45: Toe rail"


def test_lost_weather_says_why_and_what_it_touches():
    title, body = said(EVENING, unknown(at(2, "20:00")))
    assert title == "Wait, no weather to go by: Toe rail"
    assert "The forecast is 13.0 h old (12 h at most)." in body
    assert "You were told Wed 09:45 to 14:45 for coat 4." in body
    wet = outlook(at(3, "12:00"), film=film(3, "10:30", at(3, "19:00")))
    _, body = said(wet, unknown(at(3, "14:00"), weather=None))
    assert "There is no weather to go by." in body
    assert "Coat 3 may not be dew-safe" in body


def test_a_coat_that_needs_sanding_first_says_so_and_a_thinned_one_how_much():
    _, body = said(outlook(at(3, "09:45"), W, coat=2, sand_first=True))
    assert body.startswith("Coat 2 of 8, 25 parts of thinner to 100.")
    assert "Sanding first is a must, the time to coat without it is over." in body


def test_a_window_that_needs_the_cover_says_by_when_and_what_for():
    covered = window(3, "09:45", "14:00", cover_on_by=at(3, "17:00"), without_cover=DEW)
    dew = "without it dew: surface 0.4 K under the dew point, before the film is dew-safe (1 K over it needed)."
    _, body = said(outlook(at(2, "18:00"), [covered]))
    assert f"\nCover on by Wed 17:00; {dew}\n" in body
    _, body = said(outlook(at(2, "18:00"), [covered.model_copy(update={"bare_until": at(3, "11:00")})]))
    assert f"\nCover on by Wed 17:00 for a coat begun after Wed 11:00; {dew}\n" in body


def test_bare_wood_is_told_how_dry_it_has_to_be():
    wood = BareWood(settles_at_pct=14.2, below_pct=16.0, read_pct=22.0, days=(6.0, 12.0))
    _, body = said(outlook(at(2, "18:00"), W, coat=1, wood=wood))
    assert "\nThe wood reads 22 %: bring it under 16 % before coat 1, about 6 to 12 days " in body


def test_us_units_leave_nothing_metric():
    _, body = said(OPEN, units="us")
    assert "Surface 61 °F" in body
    assert not re.search(r"\d (°C|K|m/s|mm)\b", body)


def test_several_pieces_are_one_message_with_the_credit_and_the_cautions_once():
    seen = [
        outlook(at(3, "09:45"), W, piece=key, piece_name=name) for key, name in (("rail", "Toe rail"), ("mast", "Mast"))
    ]
    (both,), _ = decide({}, seen, seen[0].made_at, Habits())
    title, body = compose(both, about(seen[0]) | about(seen[1]), place="Quillhaven")
    assert title == "Coat now, brush down by 14:45: 2 pieces"
    assert [line for line in body.splitlines() if line.startswith("* ")] == [
        "* Coat now, brush down by 14:45: Toe rail",
        "* Coat now, brush down by 14:45: Mast",
    ]
    assert body.count(RAGS) == body.count("Weather data by") == 1
    assert body.splitlines()[-1] == f"[{notice_id(both)}]"


# Which caution for which coating: fire services on rags, the British safety executive on isocyanate, as the trade notes
# carry them; that waterborne clears need neither is common practice, no source.
@pytest.mark.parametrize("key", family_keys())
def test_cautions_go_by_what_the_coating_is(key):
    shown = cautions(family(key))
    assert (RAGS in shown) == (key not in {"pu_clear_2k", "epoxy_sealer_2k", "acrylic_clear_wb", "water_stain"})
    assert (ISOCYANATE in shown) == (key == "pu_clear_2k")
    assert (EPOXY in shown) == (key == "epoxy_sealer_2k")
    assert (SOLVENT in shown) == (key not in {"acrylic_clear_wb", "water_stain"})
    assert shown[-1] == DATA_SHEET
