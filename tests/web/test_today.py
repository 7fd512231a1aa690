"""Today's page for a piece in every state it can be in, and that it never says coat where nothing is known."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from alerts.fakes import at, film, outlook, unknown, window
from dryspell.outlook.model import BareWood, FilmRisk, Limit, Pot, Reason, Stages
from dryspell.web.shell import STALE_AFTER
from forms_in import fill_in, words_of
from served import served
from yard import START

NAMES = {"piece": "rail", "piece_name": "Rail", "site": "harbour"}
WET = Reason(limit=Limit.DRY)
STAGES = Stages(dew_safe=at(2, "11:00"), sandable=at(3, "09:00"), full_cure=at(14, "12:00"))
BARE = {"coat": 1, "wood": BareWood(settles_at_pct=14.0, below_pct=16.0, read_pct=22.0, days=(2.0, 5.0))}
RISK = FilmRisk(hazard="dew", at=at(2, "22:00"), share=0.4, safe_at=at(3, "01:00"), reason=WET)


@pytest.fixture(scope="module")
def daemon(tmp_path_factory):
    with served(tmp_path_factory.mktemp("today")) as daemon:
        yield daemon


@pytest.fixture
def shown(daemon):
    """Show an outlook of the rail, and return its card and its words."""
    known = daemon.service.board.known

    def show(outlooks, **more):
        daemon.service.board.show(replace(known, outlooks=outlooks, **more))
        answer = daemon.get("")
        assert answer.status_code == 200
        card = answer.text.split("<article")[1:]
        rail = next(part for part in card if ">Rail <" in part)
        return rail.split("</article>")[0], words_of(answer.text)

    yield show
    daemon.service.board.show(known)


def of_rail(windows=(), **changes):
    return outlook(START, windows, **{**NAMES, **changes})


def test_a_piece_that_can_be_coated_says_so_first_then_until_when_why_and_what_comes_after(shown):
    open_now, later = window(2, "09:00", "13:30", probability=0.86), window(4, "10:00", "12:00", word="tight")
    card, words = shown([of_rail([open_now, later], reason=open_now.binding)])
    assert card.index("Coat 4 now") < card.index("Brush down by 14:15") < card.index("0.6 K to spare")
    assert "2 h 15 min left" in words
    assert "This window is 86 % likely to hold. After that: Thu 4 Jun 10:00 to 12:45, tight." in words
    assert ' class="card coat"' in f"<article{card}"
    assert 'href="/record/rail/coat?from=today">Coat 4 is on</a>' in card


def test_a_tight_window_says_that_it_is(shown):
    card, words = shown([of_rail([window(2, "09:00", "13:30", word="tight")])])
    assert "Coat 4: tight Brush down by 14:15" in words
    assert "No other window is in sight." in words
    assert 'class="card tight"' in f"<article{card}"


def test_a_piece_that_has_to_wait_says_until_when_and_for_how_long(shown):
    _, words = shown([of_rail([window(3, "09:30", "12:00")], reason=WET.model_copy(update={"at": at(3, "09:30")}))])
    assert "Wait until tomorrow 09:30 21 h 30 min to go" in words
    assert "That window stays open until 12:45, 100 % likely to hold." in words


def test_where_no_window_is_in_sight_it_says_how_far_that_is_known(shown):
    _, words = shown([of_rail()])
    assert "Wait No window ahead up to Thu 18 Jun 12:00" in words


def test_what_is_not_known_is_never_a_go(shown):
    card, words = shown([unknown(START, **NAMES)])
    assert "Not known so wait" in words
    assert "The forecast is 13.0 h old (12 h at most)." in words
    assert 'class="card unknown"' in f"<article{card}"


def test_a_piece_that_could_not_be_judged_stands_there_as_that(shown):
    _, words = shown([])
    assert words.count("This piece could not be judged; the log of the daemon says why.") == 2


def test_a_look_of_long_ago_is_not_gone_by(shown):
    long_ago = START - STALE_AFTER - timedelta(minutes=1)
    card, words = shown([of_rail([window(2, "09:00", "13:30")])], at=long_ago)
    assert "Coat 4 now" not in words
    assert "Not known" in card
    assert "nothing below is to be gone by" in words


def test_a_built_up_piece_asks_for_no_coat(shown):
    card, words = shown([of_rail(coat=9)])
    assert "Built up 8 of 8 coats are on" in words
    assert "is on</a>" not in card


def test_a_wet_film_shows_how_far_it_is_and_what_comes_to_it(shown):
    wet = film(2, "08:00", at(2, "16:00"), stages=STAGES)
    card, words = shown([of_rail(film=wet, film_risk=(RISK,))])
    assert "Coat 3, on since today 08:00" in words
    # Half of the way from 08:00 to 16:00 at noon.
    assert '<progress max="100" value="50" aria-label="dew-safe">' in card
    assert '<progress max="100" value="20" aria-label="sandable">' in card
    assert "about tomorrow 09:00" in words
    assert "Dew comes to the film today 22:00, 40 % likely; it can take that from tomorrow 01:00." in words
    assert "It is sandable now" in words


def test_a_film_that_is_past_its_stages_says_since_when(shown):
    hard = film(1, "08:00", at(1, "16:00"), stages=Stages(sandable=at(2, "08:00"), full_cure=None))
    card, words = shown([of_rail(film=hard)])
    assert card.count('class="reached"') == 2
    assert "since yesterday 16:00" in words
    assert "since today 08:00" in words
    assert "cured 0 % later than the forecast reaches" in words
    assert "It is sandable now" not in words


def test_a_spoilt_film_has_no_stages(shown):
    card, words = shown([of_rail(film=film(1, "08:00", None, spoilt="rain"), sand_first=True)])
    assert "spoilt by rain" in words
    assert "<progress" not in card
    assert "Sand first." in words


def test_bare_wood_says_how_dry_it_is(shown):
    _, words = shown([of_rail(**BARE)])
    assert "The wood reads 22 %: bring it under 16 % before coat 1" in words
    assert "State: bare." in words


def test_what_is_to_be_done_with_a_window_is_said_beside_it(shown):
    damp = Reason(limit=Limit.HUMIDITY, value=72.0, bound=65.0, unit="%")
    now = window(2, "09:00", "13:30", hang_shade_by=at(2, "13:00"), cautions=(damp,))
    pot = Pot(mixed_at=START, brush_from=None, brush_until=at(2, "14:00"), goes_off_at=at(2, "16:00"))
    _, words = shown([of_rail([now], pot=pot)])
    assert "Hang the shade by 13:00." in words
    assert "Damp: humidity 72 %, comfortable up to 65 %" in words
    assert "The pot is mixed: it flows out until today 14:00." in words


def test_what_can_be_coated_stands_before_what_has_to_wait(shown):
    rail = of_rail([window(4, "09:00", "13:30")])
    bench = {**NAMES, "piece": "bench", "piece_name": "Bench", "site": "orchard"}
    _, words = shown([rail, outlook(START, [window(2, "09:00", "13:30")], **bench)])
    assert words.index("Bench") < words.index("Rail")


def test_before_the_first_look_the_page_says_so(daemon):
    known = daemon.service.board.known
    daemon.service.board._known, daemon.service.board._version = None, daemon.service.board._version + 1
    try:
        for path in ("", "plan", "record", "record/rail", "record/rail/coat", "material", "review", "doing", "more"):
            answer = daemon.get(path)
            assert answer.status_code == 200
            assert "has just begun" in answer.text
    finally:
        daemon.service.board.show(known)


def test_units_and_light_are_a_persons_choice(shown, daemon):
    wet = Reason(limit=Limit.SURFACE_LOW, value=4.0, bound=10.0, unit="degC")
    shown([of_rail(reason=wet)])
    assert "4.0 °C" in daemon.get("").text
    fill_in(daemon.client, "more", units="us", theme="dark")
    try:
        text = daemon.get("").text
        assert "39 °F" in text
        assert 'data-theme="dark"' in text
    finally:
        daemon.client.cookies.clear()
    assert daemon.get("", headers={"cookie": "dryspell_units=stones; dryspell_theme=pink"}).status_code == 200


def test_of_many_pieces_each_has_a_line_at_the_top_that_leads_to_its_card(daemon, tmp_path):
    assert 'class="glance"' not in daemon.get("").text
    names = [f"Spar {number}" for number in range(4)]
    spars = [
        f'piece.spar{name[-1]} = {{ name = "{name}", site = "harbour", coating = "oil_varnish_1k" }}' for name in names
    ]
    with served(tmp_path, "\n".join(spars)) as many:
        text = many.get("").text
    lines, _, cards = text.partition('class="glance"')[2].partition("</ul>")
    led_to = re.findall(r'<li><a href="#(name-\d+)">(.*?)</a> <span><strong>(.*?)</strong>', lines)
    assert {name for _, name, _ in led_to} >= {*names, "Rail"}
    for place, name, verdict in led_to:
        card = cards.partition(f'<h2 id="{place}"')[2].partition("</article>")[0]
        assert f">{name} <" in card
        assert f'<strong class="word">{verdict}</strong>' in card
