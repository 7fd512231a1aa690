"""What the results hold: the columns, in their order, each with what it means."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import isfinite
from typing import TYPE_CHECKING, Any

from dryspell.outlook.model import Outlook
from dryspell.outlook.states import state_of
from dryspell.outlook.words import next_window, open_window, verdict, why
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    import pyarrow as pa

Answer = Mapping[str, Any]
"""The columns of an answer, by name; what is left out is null."""

OF_ROW = {
    "row": ("int64", "of the table: the line of a CSV file, or counted from 1"),
    "site": ("string", "as the table has it"),
    "piece": ("string", "as the table has it"),
    "cell": ("string", "the forecast cell, by the degrees of its middle, its height and whether it is afloat"),
    "made_at": ("instant", "the instant that was judged for"),
}
OF_ANSWER = {
    "verdict": ("string", "on a coat begun then: coat, tight, wait or unknown"),
    "says": ("string", "the verdict in words, by the clock of the site"),
    "why": ("string", "the reason in words"),
    "reason": ("string", "the limit that decides"),
    "reason_value": ("float64", "what the weather gives, in reason_unit"),
    "reason_bound": ("float64", "what the limit asks, in reason_unit"),
    "reason_unit": ("string", "K, degC, %, m/s, mm or h"),
    "reason_at": ("instant", "when the value is met, or the limit lets go"),
    "next_coat": ("int32", "number of the next coat"),
    "coats": ("int32", "of the whole build-up"),
    "coating": ("string", "what the next coat is of"),
    "state": ("string", "how far the piece is"),
    "sand_first": ("bool", "the overcoat window is past: sand before coating"),
    "window_verdict": ("string", "of the window that is open, or else the next: coat or tight"),
    "window_from": ("instant", "its first start"),
    "window_last_start": ("instant", "its last start"),
    "brush_down_by": ("instant", "the last stroke that still beats the dew with the reserve"),
    "tight_until": ("instant", "the last stroke that works only if the forecast is right to the degree"),
    "best_start": ("instant", "the start with the most to spare"),
    "probability": ("float64", "share of the ways the weather may go in which the best start passes; null without"),
    "coarse": ("bool", "it stands on weather in steps that can hide a night"),
    "margin_hold_k": ("float64", "surface over dew point, least until dew-safe, from the best start"),
    "next_window_from": ("instant", "first start of the next window that is still to open"),
    "windows": ("int32", "how many windows there are ahead"),
    "dew_safe_at": ("instant", "when the film that is on is dew-safe"),
    "sandable_at": ("instant", "when it is sandable; of a stain, dry to coat"),
    "film_unaccounted_h": ("float64", "hours since that coat with no weather known, taken as none"),
    "weather_source": ("string", "who gave the weather"),
    "weather_credit": ("string", "the credit to show beside it"),
    "weather_issued_at": ("instant", "when it was made"),
    "weather_reaches": ("instant", "how far all that is needed is known"),
    "missing": ("string", "weather variables that are needed and not known"),
    "error": ("string", "why the row could not be judged; null where it could"),
}


def answer_of(outlook: Outlook, error: str = "") -> Answer:
    """Return the columns of an outlook."""
    reason, film, weather = outlook.reason, outlook.film, outlook.weather
    window, later = open_window(outlook) or next_window(outlook), next_window(outlook)
    answer: dict[str, Any] = {
        "verdict": outlook.word,
        "says": verdict(outlook),
        "why": why(outlook) or None,
        "next_coat": outlook.next_coat,
        "coats": outlook.coats,
        "coating": outlook.coating,
        "state": state_of(outlook, outlook.made_at).value,
        "sand_first": outlook.sand_first,
        "windows": len(outlook.windows),
        "next_window_from": later and later.start,
        "missing": ", ".join(outlook.missing) or None,
        "error": error or None,
    }
    if reason is not None:
        answer |= {
            "reason": reason.limit.value,
            "reason_value": reason.value,
            "reason_bound": reason.bound,
            "reason_unit": reason.unit or None,
            "reason_at": reason.at,
        }
    if window is not None:
        answer |= {
            "window_verdict": window.word,
            "window_from": window.start,
            "window_last_start": window.last_start,
            "brush_down_by": window.brush_down_by,
            "tight_until": window.tight_until,
            "best_start": window.best_start,
            "probability": window.probability,
            "coarse": window.coarse,
            "margin_hold_k": window.margin_hold_k,
        }
    if film is not None:
        answer |= {
            "dew_safe_at": film.stages.dew_safe,
            "sandable_at": film.stages.sandable,
            "film_unaccounted_h": film.unaccounted_h,
        }
    if weather is not None:
        answer |= {
            "weather_source": weather.source,
            "weather_credit": weather.attribution or None,
            "weather_issued_at": weather.issued_at,
            "weather_reaches": weather.reaches,
        }
    return answer


def not_judged(piece: Piece | None, error: str) -> Answer:
    """Return the columns of a piece that could not be judged; its verdict is unknown."""
    of_piece = {"coats": piece.coats, "coating": piece.coating or None} if piece is not None else {}
    return {"verdict": "unknown", "says": "unknown, so wait", "error": error, **of_piece}


def schema_of(columns: Mapping[str, tuple[str, str]]) -> "pa.Schema":
    """Return the schema of some columns; each field says what it means in its metadata."""
    import pyarrow as pa  # noqa: PLC0415  (an extra)

    kinds = {
        "string": pa.string(),
        "int32": pa.int32(),
        "int64": pa.int64(),
        "float64": pa.float64(),
        "bool": pa.bool_(),
        "instant": pa.timestamp("ms", tz="UTC"),
    }
    return pa.schema(
        [pa.field(name, kinds[kind], metadata={"description": said}) for name, (kind, said) in columns.items()]
    )


def table_of(rows: Sequence[Mapping[str, Any]], answers: Sequence[Answer], asks: Sequence[int]) -> "pa.Table":
    """Return the results of some rows.

    Parameters
    ----------
    rows
        The columns of each row.
    answers
        The columns of each answer.
    asks
        For each row the number of its answer.
    """
    import pyarrow as pa  # noqa: PLC0415  (an extra)

    of_rows = pa.Table.from_pylist(list(rows), schema=schema_of(OF_ROW))
    each = pa.Table.from_pylist([_cleaned(answer) for answer in answers], schema=schema_of(OF_ANSWER))
    of_answers = each.take(pa.array(asks, type=pa.int64()))
    table = of_rows
    for name in each.column_names:
        table = table.append_column(each.schema.field(name), of_answers.column(name))
    return table


def _cleaned(answer: Answer) -> dict[str, Any]:
    """Return an answer to the second, and with null for a figure that is not known."""
    return {name: _clean(value) for name, value in answer.items()}


def _clean(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.replace(microsecond=0)
    return None if isinstance(value, float) and not isfinite(value) else value
