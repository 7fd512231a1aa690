"""`dryspell material`: the list it prints, the document it writes, and what it leaves unsaid when it does not know."""

import json
import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dryspell.cli import main
from dryspell.config import load
from dryspell.outlook.model import Coat
from dryspell.store.store import open_store
from dryspell.tick.plans import kept, plans
from yard import weather

NOW = datetime(2026, 9, 3, 9, 15, tzinfo=UTC)
# Three worked examples of a finisher (common practice, no source): a toe rail, a bench; and an oil that leaves no film.
CONFIG = """
state = "{state}"
contact = "you@example.org"
{more}
site.home = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
coating.spar = {{ family = "oil_varnish_1k", name = "Spar", cans = {{ "0.5 L" = 16 }} }}
coating.clear = {{ family = "pu_clear_2k", ratio = [2, 1], cans = ["0.375 L", "0.75 L"] }}
coating.epoxy = {{ family = "epoxy_sealer_2k", ratio = [2, 1], cans = ["0.5 L", "0.75 L", "1 L"] }}
[piece.rail]
name = "Toe rail"
system = "rail"
area = "4.048 m^2"
edges = "36.8 m"
[piece.bench]
system = "bench"
area = "3.58 m^2"
loss = "20 %"
[piece.oiled]
coating = "penetrating_oil"
coats = 2
[system]
rail.coats = [
  {{ coating = "spar", wet_film = "70 um" }}, {{ coating = "spar", wet_film = "75 um", thinner = 25 }},
  {{ coating = "spar" }}, {{ coating = "spar", wet_film = "85 um", times = 4 }}, {{ coating = "spar", thinner = 5 }},
]
bench.coats = [
  {{ coating = "epoxy" }}, {{ coating = "epoxy", wet_film = "80 um" }},
  {{ coating = "clear", thinner = 10 }}, {{ coating = "clear", thinner = 5, times = 5 }},
]
"""
BARE = {"coat", "coats", "coats_on", "thinner_parts", "count", "unopened", "cups", "price", "as_planned"}
BARE |= {"full_on", "full_end", "full_wanted", "full_short"}
FINE = {"air_temperature": 20.0, "relative_humidity": 45.0, "cloud_area_fraction": 95.0}
UNITS = ("_l", "_um", "_m2", "_m", "_h", "_c", "_pct")


@pytest.fixture
def yard(tmp_path, monkeypatch):
    """A configuration, with what is to stand in it beside the pieces."""
    monkeypatch.delenv("DRYSPELL_STATE", raising=False)

    def write(more=""):
        file = tmp_path / "yard.toml"
        file.write_text(CONFIG.format(state=tmp_path / "state", more=more), "utf-8")
        return file

    return write


def material(file, capsys, *more, code=0):
    assert main(["material", "--config", str(file), "--now", NOW.isoformat(), *more]) == code
    return capsys.readouterr().out


def document(file, capsys, *more):
    return json.loads(material(file, capsys, "--json", *more))


def unwrapped(text):
    return re.sub(r"\s+", " ", text)


def recorded(folder, *coats, forecast=None):
    store = open_store(folder / "state")
    try:
        for number, told in enumerate(coats, start=1):
            at = NOW - timedelta(days=9 - number)
            store.add_coat(Coat(piece="rail", number=number, finished_at=at, recorded_at=NOW, **told))
        if forecast is not None:
            store.keep_forecast("home", forecast, NOW)
    finally:
        store.close()


def test_the_list_stands_first_and_says_how_many_of_what_for_which_coats(yard, capsys):
    lines = material(yard(), capsys).splitlines()
    assert lines[0] == "To buy for 3 pieces                                               Thu 3 Sep 2026"
    assert lines[2:5] == [
        "  Spar",
        "     6 x 0.5 L      Toe rail, coats 1, 3 to 6 and 8; 6 at 16.00",
        "                    2.77 L are needed, 8 % to spare",
    ]
    text = unwrapped("\n".join(lines))
    for wanted in (
        "6 x 0.375 L bench, coats 3 to 8",
        "2 x 0.5 L bench, coats 1 and 2 in kits of base and hardener together",
        "1 x 1 L thinner for Spar: 230 mL in the mix, 600 mL for brushes",
        "3 x 50 m masking tape for outdoors: 121 m",
        "abrasive discs P180",
    ):
        assert wanted in text


def planned(folder, file, *, at=NOW, pieces=("rail", "bench", "oiled")):
    """Plan in mild weather, keep the plans of some pieces, and return them."""
    of = load(file, secrets=False)
    made = plans(of, {}, {"home": weather(at, hours=24 * 16, **FINE)}, at, {})
    store = open_store(folder / "state")
    try:
        kept(store, made.model_copy(update={"plans": tuple(plan for plan in made.plans if plan.piece in pieces)}))
    finally:
        store.close()
    return {plan.piece: {coat.number: coat.prepare_at for coat in plan.planned} for plan in made.plans}


def on(instant):
    local = instant.astimezone(ZoneInfo("Europe/Berlin"))
    return f"{local:%a} {local.day} {local:%b}"


def test_each_thing_says_by_when_it_is_needed_as_the_kept_plan_has_it(yard, tmp_path, capsys):
    file = yard()
    dates = planned(tmp_path, file)
    text = unwrapped(material(file, capsys))
    assert len({on(at) for at in dates["bench"].values()}) > 2
    assert f"6 x 0.5 L Toe rail, coats 1, 3 to 6 and 8; 6 at 16.00; by {on(dates['rail'][1])}" in text
    assert f"6 x 0.375 L bench, coats 3 to 8; by {on(dates['bench'][3])}" in text
    assert f"230 mL in the mix, 600 mL for brushes; by {on(dates['rail'][1])}" in text
    first = min(each[1] for each in dates.values())
    assert re.search(rf"abrasive discs P180; by {on(first)}", text)
    assert f"masking tape for outdoors: 121 m; by {on(dates['rail'][1])}" in text
    between = min(at for piece in ("rail", "bench") for n, at in dates[piece].items() if n > 1)
    assert re.search(rf"abrasive P400, \d+ quarters; by {on(between)}", text)
    found = document(file, capsys)
    assert [coat["planned_on"] for coat in found["pieces"][0]["coatings"][0]["coats"]] == [
        f"{dates['rail'][n].astimezone(ZoneInfo('Europe/Berlin')):%Y-%m-%d}" if n in dates["rail"] else None
        for n in range(1, 9)
    ]
    assert found["list"][0]["items"][0]["needed_on"] == f"{dates['rail'][1]:%Y-%m-%d}"


def test_what_no_planned_coat_takes_has_no_date_yet(yard, tmp_path, capsys):
    file = yard()
    planned(tmp_path, file, pieces=("rail",))
    text = unwrapped(material(file, capsys))
    assert "6 x 0.375 L bench, coats 3 to 8; no date yet" in text
    assert "By when is not known" not in text


def test_a_plan_whose_hours_are_past_gives_no_dates_and_neither_does_none(yard, tmp_path, capsys):
    file = yard()
    said = "By when is not known: no coat of it has its hours in a plan yet (dryspell plan)."
    assert said in unwrapped(material(file, capsys))
    planned(tmp_path, file, at=NOW - timedelta(days=40))
    text = unwrapped(material(file, capsys))
    assert said in text
    assert "no date yet" not in text


def test_each_coat_is_a_row_and_what_is_short_of_seven_full_coats_is_said_plainly(yard, capsys):
    text = material(yard(), capsys, "rail")
    assert "    1           50    70 µm     326 mL     217 mL     109 mL   22 µm" in text
    assert "    4 to 7       0    85 µm     396 mL     396 mL          -   41 µm" in text
    assert "Dry film: about 258 µm when built up" in text
    assert "Full coats: six when built up, one short of seven full coats." in text
    assert "each coat more takes 396 mL" in unwrapped(text)
    assert "Epoxy" not in text


def test_with_a_piece_it_is_told_how_each_coat_is_poured(yard, capsys):
    text = material(yard(), capsys, "rail")
    assert "    coat 3   a fresh 0.5 L; 161 mL are kept, in a jar they fill" in text
    assert "coat 4 161 mL left from the coat before and a fresh 0.5 L; 266 mL are kept" in unwrapped(text)
    assert "    coat 8   a fresh 0.5 L; 145 mL are over" in text
    assert "a fresh" not in material(yard(), capsys, "rail", "--no-details")
    assert "a fresh" not in material(yard(), capsys)
    assert "a fresh" in material(yard(), capsys, "--details")


def test_nothing_is_wider_than_80_columns(yard, capsys):
    for more in ("", 'alerts.units = "us"'):
        text = material(yard(more), capsys, "--details", "--at", "25 degC")
        assert max(map(len, text.splitlines())) <= 80


# The bench of the finisher's examples: 20 min x 2/3 = 13 min, three cups of 0.13 L; the clear all at once.
def test_a_two_part_mix_is_measured_by_its_ratio_and_mixed_in_as_many_cups_as_it_lasts(yard, capsys):
    text = unwrapped(material(yard(), capsys, "bench", "--at", "77 degF"))
    assert "Base to hardener 2 : 1, measured by volume." in text
    assert "At 25 °C a mix lasts 20 min, 13 min of that to brush it: coat 1 in three cups of 129 mL;" in text
    assert "coats 3 to 8 each in one mix of 322 mL" in text
    assert "thinner goes in after mixing" in text


def test_without_weather_how_long_a_mix_lasts_is_not_known(yard, capsys):
    assert 'no weather is kept here: try --at "20 degC"' in unwrapped(material(yard(), capsys, "bench"))


def test_the_warmest_forecast_in_the_hours_of_work_counts(yard, tmp_path, capsys):
    recorded(tmp_path, forecast=weather(NOW, air_temperature=18.0))
    assert "At 18 °C, the warmest air in your hours of the next three days" in unwrapped(
        material(yard(), capsys, "bench")
    )
    assert document(yard(), capsys, "bench")["pieces"][0]["mix_c"] == 18.0


def test_a_mix_without_a_ratio_goes_by_its_can(yard, capsys):
    file = yard()
    file.write_text(file.read_text("utf-8").replace("ratio = [2, 1], ", ""), "utf-8")
    text = unwrapped(material(file, capsys, "bench"))
    assert "Two parts: by the ratio on its can" in text
    assert "hardener 129 mL" not in text


def test_an_oil_that_leaves_no_film_is_reckoned_by_its_spread_and_an_area_not_told_is_said(yard, capsys):
    text = material(yard(), capsys, "oiled")
    assert "    1           30        -      96 mL      74 mL      22 mL       -" in text
    assert "Its area is not told (area): all of this is for 1 m2." in text
    assert "Full coats" not in text
    assert "Dry film" not in text


def test_what_is_recorded_is_not_bought_again_and_its_film_is_told(yard, tmp_path, capsys):
    recorded(tmp_path, {"thinner_parts": 50.0, "wet_film_um": 70.0}, {"thinner_parts": 25.0, "wet_film_um": 75.0}, {})
    text = unwrapped(material(yard(), capsys, "rail"))
    assert "coats 4 to 8 of 8" in text
    # 22.4 + 28.8 + 34.9 um, less two sandings of 4
    assert "Dry film: about 78 µm now, 258 µm when built up" in text
    assert "Full coats: one now, six when built up" in text
    assert "Of one coat on it thinner or film is not recorded; it is taken as planned." in text


def test_what_coats_took_is_off_what_is_at_hand_and_an_old_can_is_not_counted_on(yard, tmp_path, capsys):
    recorded(tmp_path, {"thinner_parts": 50.0, "wet_film_um": 70.0}, {"litres": 0.35, "thinner_parts": 25.0})
    stock = (
        'stock.new = { coating = "spar", left = "1 L", counted = "2026-08-26" }\n'
        'stock.old = { coating = "spar", left = "0.3 L", opened = "2026-07-28" }\n'
    )
    text = unwrapped(material(yard(stock), capsys, "rail"))
    # coat 1 was on the 26th; coat 2 took 0.35 L of mix, 0.28 L of it varnish
    assert "at hand 720 mL, of which 720 mL go into these coats" in text
    assert "stock.old has stood open for 37 days and is not counted on" in text
    assert "coat 3 339 mL at hand" in text
    assert document(yard(stock), capsys, "rail")["stock"] == [
        {"coating": "spar", "at_hand_l": 0.72, "stood_open_too_long": ["old"]}
    ]


def test_a_piece_that_is_built_up_needs_nothing(yard, tmp_path, capsys):
    recorded(tmp_path, *[{}] * 8)
    text = material(yard(), capsys, "rail")
    assert "  Nothing: no coat is left to put on." in text
    assert "built up" in text
    assert material(yard(), capsys, "rail", "--exit-code") == text


def test_the_exit_code_says_whether_coating_has_to_be_bought(yard, capsys):
    material(yard(), capsys, "rail", "--exit-code", code=1)
    material(yard('stock.lots = { coating = "spar", left = "5 L" }'), capsys, "rail", "--exit-code")


def test_figures_are_in_the_units_of_the_messages(yard, capsys):
    text = material(yard('alerts.units = "us"'), capsys)
    # 0.387 L are 13.1 US fl oz, 90 um are 3.5 mil, 121 m are 133 yd (exact definitions, NIST SP 811)
    assert "13.1 fl oz" in text
    assert "3.5 mil" in text
    assert "133 yd" in text
    assert "0.5 pint" in text
    assert " mL" not in text


def test_the_cautions_are_those_of_what_is_bought(yard, capsys):
    text = unwrapped(material(yard(), capsys))
    for wanted in ("catch fire by themselves", "Solvent vapours", "isocyanate", "Epoxy makes skin allergic", "Dust"):
        assert text.count(wanted) == 1
    assert text.strip().endswith("The coating's data sheet, its label and local rules decide.")
    assert "lead" not in text
    file = yard()
    file.write_text(file.read_text("utf-8").replace('name = "Toe rail"', 'over = "old film"'), "utf-8")
    assert "Old paint may hold lead" in unwrapped(material(file, capsys, "rail"))


def numbers(value, key=""):
    if isinstance(value, dict):
        for name, part in value.items():
            yield from numbers(part, name)
    elif isinstance(value, list):
        for part in value:
            yield from numbers(part, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key


def test_the_document_names_its_schema_and_every_number_carries_its_unit(yard, capsys):
    written = document(yard(), capsys, "--at", "25 degC")
    assert (written["schema"], written["generated_at"]) == ("dryspell.material/1", "2026-09-03T09:15:00Z")
    assert {key for key in numbers(written) if key not in BARE and not key.endswith(UNITS)} == set()
    rail = written["pieces"][0]
    assert (rail["film"]["full_short"], rail["film"]["one_more_coating_l"]) == (1, 0.3957)
    (spar,) = rail["coatings"]
    assert spar["cans"]["buy"] == [{"size": "0.5 L", "size_l": 0.5, "count": 6, "unopened": 0, "price": 16.0}]
    assert spar["cans"]["price"] == 96.0
    assert spar["coats"][2]["pour"] == {
        "rest_l": 0.0, "opened": ["0.5 L"], "left_l": 0.1614, "kept": True, "decant": True,
    }  # fmt: skip
    epoxy = written["pieces"][1]["coatings"][0]["coats"][0]
    assert (epoxy["base_l"], epoxy["hardener_l"], epoxy["batch"]["cups"]) == (0.2578, 0.1289, 3)
    assert written["consumables"]["discs"] == [{"abrasive": "P180", "count": 11 + 9 + 3}]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["rial"], "has no piece 'rial'; did you mean rail?"),
        (["--at", "warm"], "'warm' is not a number with a unit"),
        (["--at", "80 degC"], "is no temperature to mix at; wanted 0 to 50 degC"),
    ],
)
def test_bad_input_is_answered_with_what_would_be_right(yard, capsys, arguments, said):
    assert main(["material", "--config", str(yard()), *arguments]) == 2
    assert said in unwrapped(capsys.readouterr().err)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('stock.a = { coating = "spra", left = "1 L" }', 'stock.a.coating = "spra" is no coating; did you mean spar?'),
        ('stock.a = { coating = "spar" }', 'stock.a.left is missing; wanted such as left = "0.4 L"'),
        ('stock.a = { coating = "spar", left = "1 kg" }', "is a mass, not a volume"),
        ('coating.b = { family = "pu_clear_2k", ratio = [2] }', "is no ratio; wanted parts of base and of hardener"),
        ('coating.b = { family = "pu_clear_2k", full_coats = 2.5 }', "is no number of coats"),
        ('coating.b = { family = "pu_clear_2k", spread = "12 m2" }', "is an area, not a spreading rate"),
        ('coating.b = { family = "pu_clear_2k", cans = "1 L" }', "is no list of 1 to 12 sizes of cans"),
    ],
)
def test_a_wrong_key_is_named_with_what_would_be_right(yard, capsys, more, said):
    assert main(["material", "--config", str(yard(more))]) == 2
    assert said in capsys.readouterr().err
