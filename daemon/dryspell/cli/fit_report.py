"""What `dryspell fit` prints of what it found: lines for the configuration, or the same as JSON."""

import json
import math
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dryspell.outlook.probe import Key, keys_of
from dryspell.outlook.probe_inside import keys_of_shelter
from dryspell.science.enclosure_fit import EnclosureFit
from dryspell.science.fit import Fit, Refused, Score
from dryspell.trade.piece import Piece

SCHEMA = "dryspell.fit/1"
WIDTH = 80
WORTH_SAYING_K = 0.5
"""By how much it has to be warmer inside throughout to be spoken of (our choice)."""

Scores = tuple[Score, Score]


@dataclass(frozen=True)
class FaceReport:
    """What was found of a piece's face."""

    piece: Piece
    found: Fit | Refused

    def text(self) -> str:
        """Return what is printed."""
        if isinstance(self.found, Refused):
            return _refusal(self.piece, "how it stands", self.found)
        lines = _lines(self.piece, keys_of(self.found, self.piece))
        for when, (before, after) in (("by night", self.found.night), ("by day", self.found.day)):
            lines.append(f"# {when}, {after.readings} readings: {_score(after)}; before {_score(before)}")
        return "\n".join(lines)

    def document(self) -> str:
        """Return the JSON document."""
        found = self.found
        if isinstance(found, Refused):
            return _refusal_document(self.piece, "face", found)
        return _document(self.piece, "face", keys_of(found, self.piece), {"night": found.night, "day": found.day})


@dataclass(frozen=True)
class ShelterReport:
    """What was found of the air in a piece's tent or shed."""

    piece: Piece
    found: EnclosureFit | Refused

    def text(self) -> str:
        """Return what is printed."""
        if isinstance(self.found, Refused):
            return _refusal(self.piece, f"how the air in its {self.piece.shelter} goes", self.found)
        lines = _lines(self.piece, keys_of_shelter(self.found, self.piece))
        for remark in self._remarks(self.found):
            lines += textwrap.wrap(remark, WIDTH, initial_indent="# ", subsequent_indent="#   ")
        return "\n".join(lines)

    def document(self) -> str:
        """Return the JSON document."""
        found = self.found
        if isinstance(found, Refused):
            return _refusal_document(self.piece, "shelter", found)
        keys = keys_of_shelter(found, self.piece)
        scores = {"air": found.air, "dew_point": found.dew_point}
        return _document(self.piece, "shelter", keys, scores, warmer_k=_known(found.warmer_k))

    def _remarks(self, found: EnclosureFit) -> Iterator[str]:
        for of, (before, after) in (("air", found.air), ("dew point", found.dew_point)):
            if after.readings:
                yield f"{of} inside, {after.readings} readings: {_score(after)}; by the air outdoors {_score(before)}"
        if not any(key.name == "air_changes" for key in keys_of_shelter(found, self.piece)):
            yield f"how often its air is changed is not told; left at {found.enclosure.air_changes_per_h:.2g} / hour"
        if abs(found.warmer_k) >= WORTH_SAYING_K:
            warmer, heat = f"{abs(found.warmer_k):.1f} K {'warmer' if found.warmer_k > 0 else 'colder'}", ""
            if found.warmer_k > 0:
                heat = "; if a heater without flame does that, it stands in the key heat"
            yield f"inside it was {warmer} throughout than these say{heat}"
        sun_k = 1000.0 * found.enclosure.sun_k_m2_w
        if not self.piece.shut_by_day and sun_k * 0.5 >= WORTH_SAYING_K:  # 0.5 kW/m2 is a fair day
            yield f"the sun warmed it by {sun_k:.1f} K for each kW/m2, which is left out unless shut_by_day = true"


def _lines(piece: Piece, keys: list[Key]) -> list[str]:
    lines = [f"[piece.{piece.key}]"]
    for key in keys:
        edge = math.isnan(key.error)
        error = "at the edge of what it can be" if edge else f"give or take {_figure(key.error)} {key.unit}"
        lines.append(f'{key.name} = "{_figure(key.value)} {key.unit}"  # {error}')
    return [*lines, ""]


def _refusal(piece: Piece, what: str, refused: Refused) -> str:
    return f"{piece.name}: the readings do not tell {what} ({refused.reason}): {refused.detail}."


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _score(score: Score) -> str:
    return f"off by {score.rmse_k:.1f} K (RMSE), {score.bias_k:+.1f} K in the mean" if score.readings else "none"


def _refusal_document(piece: Piece, of: str, refused: Refused) -> str:
    document = {"schema": SCHEMA, "piece": piece.key, "of": of}
    return json.dumps(document | {"refused": refused.reason.value, "detail": refused.detail}, indent=2)


def _document(piece: Piece, of: str, keys: list[Key], scores: Mapping[str, Scores], **more: Any) -> str:
    document: dict[str, Any] = {"schema": SCHEMA, "piece": piece.key, "of": of}
    document["keys"] = [
        {"key": key.name, "value": round(key.value, 4), "error": _known(key.error), "unit": key.unit} for key in keys
    ]
    for when, both in scores.items():
        document[when] = {
            name: {"rmse_k": _known(score.rmse_k), "bias_k": _known(score.bias_k), "readings": score.readings}
            for name, score in zip(("before", "after"), both, strict=True)
        }
    return json.dumps(document | more, indent=2)


def _known(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 4)
