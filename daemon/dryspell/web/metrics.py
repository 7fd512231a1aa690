"""What a monitoring system keeps of the daemon, in the text format of Prometheus: base units, few labels."""

from collections.abc import Iterator
from datetime import datetime
from importlib.metadata import version
from typing import get_args

from fastapi import APIRouter
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    InfoMetricFamily,
    Metric,
    SummaryMetricFamily,
)
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4
from prometheus_client.registry import Collector
from starlette.requests import Request
from starlette.responses import Response

from dryspell.outlook.model import Outlook, Word
from dryspell.web.board import Board, Known
from dryspell.web.desk import Desk


def router_of(board: Board, desk: Desk) -> APIRouter:
    """Return the route of the metrics."""
    router = APIRouter(include_in_schema=False)
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Vitals(board, desk))

    @router.api_route("/metrics", methods=["GET", "HEAD"])
    def metrics(request: Request) -> Response:  # noqa: ARG001  (everybody is told the same)
        return Response(generate_latest(registry), media_type=CONTENT_TYPE_PLAIN_0_0_4)

    return router


class Vitals(Collector):
    """Tells how the daemon and every piece do, as they are when it is asked."""

    def __init__(self, board: Board, desk: Desk) -> None:
        self._board = board
        self._desk = desk

    def collect(self) -> Iterator[Metric]:
        """Yield every metric; one that is not known is left out."""
        vitals, known, now = self._board.vitals, self._board.known, self._desk.clock.now()
        yield InfoMetricFamily("dryspell_build", "What runs.", {"version": version("dryspell")})
        yield SummaryMetricFamily("dryspell_tick_seconds", "Ticks that went well.", vitals.ticks, vitals.seconds)
        yield CounterMetricFamily("dryspell_tick_failures", "Ticks that failed.", vitals.failures)
        yield from self._outbox(now)
        if known is not None:
            at = "When the last tick was."
            yield GaugeMetricFamily("dryspell_last_tick_timestamp_seconds", at, known.at.timestamp())
            yield from _pieces(known, now)
            yield from _plans(known)
            yield from _weather(known, now)
            yield from _sensors(known, now)

    def _outbox(self, now: datetime) -> Iterator[Metric]:
        waiting = GaugeMetricFamily("dryspell_outbox_messages", "Messages that wait for a target.", labels=["target"])
        oldest = GaugeMetricFamily(
            "dryspell_outbox_oldest_age_seconds", "How long the oldest of them has waited.", labels=["target"]
        )
        queued = self._desk.store.queued()
        for target in self._desk.config.alerts:
            waiting.add_metric([target], queued[target].count if target in queued else 0)
            if target in queued:
                oldest.add_metric([target], (now - queued[target].oldest_at).total_seconds())
        yield from (waiting, oldest)


def _pieces(known: Known, now: datetime) -> Iterator[Metric]:
    verdict = GaugeMetricFamily(
        "dryspell_piece_verdict", "1 for the verdict on a piece, 0 for the others.", labels=["piece", "verdict"]
    )
    window = GaugeMetricFamily(
        "dryspell_piece_next_window_seconds", "Until a window opens; 0 while one is open.", labels=["piece"]
    )
    film = GaugeMetricFamily(
        "dryspell_piece_film_sandable_ratio", "How far the film is towards sandable, 0 to 1.", labels=["piece"]
    )
    left = GaugeMetricFamily("dryspell_piece_coats_left", "Coats that are still to come.", labels=["piece"])
    for outlook in known.outlooks:
        for word in get_args(Word):
            verdict.add_metric([outlook.piece, word], outlook.word == word)
        opens_in_s = _opens_in_s(outlook, now)
        if opens_in_s is not None:
            window.add_metric([outlook.piece], opens_in_s)
        if outlook.film is not None:
            film.add_metric([outlook.piece], outlook.film.sandable_fraction)
        left.add_metric([outlook.piece], max(0, outlook.coats + 1 - outlook.next_coat))
    yield from (verdict, window, film, left)


def _opens_in_s(outlook: Outlook, now: datetime) -> float | None:
    ahead = [window for window in outlook.windows if window.tight_until > now]
    return max(0.0, (ahead[0].start - now).total_seconds()) if ahead else None


def _plans(known: Known) -> Iterator[Metric]:
    if known.plans is not None and known.plans.share is not None:
        gap = "How far the plan may be from the best there is, as a share."
        yield GaugeMetricFamily("dryspell_plan_gap_ratio", gap, known.plans.share.gap_pct / 100.0)


def _weather(known: Known, now: datetime) -> Iterator[Metric]:
    age = GaugeMetricFamily("dryspell_weather_age_seconds", "Age of the weather that is used.", labels=["site"])
    for site, table in known.tables.items():
        if table is not None:
            age.add_metric([site], (now - table.issued_at).total_seconds())
    failing = GaugeMetricFamily(
        "dryspell_source_failing_seconds", "How long a source has given nothing.", labels=["site", "source"]
    )
    for source in known.sources:
        since = source.failing_since
        failing.add_metric([source.site, source.source], (now - since).total_seconds() if since else 0.0)
    yield from (age, failing)


def _sensors(known: Known, now: datetime) -> Iterator[Metric]:
    age = GaugeMetricFamily("dryspell_sensor_age_seconds", "Age of the last good reading.", labels=["sensor"])
    well = GaugeMetricFamily("dryspell_sensor_well", "1 where nothing is wrong with a sensor.", labels=["sensor"])
    for sensor in known.sensors:
        if sensor.last_good_at is not None:
            age.add_metric([sensor.sensor], (now - sensor.last_good_at).total_seconds())
        well.add_metric([sensor.sensor], sensor.trouble is None)
    yield from (age, well)
