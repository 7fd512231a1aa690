"""Judges a fleet: batches of whole cells, the weather of each fetched once, and a part of the results for each."""

import hashlib
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from dryspell import __version__
from dryspell.errors import WeatherError
from dryspell.fleet.cells import Place, Weather
from dryspell.fleet.cluster import Workers
from dryspell.fleet.columns import OF_ANSWER, Answer, not_judged, table_of
from dryspell.fleet.judge import Job, by_exposure
from dryspell.fleet.parts import AGAIN, Parts
from dryspell.fleet.table import BadRow, Fleet, InCell
from dryspell.weather.table import WeatherTable

ROWS = 500
"""Whole cells make up a batch until it has so many rows."""
QUESTIONS = 24
"""As many are handed out together, of one cell or several: a second of work or three, which is what a killed worker
loses; Dask takes 7 ms of processors for each such load, which on a cell at a time was an eighth of the whole."""
FETCHES = 1
"""Cells whose weather is asked for at the same time: free services want to be asked one thing after the other."""
FETCH_AHEAD = 8
"""Batches whose weather is fetched before they are judged."""
NAMED = 1000
"""So many rows that failed are named; the results have all of them."""


@dataclass(frozen=True)
class Setting:
    """How a fleet is judged: see `Job`."""

    now: datetime
    stale_after_h: float
    members: int


@dataclass
class Came:
    """What came of a run.

    Attributes
    ----------
    verdicts
        How many rows have each.
    failed
        How many rows could not be judged, and the first of them by name.
    cells, fetched, judged
        How many cells there are; of how many the weather came; how many questions were worked out.
    parts, kept
        How many parts the results have, and how many of them were kept from an earlier run.
    """

    now: datetime
    rows: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    failed: int = 0
    named: list[BadRow] = field(default_factory=list)
    cells: int = 0
    fetched: int = 0
    judged: int = 0
    parts: int = 0
    kept: int = 0

    def count(self, table: Any) -> None:
        """Count the rows of a part."""
        self.parts += 1
        self.rows += table.num_rows
        self.verdicts.update(table.column("verdict").to_pylist())
        names = [table.column(name).to_pylist() for name in ("row", "site", "piece", "error")]
        bad = [BadRow(*row) for row in zip(*names, strict=True) if row[3] is not None]
        self.failed += len(bad)
        self.named += bad[: NAMED - len(self.named)]


@dataclass
class _Batch:
    """Whole cells that are judged together, the weather of each or why there is none, and answers by cell.

    A load is the numbers of the questions that are handed out together, by the number of their cell here.
    """

    number: int
    cells: list[tuple[Place, InCell]]
    weather: list[WeatherTable | str] = field(default_factory=list)
    answers: list[list[Answer | None]] = field(default_factory=list)
    digest: str = ""
    loads: list[dict[int, list[int]]] = field(default_factory=list)
    open_loads: int = 0


def run(
    fleet: Fleet,
    weather: Weather,
    workers: Workers,
    parts: Parts,
    setting: Setting,
    progress: Callable[[int], object] = lambda _: None,
) -> Came:
    """Judge a fleet and leave the results in a folder.

    Parameters
    ----------
    progress
        Told of so many more rows that are done.

    Raises
    ------
    FleetError
        The results cannot be written, or the workers cannot judge. What is finished stays, for a further run.
    """
    return _Run(fleet, weather, workers, parts, setting, progress).come()


class _Run:
    def __init__(
        self,
        fleet: Fleet,
        weather: Weather,
        workers: Workers,
        parts: Parts,
        setting: Setting,
        progress: Callable[[int], object],
    ) -> None:
        self._fleet = fleet
        self._weather = weather
        self._workers = workers
        self._parts = parts
        self._setting = setting
        self._progress = progress
        self._came = Came(setting.now, cells=len(fleet.cells))
        self._batches = _batches(fleet)
        self._lays: dict[int, str] = {}

    def come(self) -> Came:
        open_batches: dict[int, _Batch] = {}
        for batch in self._with_weather(self._batches):
            self._came.fetched += sum(isinstance(each, WeatherTable) for each in batch.weather)
            batch.digest = self._digest(batch)
            if self._is_kept(batch.number, batch.digest):
                continue
            open_batches[batch.number] = batch
            batch.answers = [[None] * len(cell.questions) for _, cell in batch.cells]
            batch.loads = _loads(batch)
            batch.open_loads = len(batch.loads)
            for number, load in enumerate(batch.loads):
                while not self._workers.free:
                    self._take(open_batches)
                self._workers.give([self._job(batch, *each) for each in load.items()], batch.number, number)
        while self._workers.busy:
            self._take(open_batches)
        self._write_bad()
        self._parts.finish()
        return self._came

    def _with_weather(self, batches: Sequence[_Batch]) -> Iterator[_Batch]:
        """Fetch the weather of some batches ahead; the cells of one are asked about one after the other."""
        waiting: deque[tuple[_Batch, Future[list[WeatherTable | str]]]] = deque()
        with ThreadPoolExecutor(FETCHES, thread_name_prefix="weather") as pool:
            try:
                for batch in batches:
                    waiting.append((batch, pool.submit(self._fetch_all, [place for place, _ in batch.cells])))
                    if len(waiting) > FETCH_AHEAD:
                        yield _fetched(*waiting.popleft())
                while waiting:
                    yield _fetched(*waiting.popleft())
            finally:
                pool.shutdown(cancel_futures=True)

    def _fetch_all(self, places: Sequence[Place]) -> list[WeatherTable | str]:
        return [self._fetch(place) for place in places]

    def _fetch(self, place: Place) -> WeatherTable | str:
        """Return the weather of a cell, or why there is none: one cell without must not keep the others back."""
        try:
            return self._weather.fetch(place, self._setting.now)
        except WeatherError as error:
            return str(error)
        except Exception as error:  # noqa: BLE001  (a fault in the reader of one answer)
            return f"it failed in a way that nobody foresaw ({type(error).__name__}: {error})"

    def _job(self, batch: _Batch, at: int, numbers: Sequence[int]) -> Job:
        (place, cell), table = batch.cells[at], batch.weather[at]
        return Job(
            place=place.key,
            table=table if isinstance(table, WeatherTable) else None,
            without="" if isinstance(table, WeatherTable) else table,
            now=self._setting.now,
            stale_after_h=self._setting.stale_after_h,
            members=self._setting.members,
            questions=tuple(cell.questions[number] for number in numbers),
        )

    def _take(self, open_batches: dict[int, _Batch]) -> None:
        """Wait for a load; write the part of its batch where it is the last of it."""
        number, load, came = self._workers.take()
        batch = open_batches[number]
        if isinstance(came, str):
            batch.digest = AGAIN
        else:
            self._came.judged += sum(map(len, came))
        for job, (at, numbers) in enumerate(batch.loads[load].items()):
            questions = batch.cells[at][1].questions
            for which, each in enumerate(numbers):
                answer = not_judged(questions[each].piece, came) if isinstance(came, str) else came[job][which]
                batch.answers[at][each] = answer
        batch.open_loads -= 1
        if not batch.open_loads:
            self._write(open_batches.pop(number))

    def _write(self, batch: _Batch) -> None:
        rows: list[dict[str, Any]] = []
        asks: list[int] = []
        answers: list[Answer] = []
        for (place, cell), of_cell in zip(batch.cells, batch.answers, strict=True):
            first = len(answers)
            answers += [answer or {} for answer in of_cell]
            for berth in cell.berths:
                rows.append(self._row(berth.row, berth.site, berth.piece, place.key))
                asks.append(first + berth.question)
        self._put(batch.number, batch.digest, table_of(rows, answers, asks))

    def _put(self, number: int, digest: str, table: Any) -> None:
        self._parts.write(number, digest, table)
        self._count(table)

    def _write_bad(self) -> None:
        """Write the rows that could not be read, as the last part."""
        if not self._fleet.bad:
            return
        number = len(self._batches)
        digest = _hashed([__version__, OF_ANSWER, self._setting, *self._fleet.bad])
        if self._is_kept(number, digest):
            return
        rows = [self._row(bad.row, bad.site, bad.piece, None) for bad in self._fleet.bad]
        answers = [not_judged(None, bad.problem) for bad in self._fleet.bad]
        self._put(number, digest, table_of(rows, answers, range(len(rows))))

    def _row(self, row: int, site: str, piece: str, cell: str | None) -> dict[str, Any]:
        return {"row": row, "site": site, "piece": piece, "cell": cell, "made_at": self._setting.now}

    def _is_kept(self, number: int, digest: str) -> bool:
        """Count a part that is there already; False where it is not, or cannot be read and has to be made again."""
        import pyarrow as pa  # noqa: PLC0415  (an extra)
        import pyarrow.parquet as pq  # noqa: PLC0415

        path = self._parts.kept(number, digest)
        if path is None:
            return False
        try:
            table = pq.read_table(path, columns=["row", "site", "piece", "verdict", "error"], partitioning=None)
        except (pa.ArrowException, OSError):
            return False
        self._came.kept += 1
        self._count(table)
        return True

    def _count(self, table: Any) -> None:
        self._came.count(table)
        self._progress(table.num_rows)

    def _digest(self, batch: _Batch) -> str:
        """Return what a part goes by: all that its rows depend on."""
        said: list[object] = [__version__, OF_ANSWER, self._setting]
        for (place, cell), table in zip(batch.cells, batch.weather, strict=True):
            said += [place, _weather_hash(table), *cell.berths]
            said += [part for question in cell.questions for part in (question.key, self._lays_text(question.lays))]
        return _hashed(said)

    def _lays_text(self, lays: tuple[Any, ...]) -> str:
        # Rows of one build-up share the tuple, which lives as long as the fleet does.
        if id(lays) not in self._lays:
            self._lays[id(lays)] = _hashed(lays)
        return self._lays[id(lays)]


def _batches(fleet: Fleet) -> list[_Batch]:
    """Return whole cells in batches, those that ask a service for the same next to each other."""
    batches: list[_Batch] = []
    rows = ROWS
    for place, cell in sorted(fleet.cells.items(), key=lambda item: item[0].order):
        if rows >= ROWS:
            batches.append(_Batch(len(batches), []))
            rows = 0
        batches[-1].cells.append((place, cell))
        rows += len(cell.berths)
    return batches


def _loads(batch: _Batch) -> list[dict[int, list[int]]]:
    """Return the questions of a batch in loads, cell after cell, with what the weather reaches alike side by side."""
    order = [
        (at, number)
        for at, (_, cell) in enumerate(batch.cells)
        for alike in by_exposure(cell.questions)
        for number in alike
    ]
    loads: list[dict[int, list[int]]] = []
    for first in range(0, len(order), QUESTIONS):
        load: dict[int, list[int]] = {}
        for at, number in order[first : first + QUESTIONS]:
            load.setdefault(at, []).append(number)
        loads.append(load)
    return loads


def _fetched(batch: _Batch, weather: "Future[list[WeatherTable | str]]") -> _Batch:
    batch.weather = weather.result()
    return batch


def _weather_hash(table: WeatherTable | str) -> str:
    if isinstance(table, str):
        return _hashed([table])
    arrays = {
        **table.columns,
        "times": table.times.astype("int64"),
        **{f"spread {k}": v for k, v in table.spread.items()},
    }
    if table.coarse is not None:
        arrays["coarse"] = table.coarse
    columns = [
        (name, arrays[name].shape, hashlib.sha256(arrays[name].tobytes()).hexdigest()) for name in sorted(arrays)
    ]
    return _hashed(
        [columns, table.source, table.issued_at, table.attribution, sorted(table.filled.items()), table.cycle_h]
    )


def _hashed(said: Sequence[object]) -> str:
    digest = hashlib.sha256()
    for each in said:
        digest.update(repr(each).encode())
        digest.update(b"\n")
    return digest.hexdigest()[:16]
