"""Random weather, coats, restarts, pauses, clocks that jump and change: what holds of all that is said."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts.fakes import ZONE, outlook, window
from dryspell.alerts.decide import decide, settled
from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Habits, Why
from dryspell.alerts.quiet import DEFAULT_QUIET, quiet_until
from dryspell.alerts.topics import risk as risks
from dryspell.alerts.topics import windows as windows_topic
from dryspell.outlook.model import Coat, FilmRisk, FilmState, Limit, Reason, Stages

GRID = timedelta(minutes=15)
HOUR = timedelta(hours=1)
GO = {Kind.COAT_NOW, Kind.HOT_COAT}
# In Berlin the clocks go forward on 29 March 2026 at 02:00, and back on 25 October at 03:00.
BEGINNINGS = (
    datetime(2026, 6, 1, 4, tzinfo=UTC),
    datetime(2026, 3, 28, 14, tzinfo=UTC),
    datetime(2026, 10, 24, 14, tzinfo=UTC),
)
HAZARDS = st.sampled_from(["dew", "rain"])
PIECES = ("rail", "door")
LENGTHS, QUARTERS = st.sampled_from([2, 8, 24, 40]), st.sampled_from([0, 1, 3, 4, 8])


class Daemon(RuleBasedStateMachine):
    """One site with two pieces; a tick a step, and what is said is looked at as a person would."""

    @initialize(begin=st.sampled_from(BEGINNINGS))
    def begin(self, begin):
        self.now = begin
        self.memory = {}
        self.spans = {piece: [] for piece in PIECES}
        self.dangers = {piece: {} for piece in PIECES}
        self.coats = {"rail": (4, begin), "door": (4, None)}
        self.known = True
        self.keys = set()
        self.said = []
        self.unsettled = {}

    # --- what there is to see ---

    @rule(piece=st.sampled_from(PIECES), start=st.integers(0, 8) | st.integers(0, 120), length=LENGTHS, after=QUARTERS)
    def window_comes(self, piece, start, length, after):
        first = self._grid(self.now) + start * GRID
        self.spans[piece] = sorted([*self.spans[piece], (first, first + length * GRID)])[-4:]
        self._pass(after)

    @rule(piece=st.sampled_from(PIECES), after=QUARTERS)
    def windows_go(self, piece, after):
        self.spans[piece] = []
        self._pass(after)

    @rule(
        piece=st.sampled_from(PIECES),
        hazard=HAZARDS,
        ahead=st.integers(0, 12) | st.integers(0, 60),
        share=st.sampled_from([0.0, 0.2, 0.5, 1.0]),
        after=QUARTERS,
    )
    def danger(self, piece, hazard, ahead, share, after):
        self.dangers[piece][hazard] = (self._grid(self.now) + ahead * GRID, share)
        self._pass(after)

    @rule(piece=st.sampled_from(PIECES), hazard=HAZARDS, after=QUARTERS)
    def no_danger(self, piece, hazard, after):
        self.dangers[piece].pop(hazard, None)
        self._pass(after)

    @rule(piece=st.sampled_from(PIECES), on=QUARTERS, off=QUARTERS, times=st.integers(1, 3))
    def forecast_flickers(self, piece, on, off, times):
        first = self._grid(self.now)
        for _ in range(times):
            self.spans[piece] = [(first, first + 40 * GRID)]
            self.dangers[piece]["dew"] = (first + 10 * GRID, 1.0)
            self._pass(on)
            self.spans[piece] = []
            self.dangers[piece].pop("dew", None)
            self._pass(off)

    @rule(piece=st.sampled_from(PIECES))
    def coat_recorded(self, piece):
        number, _ = self.coats[piece]
        if number <= 8:
            self.coats[piece] = (number + 1, self.now)
            self.dangers[piece] = {}

    @rule()
    def weather_lost_or_back(self):
        self.known = not self.known

    # --- what happens to the daemon ---

    @rule(quarters=st.integers(1, 40))
    def time_passes(self, quarters):
        self._pass(quarters)

    def _pass(self, quarters):
        for _ in range(quarters):
            self._tick()
            self.now += GRID

    @rule(minutes=st.integers(1, 14))
    def a_minute_passes(self, minutes):
        self._tick()
        self.now += timedelta(minutes=minutes)

    @rule()
    def clock_jumps_three_days(self):
        self.now += timedelta(days=3)
        self._tick()

    @rule()
    def clock_goes_back_an_hour(self):
        self.now -= HOUR
        self._tick()

    # --- seeing and saying ---

    @staticmethod
    def _grid(now):
        return datetime.fromtimestamp(-(-now.timestamp() // 900) * 900, UTC)

    def _outlook(self, piece):
        number, finished = self.coats[piece]
        film = None
        if finished is not None:
            coat = Coat(piece=piece, number=number - 1, finished_at=finished, recorded_at=finished)
            stages = Stages(
                dew_safe=finished + 30 * HOUR, rain_safe=finished + 40 * HOUR, sandable=finished + 60 * HOUR
            )
            film = FilmState(coat=coat, stages=stages, sandable_fraction=0.2)
        spans = _joined(self.spans[piece])
        made = [
            window(2, "00:00", "00:00").model_copy(
                update={
                    "start": a, "last_start": b, "best_start": a, "good_from": a, "brush_down_by": b + HOUR,
                    "tight_until": b + HOUR,
                }
            )
            for a, b in spans
        ]  # fmt: skip
        more = {"piece": piece, "piece_name": piece, "coat": number, "film": film}
        if not self.known:
            return outlook(self.now, (), word="unknown", film_risk=None, **more)
        coming = self.dangers[piece] if film else {}
        film_risk = tuple(
            FilmRisk(
                hazard=hazard,
                at=max(at, self.now),
                share=share,
                reason=Reason(limit=Limit.MARGIN_HOLD, value=0.1, bound=1.0, unit="K", at=at),
            )
            for hazard, (at, share) in sorted(coming.items())
            if at > self.now - HOUR
        )
        word = "wait" if number > 8 else None
        return outlook(self.now, () if number > 8 else made, film_risk=film_risk, word=word, **more)

    def _tick(self):
        before = self.memory
        outlooks = [self._outlook(piece) for piece in PIECES]
        notices, after = decide(before, outlooks, self.now, Habits())
        # A restart: what is remembered goes through the store.
        self.memory = {key: PieceMemory.model_validate_json(each.model_dump_json()) for key, each in after.items()}
        assert self.memory == after
        again, same = decide(self.memory, outlooks, self.now, Habits())
        assert (again, same) == ([], self.memory)
        for notice in notices:
            self._heard(notice)
        for key in settled(before, after):
            self.unsettled.pop(key, None)
        for notice in notices:
            self.unsettled[notice.key] = notice
        for seen in outlooks:
            self._nothing_due_is_missing(seen)

    def _heard(self, notice):
        assert notice.key not in self.keys  # the outbox would take it for a repeat, and not send it
        self.keys.add(notice.key)
        assert notice.expires_at >= self.now
        quiet = quiet_until(self.now, DEFAULT_QUIET, ZONE) is not None
        assert (notice.level is Level.WAKE) == quiet
        if quiet:
            assert notice.kind is Kind.FILM_RISK
            assert all(part.at > self.now for part in notice.each)
        for part in notice.each:
            self.said.append((self.now, part))

    def _nothing_due_is_missing(self, seen):
        """A window that has been open for half an hour is told of, and so is what comes to the film within an hour."""
        memory = self.memory[seen.piece]
        if seen.word == "unknown" or quiet_until(self.now, DEFAULT_QUIET, ZONE):
            return
        ahead = windows_topic.stretches(seen.windows)
        stretch = windows_topic.open_now(seen, ahead)
        if stretch is not None:
            held = any(s.start == stretch.start and self.now - s.since >= HOUR / 2 for s in memory.windows.seen)
            told = [o for o in memory.windows.opened if stretch.touches(o.start, o.end)]
            rests = memory.windows.no_since is not None
            worn_out = any(o.times > 1 for o in told)
            assert not held or rests or worn_out or any(o.withdrawn_at is None for o in told)
        for danger in seen.film_risk or ():
            if danger.odds >= 0.3 and danger.at - self.now <= timedelta(hours=3):
                warned = [w for w in memory.film.warned if w.hazard == danger.hazard]
                assert warned
                assert warned[0].stands or warned[0].times == risks.MOST_TIMES

    # --- what holds of all that was said ---

    @invariant()
    def no_topic_flips_more_than_twice_in_six_hours(self):
        for piece in PIECES:
            for turns in self._turns(piece):
                for k in range(len(turns) - 2):
                    # A clock that was set back may put what came later before it.
                    assert turns[k + 2] - turns[k] >= timedelta(hours=6) or turns[k + 2] < turns[k] + HOUR / 60

    def _turns(self, piece):
        """Yield when the word on a coat's windows, and on each danger, was turned to its contrary."""
        words = {}
        for at, part in self.said:
            if part.piece != piece:
                continue
            film = self.coats[piece][1]
            if part.kind in GO or part.kind is Kind.WAIT:
                yes = part.kind in GO or part.why is Why.SHORTER
                if part.why in (Why.LATER, Why.SHORTER) and part.told.start > at:
                    continue  # another hour of what is still to come is neither yes nor no
                words.setdefault(("windows", part.coat), []).append((at, yes))
            elif part.kind in (Kind.FILM_RISK, Kind.RISK_OVER):
                words.setdefault((part.hazard, part.coat, film), []).append((at, part.kind is Kind.FILM_RISK))
        for told in words.values():
            yield [at for (_, was), (at, yes) in pairwise(told) if was != yes]

    @invariant()
    def each_local_day_has_one_heads_up_and_one_word_that_there_is_no_weather(self):
        for piece in PIECES:
            for kind in (Kind.TOMORROW, Kind.WEATHER_LOST):
                mine = [(at, p) for at, p in self.said if p.piece == piece and p.kind is kind]
                days = [(at.astimezone(ZONE).date(), p.coat) for at, p in mine]
                assert len(set(days)) == len(days) or kind is Kind.WEATHER_LOST

    @invariant()
    def memory_does_not_grow(self):
        for memory in self.memory.values():
            assert len(memory.model_dump_json()) < 40_000


def _joined(spans):
    """Return spans without overlaps, as an outlook has them."""
    joined = []
    for a, b in spans:
        if joined and a <= joined[-1][1] + GRID:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        else:
            joined.append((a, b))
    return joined


TestDaemon = Daemon.TestCase
TestDaemon.settings = settings(
    max_examples=60, stateful_step_count=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
