"""All that is kept, as tables for other programs: what they are called, what their columns mean, and their rows.

Rows are read as they are written, so that a year of readings needs no more memory than a day of them.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from dryspell.outlook.as_json import instant as text_of
from dryspell.outlook.plan_model import Plan, PlannedCoat
from dryspell.store.database import instant
from dryspell.store.readings import DAY_S
from dryspell.store.readonly import ReadOnlyStore
from dryspell.store.record import QUANTILES
from dryspell.weather.flags import WORDS, Flag
from dryspell.weather.table import VARIABLES, WeatherTable

Row = Sequence[Any]
Line = Mapping[str, Any]
FIRST, LAST = datetime(1970, 1, 1, tzinfo=UTC), datetime(9000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Sheet:
    """A table: `columns` are its headings with what they mean; `lines` are its JSON Lines where these differ."""

    name: str
    about: str
    columns: Mapping[str, str]
    rows: Callable[[ReadOnlyStore], Iterator[Row]]
    lines: Callable[[ReadOnlyStore], Iterator[Line]] | None = None


def _asked(query: str, *shape: Callable[[Any], Any] | None) -> Callable[[ReadOnlyStore], Iterator[Row]]:
    """Return what yields the rows of a query, each value as its place in `shape` makes it."""

    def rows(store: ReadOnlyStore) -> Iterator[Row]:
        for row in store.stream(query):
            yield [value if make is None else make(value) for value, make in zip(row, shape, strict=True)]

    return rows


def _at(seconds: int | None) -> str | None:
    return None if seconds is None else text_of(instant(seconds))


def _unpacked(text: str | None) -> Any:
    return None if text is None else json.loads(text)


def _readings(store: ReadOnlyStore) -> Iterator[Row]:
    for number, site, piece, sensor, variable in store.stream(
        "SELECT id, site, piece, sensor, variable FROM series ORDER BY id"
    ):
        unit = VARIABLES[variable].unit if variable in VARIABLES else ""
        days = store.stream(
            "SELECT day FROM reading_days WHERE series = ? UNION SELECT DISTINCT time / ? FROM readings "
            "WHERE series = ? ORDER BY 1",
            number,
            DAY_S,
            number,
        )
        for (day,) in days:
            first = instant(day * DAY_S)
            last = first + timedelta(seconds=DAY_S - 1)
            for series in store.readings(site, first, last, piece=piece, variable=variable, sensors=[sensor]):
                times = series.times.astype("datetime64[s]").astype(np.int64).tolist()
                for at, value, flag in zip(times, series.values.tolist(), series.flags.tolist(), strict=True):
                    yield site, piece, sensor, variable, _at(at), value, unit, WORDS[Flag(flag)]


def _issues(store: ReadOnlyStore) -> Iterator[tuple[str, WeatherTable]]:
    for (site,) in store.stream("SELECT DISTINCT site FROM issues ORDER BY site"):
        for table in store.issues_between(site, FIRST, LAST):
            yield site, table


def _forecasts(store: ReadOnlyStore) -> Iterator[Row]:
    for site, table in _issues(store):
        issued = text_of(table.issued_at)
        stamps = [_at(at) for at in table.times.astype("datetime64[s]").astype(np.int64).tolist()]
        for member, share in enumerate(_shares(table)):
            columns = [
                _known(table.columns[name][member]) if name in table.columns else [None] * len(stamps)
                for name in VARIABLES
            ]
            for values in zip(stamps, *columns, strict=True):
                yield site, table.source, issued, values[0], member, share, *values[1:]


def _forecast_lines(store: ReadOnlyStore) -> Iterator[Line]:
    for site, table in _issues(store):
        yield {
            "site": site,
            "source": table.source,
            "issued_at": text_of(table.issued_at),
            "attribution": table.attribution,
            "notes": list(table.notes),
            "filled_in": dict(table.filled),
            "quantiles": _shares(table),
            "at": [_at(at) for at in table.times.astype("datetime64[s]").astype(np.int64).tolist()],
            "columns": {
                _heading(name): [_known(member) for member in column] for name, column in table.columns.items()
            },
        }


def _shares(table: WeatherTable) -> list[float | None]:
    """Return which quantile each member of an issue is, None where it is a member as it was."""
    thinned = any(note.startswith("the 10, 50 and 90 %") for note in table.notes)
    return list(QUANTILES) if thinned else [None] * table.members


def _known(values: Any) -> list[float | None]:
    return [None if value != value else value for value in np.round(values, 3).tolist()]  # noqa: PLR0124  (NaN)


def _heading(name: str) -> str:
    return f"{name} [{VARIABLES[name].unit}]"


def _plans(store: ReadOnlyStore) -> Iterator[Row]:
    for plan in store.plans().values():
        for coat in plan.planned:
            yield _planned(plan, coat)


def _planned(plan: Plan, coat: PlannedCoat) -> Row:
    instants = (text_of(at) for at in (plan.made_at, coat.prepare_at, coat.start, coat.last_stroke))
    return plan.piece, coat.number, *instants, coat.coating, coat.who, coat.probability, coat.thinner_parts


SHEETS: Sequence[Sheet] = (
    Sheet(
        "coats",
        "Every coat that was ever recorded, also those taken back, corrected or spoilt.",
        {
            "id": "by which other tables name it",
            "piece": "key of the piece",
            "coat": "its number in the build-up",
            "began_at": "first stroke",
            "finished_at": "last stroke",
            "recorded_at": "when it was recorded",
            "taken_back_at": "since when it does not stand any more; empty: it stands",
            "coating": "key of what it is a coat of; empty: as the build-up has it",
            "thinner_parts": "parts of thinner to a hundred of coating",
            "wet_film_um": "wet film [um]",
            "used_l": "of the mix that were used [L]",
            "abrasive": "what was sanded with before it",
            "who": "who put it on",
            "batch": "of the can",
            "note": "what was noted",
            "photo": "path of a picture",
            "spoilt": "what spoilt it; empty: nothing did",
            "weather": "JSON: the weather it was put on in",
            "advice": "JSON: the verdict it was begun under",
        },
        _asked(
            "SELECT id, piece, number, began_at, finished_at, recorded_at, undone_at, coating, thinner_parts, "
            "wet_film_um, litres, abrasive, who, batch, note, photo, spoilt, met, advice FROM coats ORDER BY id",
            None, None, None, _at, _at, _at, _at, *[None] * 10, _unpacked, _unpacked,
        ),
    ),
    Sheet(
        "coat_changes",
        "What was done to a coat after it was recorded.",
        {
            "coat_id": "which coat",
            "at": "when",
            "what": "undone, corrected, spoilt or not spoilt",
            "detail": "what spoilt it, or a note",
            "who": "who said so",
            "successor_id": "the coat that a correction put in its place",
        },
        _asked("SELECT coat, at, what, detail, who, successor FROM coat_changes ORDER BY id", None, _at, *[None] * 4),
    ),
    Sheet(
        "seen_sandable",
        "When a coat was seen to be sandable: of several of one coat the last one told counts.",
        {
            "coat_id": "which coat",
            "at": "when it was seen",
            "coating": "what it is a coat of",
            "progress": "how far by the sum it had come then: 1 is as expected",
            "recorded_at": "when that was recorded",
        },
        _asked(
            "SELECT coat, at, coating, progress, recorded_at FROM seen_sandable ORDER BY id",
            None, _at, None, None, _at,
        ),
    ),
    Sheet(
        "pots",
        "Pots of two-part coating that were mixed.",
        {
            "piece": "key of the piece",
            "coat": "for which coat",
            "mixed_at": "when",
            "recorded_at": "when that was recorded",
            "poured_away_at": "when it was poured away, if it was",
        },
        _asked("SELECT piece, coat, mixed_at, recorded_at, away_at FROM pots ORDER BY id", None, None, _at, _at, _at),
    ),
    Sheet(
        "readings",
        "What sensors read, with what the checks say of it.",
        {
            "site": "key of the site",
            "piece": "key of the piece it was read at; empty: the open air of the site",
            "sensor": "key of the sensor",
            "variable": "CF standard name",
            "at": "the stamp",
            "value": "what was read, in the unit beside it",
            "unit": "of the value",
            "check": "good, or why it is not used",
        },
        _readings,
    ),
    Sheet(
        "forecasts",
        "Forecasts as they were issued. Sums, means and maxima are over the step that ends at `at`.",
        {
            "site": "key of the site",
            "source": "who gave it",
            "issued_at": "when it was made",
            "at": "of when it speaks",
            "member": "0, 1, ...: of several ways the weather may go",
            "quantile": "which quantile of the members this is; empty: a member as it was",
            **{_heading(name): variable.cell for name, variable in VARIABLES.items()},
        },
        _forecasts,
        _forecast_lines,
    ),
    Sheet(
        "weather_met",
        "Hours of forecasts that have become past: what drying was summed over where no sensor read.",
        {
            "site": "key of the site",
            "at": "the hour",
            "variable": "CF standard name",
            "value": "in the unit of that variable in `forecasts`",
            "issued_at": "of the forecast it is from",
        },
        _asked(
            "SELECT site, time, variable, value, issued_at FROM weather_met ORDER BY site, time, variable",
            None, _at, None, None, _at,
        ),
    ),
    Sheet(
        "verdicts",
        "Verdicts, each from when it was first given until the next one of its piece.",
        {
            "piece": "key of the piece",
            "at": "from when on",
            "verdict": "coat, tight, wait or unknown",
            "reason": "JSON: what stands against it, with its number",
        },
        _asked("SELECT piece, at, word, reason FROM verdicts ORDER BY id", None, _at, None, _unpacked),
    ),
    Sheet(
        "foretold",
        "What was said once an hour of the weather some hours ahead.",
        {
            "piece": "key of the piece",
            "said_at": "in the hour from then on",
            "lead_h": "how far ahead [h]",
            "start": "of which start",
            "coat": "for which coat",
            "verdict": "coat, tight or wait",
            "share": "of the ways the weather may go, 0 to 1, in which it passes",
            "is_odds": "1: the share is a probability; 0: yes or no of one forecast",
            "quick": "1: said of a coat that follows at the least time",
        },
        _asked(
            "SELECT piece, hour * 3600, lead_h, start, coat, word, share, is_odds, quick FROM foretold "
            "ORDER BY piece, hour, lead_h",
            None, _at, None, _at, *[None] * 5,
        ),
    ),
    Sheet(
        "messages",
        "Messages, a row for each target.",
        {
            "message": "the id that stands in its last line",
            "kind": "kind of notice",
            "piece": "key of the piece, or what else it is about",
            "created_at": "when it was decided",
            "expires_at": "when it is of no use any more",
            "target": "key of the target; empty: nobody was to be told",
            "title": "as it was worded for that target",
            "body": "the same",
            "attempts": "how often it was tried",
            "delivered_at": "when the target took it",
            "dropped_at": "when it was given up",
            "dropped": "why: no target, replaced, late or overtaken",
            "last_error": "what the target's service said last",
        },
        _asked(
            "SELECT id, kind, piece, created_at, expires_at, target, coalesce(outbox.title, notices.title), "
            "coalesce(outbox.body, notices.body), attempts, delivered_at, dropped_at, dropped, last_error FROM notices "
            "LEFT JOIN outbox ON outbox.notice = notices.id ORDER BY notices.rowid, target",
            None, None, None, _at, _at, *[None] * 4, _at, _at, None, None,
        ),
    ),
    Sheet(
        "plans",
        "The last plan: every coat that is to come and has found its hours.",
        {
            "piece": "key of the piece",
            "coat": "its number",
            "made_at": "when the plan was made",
            "prepare_at": "when to begin to sand",
            "start": "first stroke",
            "last_stroke": "last stroke",
            "coating": "key of the coating",
            "who": "key of who puts it on",
            "probability": "share of the ways the weather may go in which it is good, 0 to 1",
            "thinner_parts": "parts of thinner to a hundred of coating",
        },
        _plans,
    ),
)  # fmt: skip


def readme(now: datetime, version: int, counts: Mapping[str, int], more: Sequence[str]) -> str:
    """Return what stands beside the tables: what they are, and what their columns mean."""
    lines = [
        "# What dryspell has kept",
        "",
        f"Written on {text_of(now)} from a state of version {version}; all of it as it was at one moment.",
        "",
        "Each table is here twice: as CSV (RFC 4180, UTF-8, headings in the first line) and as JSON Lines, an object a",
        "line with the same names. Instants are UTC (ISO 8601); what is not known is empty, or null. In CSV, text that",
        "a spreadsheet would take for a formula has an apostrophe before it; the JSON Lines have it as it is.",
        *(["", *more] if more else []),
    ]
    for sheet in SHEETS:
        lines += ["", f"## {sheet.name}: {counts[sheet.name]} rows", "", sheet.about, ""]
        lines += [f"- `{name}`: {about}" for name, about in sheet.columns.items()]
        if sheet.lines:
            lines += [
                "",
                "Its JSON Lines have an object for each issue, with a list of values for each member and column.",
            ]
    return "\n".join(lines) + "\n"
