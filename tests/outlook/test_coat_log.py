"""The record reckoned up, held against worked examples of the trade notes."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dryspell.outlook.coat_log import coat_log
from dryspell.outlook.coat_words import advice_text, deviations, differences, met_lines
from dryspell.outlook.laid import as_laid
from dryspell.outlook.met_model import AtPiece, Figure, Met
from dryspell.outlook.model import Advice, Coat, Limit, Reason
from dryspell.trade.families import built_on, family, family_keys
from dryspell.trade.piece import Piece
from dryspell.trade.system import Step, lays_of

BEGIN = datetime(2026, 6, 1, 9, tzinfo=UTC)
COATINGS = {key: family(key) for key in family_keys()}
RAIL = Piece.model_validate(
    {"key": "rail", "site": "home", "coating": "oil_varnish_1k", "coats": 8, "area": "4.05 m^2"}
)
# Example 1 of the trade notes: parts of thinner and wet film of eight coats, 48 % solids, 15 % waste, 4.05 m2.
EXAMPLE = [(50, 70), (25, 75), (10, 80), (0, 85), (0, 85), (0, 85), (0, 85), (5, 80)]
LITRES = [0.326, 0.349, 0.372, 0.396, 0.396, 0.396, 0.396, 0.372]
DRY_UM = [22, 29, 35, 41, 41, 41, 41, 37]


def coat(number, **changes):
    at = BEGIN + timedelta(days=number)
    return Coat(piece="rail", number=number, **({"finished_at": at, "recorded_at": at} | changes))


def reckoned(coats, piece=RAIL, coatings=COATINGS):
    lays = lays_of([Step(coating=piece.coating, times=piece.coats)], coatings)
    return coat_log(piece, coats, lays, coatings)


def test_film_and_full_coats_are_those_of_the_worked_example():
    log = reckoned([coat(n, thinner_parts=p, wet_film_um=w) for n, (p, w) in enumerate(EXAMPLE, 1)])
    assert [row.dry_film_um for row in log.rows] == [pytest.approx(um, abs=0.5) for um in DRY_UM]
    assert log.dry_film_um == pytest.approx(286, abs=1.0)
    # Seven sandings of about 4 um: 28 in the example.
    least, most = log.sanded_um
    assert least < 28 < most
    assert (log.on, log.full, log.untold, log.by_plan) == (8, 6, 0, 0)
    assert [row.full_number for row in log.rows] == [None, None, 1, 2, 3, 4, 5, 6]


def test_the_mean_wet_film_follows_from_the_litres_used():
    log = reckoned(
        [coat(n, thinner_parts=p, litres=used) for n, ((p, _), used) in enumerate(zip(EXAMPLE, LITRES, strict=True), 1)]
    )
    assert [row.wet_film_um for row in log.rows] == [pytest.approx(wet, abs=0.2) for _, wet in EXAMPLE]
    assert {row.film_by for row in log.rows} == {"litres"}


def test_litres_say_nothing_of_a_film_whose_area_nobody_told_and_a_comb_goes_before_them():
    nowhere = Piece.model_validate({"key": "rail", "site": "home", "coating": "oil_varnish_1k"})
    assert reckoned([coat(1, litres=0.4)], nowhere).rows[0].film_by == "plan"
    assert reckoned([coat(1, litres=0.4, wet_film_um=66.0)]).rows[0].wet_film_um == 66.0


def test_what_is_not_told_of_a_coat_is_counted_apart_and_never_assumed():
    log = reckoned([coat(1), coat(2, thinner_parts=0.0)])
    assert (log.full, log.untold, log.by_plan) == (1, 1, 1)
    assert log.rows[0].dry_film_um is None


def test_coats_from_before_the_record_are_told_apart():
    piece = RAIL.model_copy(update={"done": 3})
    log = reckoned([coat(4, thinner_parts=0.0)], piece)
    assert (log.on, log.before, log.full) == (4, 3, 1)
    assert (reckoned([], piece).on, reckoned([]).on) == (3, 0)


def test_a_spoilt_coat_is_in_the_record_and_in_no_sum():
    spoilt = coat(1, thinner_parts=0.0, spoilt="rain")
    again = coat(1, thinner_parts=0.0, finished_at=BEGIN + timedelta(days=4))
    log = reckoned([spoilt, again])
    assert (log.on, log.before, log.full, len(log.rows)) == (1, 0, 1, 2)
    assert log.dry_film_um == log.rows[1].dry_film_um
    assert [row.full_number for row in log.rows] == [None, 1]


def said(one, units="metric", coatings=COATINGS):
    return list(deviations(reckoned([one], coatings=coatings).rows[0], units))


def test_a_coat_as_planned_in_good_weather_has_no_deviation():
    good = AtPiece(air_c=Figure(value=18.0, known="sensor"), margin_k=Figure(value=6.0, known="forecast"))
    met = Met(began_at=BEGIN, start=good, least=good, most=good)
    assert said(coat(4, thinner_parts=0.0, wet_film_um=80.0, abrasive="P400", met=met)) == []


def test_what_was_not_as_planned_is_said_plainly():
    other = {**COATINGS, "mine": built_on("oil_varnish_1k", "mine", {})}
    one = coat(4, thinner_parts=12.0, wet_film_um=60.0, abrasive="none", coating="mine", spoilt="dew")
    assert said(one, coatings=other) == [
        "spoilt by dew: it does not count",
        "mine, where One-component tung, phenolic or alkyd varnish was planned",
        "thinner: 12 parts to 100, planned neat",
        "wet film 60 µm, planned 80 µm",
        "sanded with none before it, planned P400",
    ]


def test_weather_outside_the_figures_of_the_coating_is_said_with_how_it_is_known():
    least = AtPiece(margin_k=Figure(value=2.1, known="estimate"), air_c=Figure(value=4.0, known="forecast"))
    most = AtPiece(humidity_pct=Figure(value=93.0, known="sensor"))
    met = Met(began_at=BEGIN, least=least, most=most)
    assert said(coat(4, thinner_parts=0.0, met=met)) == [
        "air 4.0 °C (by the forecast), where at least 5 °C is asked",
        "humidity 93 % (by a sensor), where at most 85 % is asked",
        "surface over the dew point 2.1 K (estimated from readings), where at least 3 K is asked",
    ]
    # What was measured by hand goes before what was worked out.
    measured = met.model_copy(update={"by_hand": AtPiece(margin_k=Figure(value=4.0, known="hand"))})
    assert not any("dew point" in text for text in said(coat(4, thinner_parts=0.0, met=measured)))


def test_a_coat_against_the_advice_is_said_and_one_with_it_is_not():
    dew = Reason(limit=Limit.MARGIN_HOLD, value=0.3, bound=1.0, unit="K")
    against = coat(4, thinner_parts=0.0, advice=Advice(word="wait", reason=dew, given_at=BEGIN))
    assert said(against) == ["put on against the advice then: wait, dew on the wet film"]
    for advice in (
        Advice(word="coat", given_at=BEGIN),
        Advice(word="tight", reason=dew, given_at=BEGIN),
        Advice(word="unknown", reason=Reason(limit=Limit.KNOWN), given_at=BEGIN),
        Advice(word="wait", reason=Reason(limit=Limit.BUILT_UP), given_at=BEGIN),
    ):
        assert said(coat(4, thinner_parts=0.0, advice=advice)) == []
    assert advice_text(Advice(word="unknown", reason=Reason(limit=Limit.KNOWN), given_at=BEGIN)).startswith("unknown")


def test_the_difference_of_two_versions_names_what_is_another_way_and_no_more():
    old = coat(4, who="Ada", thinner_parts=50.0)
    new = coat(4, who="Ada", thinner_parts=0.0, litres=0.4, note="brushed out")
    assert list(differences(old, new, ZoneInfo("Europe/Berlin"), "metric")) == [
        "thinner neat, was 50 parts to 100",
        "used 0.4 L, was not told",
        "note brushed out, was not told",
    ]


def test_unknown_weather_is_said_to_be_unknown():
    for met in (None, Met(began_at=BEGIN)):
        assert list(met_lines(met, UTC, BEGIN, "metric", assumed=False)) == [
            "The weather it was put on in is not known here."
        ]


def test_a_coat_of_another_coating_is_laid_with_that_one_and_the_change_is_known():
    lays = lays_of([Step(coating="oil_varnish_1k", times=3)], COATINGS)
    laid = as_laid(lays, [coat(2, coating="fast_build_1k")], COATINGS)
    assert [lay.coating.key for lay in laid] == ["oil_varnish_1k", "fast_build_1k", "oil_varnish_1k"]
    assert [lay.changes for lay in laid] == [False, True, True]
    assert as_laid(lays, [coat(2, coating="gone_from_the_file"), coat(3)], COATINGS) == lays
    assert as_laid(lays, [coat(4, coating="fast_build_1k")], COATINGS) == lays
