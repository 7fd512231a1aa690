"""Pieces that ask the same are answered once, and hear what each would have heard alone."""

import random
from datetime import timedelta

import numpy as np
import pytest

from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Advice, Coat
from dryspell.outlook.outlook import make_outlook
from dryspell.tick import alike
from dryspell.tick.look import look
from dryspell.trade.piece import Piece
from dryspell.weather.error_model import DEFAULT_ERRORS
from dryspell.weather.odds import members_of
from yard import START, config, weather

MORE = """
piece.deck = { name = "Deck", site = "harbour", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "5 m^2" }
piece.hatch = { site = "harbour", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "4.6 m^2", priority = 3 }
piece.sill = { site = "harbour", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "9 m^2" }
piece.frame = { site = "harbour", shelter = "roof", coating = "urethane_alkyd_1k", area = "5 m^2" }
piece.lid = { site = "orchard", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "5 m^2" }
piece.tent = { site = "harbour", shelter = "tent", shut_by_day = true, coating = "oil_varnish_1k", shade = true }
"""


def changing():
    """Return weather with days, nights, rain and odds."""
    hours = np.arange(24 * 8)
    day = np.sin((hours - 9) / 24 * 2 * np.pi)
    rain = np.where(hours % 61 < 4, 0.4, 0.0)
    table = weather(
        air_temperature=14 + 6 * day, relative_humidity=70 - 20 * day, wind_speed=3 + 2 * day, precipitation_amount=rain
    )
    return members_of(table, START, DEFAULT_ERRORS, count=4, seed=7)


def alone(settings, coats, tables, key):
    """Return the outlook of a piece worked out by itself."""
    piece, on = settings.piece[key], coats.get(key, ())
    lays = as_laid(settings.lays_of(piece), on, settings.coating)
    stale_after_h = settings.weather.stale_after_h
    return make_outlook(
        piece, settings.site_of(piece), lays, on, tables[piece.site], START, stale_after_h=stale_after_h
    )


def coat(piece, number, hours_ago, **more):
    at = START - timedelta(hours=hours_ago)
    return Coat(piece=piece, number=number, finished_at=at, recorded_at=at, **more)


def counting(monkeypatch, name):
    """Count the calls of a function."""
    calls, real = [], getattr(alike, name)

    def counted(*args, **named):
        calls.append(args[0].key)
        return real(*args, **named)

    monkeypatch.setattr(alike, name, counted)
    return calls


@pytest.fixture
def seen(tmp_path):
    settings = config(tmp_path, MORE)
    coats = {
        "deck": [coat("deck", 3, 20, note="in the morning", who="ada", litres=0.4)],
        "hatch": [coat("hatch", 3, 20, id=9, batch="B", advice=Advice(word="coat", given_at=START), litres=0.4)],
        "lid": [coat("lid", 3, 21)],
        "rail": [coat("rail", 4, 30, thinner_parts=10), coat("rail", 5, 5, spoilt="dew")],
    }
    return settings, coats, {"harbour": changing(), "orchard": changing()}


def test_what_is_shared_is_what_each_would_hear_alone(seen):
    settings, coats, tables = seen
    outlooks = look(settings, coats, tables, START)
    assert [outlook.piece for outlook in outlooks] == list(settings.piece)
    assert len({outlook.word for outlook in outlooks}) > 1
    for outlook in outlooks:
        assert outlook == alone(settings, coats, tables, outlook.piece)


def mixed(chance, number):
    """Return a piece at random."""
    how = chance.choice(
        [
            'shelter = "open"', 'shelter = "roof"', 'face = "vertical", facing = "SW", shade = true',
            'shelter = "open", cover = "20:00-08:00"', 'shelter = "shed"', 'shelter = "tent", shut_by_day = true',
        ]
    )  # fmt: skip
    coating = chance.choice(["oil_varnish_1k", "urethane_alkyd_1k", "pu_clear_2k"])
    return (
        f'piece.m{number} = {{ site = "{chance.choice(["harbour", "orchard"])}", {how}, coating = "{coating}", '
        f'done = {chance.randrange(3)}, area = "{chance.choice([2, 2.5, 4, 9])} m^2", '
        f'dry_after_dew = "{chance.choice([0, 1])} h" }}\n'
    )


@pytest.mark.parametrize("seed", range(2))
def test_in_a_mixed_yard_each_hears_what_it_would_hear_alone(tmp_path, seed):
    chance = random.Random(seed)
    settings = config(tmp_path, "".join(mixed(chance, number) for number in range(24)))
    keys = [key for key in settings.piece if key.startswith("m")]
    coats = {
        key: [coat(key, settings.piece[key].done + 1, chance.choice([2, 9, 30]))] for key in chance.sample(keys, 6)
    }
    tables = {"harbour": changing(), "orchard": changing()}
    for outlook in look(settings, coats, tables, START):
        assert outlook == alone(settings, coats, tables, outlook.piece)


def test_pieces_that_stand_alike_share_their_weather_and_those_that_ask_the_same_their_answer(seen, monkeypatch):
    sights, answers = counting(monkeypatch, "sight_of"), counting(monkeypatch, "make_answer")
    outlooks = {outlook.piece: outlook for outlook in look(*seen, START)}
    assert sights == ["rail", "deck", "tent", "bench", "lid"]  # site by site
    assert (
        "hatch" not in answers
    )  # its area is another, but it is brushed in as many steps, and it was coated with deck
    assert sorted(answers) == ["bench", "deck", "frame", "lid", "rail", "sill", "tent"]
    assert outlooks["hatch"].film.coat.batch == "B"
    assert outlooks["hatch"].piece_name == "hatch"
    assert outlooks["hatch"].blocks is outlooks["deck"].blocks  # nothing is held twice


OTHERS = {
    "key": "another", "label": "Another", "tags": ("client",), "area_m2": 5.2, "loss_pct": 40.0, "edges_m": 9.0,
    "thirsty_coats": 2, "prepare_time_h": 3.0, "priority": 4, "cover_at_hand": True,
}  # fmt: skip
"""Something else for everything that an outlook is said not to hang on."""


@pytest.mark.parametrize("field", alike.OF_ITS_OWN)
def test_an_outlook_does_not_hang_on_what_is_left_out_of_the_question(seen, field):
    settings, coats, tables = seen
    piece = settings.piece["deck"]
    other = piece.model_copy(update={field: OTHERS[field]})
    assert getattr(other, field) != getattr(piece, field)
    assert alike.question_of(piece, ()) == alike.question_of(other, ())
    settings.piece["deck"] = other
    changed = alone(settings, coats, tables, "deck")
    settings.piece["deck"] = piece
    own = {"piece": other.key, "piece_name": other.name}
    assert alone(settings, coats, tables, "deck").model_copy(update=own) == changed


def test_a_sight_does_not_hang_on_what_is_left_out_of_the_exposure(seen):
    settings, _, tables = seen
    others = {
        "coating": "oil_varnish_1k", "system": "none", "coats": 9, "done": 1, "over": "old film",
        "wood_moisture_pct": 30.0, "wood": "oily", "brush_time_h": 4.0, "dry_after_dew_h": 5.0,
    }  # fmt: skip
    assert others.keys() == alike.OF_ITS_COATS.keys()
    piece = settings.piece["deck"]
    other = piece.model_copy(update=others)
    assert alike.by_exposure([piece, other]) == [[other, piece]]  # by their coatings
    site, table = settings.site["harbour"], tables["harbour"]
    one, two = (alike.sight_of(each, site, table, START, stale_after_h=6.0) for each in (piece, other))
    assert (one.weather, one.agreement, one.missing, one.first) == (two.weather, two.agreement, two.missing, two.first)
    for met, also in zip(one.met, two.met, strict=True):
        assert all(np.array_equal(getattr(met, name), getattr(also, name), equal_nan=True) for name in
                   ("air_c", "surface_c", "humidity_pct", "wind_m_s", "rain_mm", "rain_chance_pct", "water_mm",
                    "in_hours", "in_daylight"))  # fmt: skip


def test_whatever_else_is_told_of_a_piece_tells_it_apart(seen):
    piece = seen[0].piece["deck"]
    other = {
        "site": "orchard", "coating": "oil_varnish_1k", "system": "s", "coats": 9, "done": 1, "over": "old film",
        "brush_time_h": 4.0, "wood": "oily", "wood_moisture_pct": 20.0, "dry_after_dew_h": 2.0,
    }  # fmt: skip
    kept = Piece.model_fields.keys() - alike.OF_ITS_OWN.keys()
    assert other.keys() <= kept
    for field in kept:
        changed = piece.model_copy(update={field: other.get(field, object())})
        assert alike.question_of(piece, ()) != alike.question_of(changed, ()), field
        if field not in alike.OF_ITS_COATS:
            assert len(alike.by_exposure([piece, changed])) == 2, field


def test_coats_are_alike_only_where_their_films_are(seen):
    piece, on = seen[0].piece["deck"], coat("deck", 3, 20)
    same = on.model_copy(update={"id": 4, "piece": "hatch", "who": "b", "batch": "c", "note": "d", "photo": "e.jpg"})
    assert alike.question_of(piece, [on]) == alike.question_of(piece, [same])
    for field in Coat.model_fields.keys() - alike.OF_THE_RECORD.keys():
        assert alike.question_of(piece, [on]) != alike.question_of(piece, [on.model_copy(update={field: object()})])


def test_a_piece_that_cannot_be_judged_does_not_take_those_that_are_alike_with_it(seen, monkeypatch):
    settings, coats, tables = seen
    real = alike.make_answer

    def brittle(piece, *rest, **more):
        if piece.key == "deck":
            raise ZeroDivisionError
        return real(piece, *rest, **more)

    monkeypatch.setattr(alike, "make_answer", brittle)
    failed = []
    outlooks = look(settings, coats, tables, START, lambda piece, _: failed.append(piece))
    assert failed == ["deck"]
    for outlook in outlooks:
        assert (outlook.piece == "deck") == (outlook != alone(settings, coats, tables, outlook.piece))
