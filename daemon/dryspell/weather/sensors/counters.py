"""Amounts out of counters that only go up: what a rain gauge counted since the reading before."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dryspell.weather.sensors.memory import Memory


@dataclass(frozen=True)
class Count:
    """What a counter stood at."""

    at: datetime
    total: float


class Counters:
    """Remembers where counters stood.

    What is worked out stands only after `commit`: where readings could not be kept, `roll_back` has them worked out
    again from where the counters stood before, and nothing that was counted is lost.
    """

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        self._kept: dict[str, Count] = {}
        self._ahead: dict[str, Count] = {}

    def amount(self, name: str, at: datetime, total: float) -> float | None:
        """Return how much was counted since the reading before; None for the first one, or for one that came late.

        A total below the one before has been set back and counted from 0 again. One of the same second as the one
        before, or of an earlier one, is left to the next difference, which holds it too.
        """
        before = self._ahead.get(name) or self._kept_count(name)
        if before is not None and at.replace(microsecond=0) <= before.at.replace(microsecond=0):
            return None
        self._ahead[name] = Count(at, total)
        if before is None:
            return None
        return round(total - before.total, 9) if total >= before.total else total

    def commit(self) -> None:
        """Let stand what was worked out since the last call."""
        for name, count in self._ahead.items():
            before = self._kept.get(name)
            self._kept[name] = count
            # An amount of 0 is the same again when it is worked out anew, so that only rain costs a write.
            if before is None or before.total != count.total:
                self._memory.put(f"counter/{name}", [count.at.isoformat(), count.total])
        self._ahead.clear()

    def roll_back(self) -> None:
        """Forget what was worked out since the last commit."""
        self._ahead.clear()

    def _kept_count(self, name: str) -> Count | None:
        if name not in self._kept and (count := _read(self._memory.get(f"counter/{name}"))):
            self._kept[name] = count
        return self._kept.get(name)


def _read(value: Any) -> Count | None:
    match value:
        case [str(at), int() | float() as total]:
            try:
                instant = datetime.fromisoformat(at)
            except ValueError:
                return None
            return Count(instant, float(total)) if instant.tzinfo else None
    return None
