"""Readings of a device that is asked over HTTP, again and again."""

import threading

from dryspell import __version__
from dryspell.clock import Clock
from dryspell.errors import WeatherError
from dryspell.weather.exchange import Exchange, Question
from dryspell.weather.sensors.attended import Attended
from dryspell.weather.sensors.decode import Arrival
from dryspell.weather.sensors.intake import Intake, NotKeptError
from dryspell.weather.sensors.model import Poll
from dryspell.weather.sensors.notices import Notices


class PollWay:
    """Asks one device at its interval; the first time at once."""

    def __init__(self, sensor: str, poll: Poll, intake: Intake, clock: Clock, notices: Notices) -> None:
        self._sensor = sensor
        self._poll = poll
        self._intake = intake
        self._clock = clock
        self._notices = notices
        self._attended = Attended(f"sensor {sensor}", self._work)

    def start(self) -> None:
        """Begin to ask."""
        self._attended.start()

    def stop(self) -> None:
        """Ask for the end."""
        self._attended.stop()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        return self._attended.wait(timeout_s)

    def _work(self, stop: threading.Event) -> None:
        exchange = Exchange(f"dryspell/{__version__}", timeout=(5.0, 10.0), total_s=20.0, sleep=stop.wait)
        while not stop.is_set():
            self._ask(exchange, stop)
            stop.wait(self._poll.every_s)

    def _ask(self, exchange: Exchange, stop: threading.Event) -> None:
        key = f"{self._sensor} http"
        try:
            reply = exchange.ask(question_of(self._poll), self._clock.now())
        except WeatherError as error:
            self._notices.trouble(key, f"sensor {self._sensor}: {error}")
            return
        self._notices.over(key, f"sensor {self._sensor}: answers again")
        if stop.is_set():
            return
        try:
            self._intake.take([Arrival(self._sensor, reply.body, self._clock.now())])
        except NotKeptError:
            return  # said by the intake; the device has a new value the next time


def question_of(poll: Poll) -> Question:
    """Return what a device is asked."""
    if poll.token is None:
        return Question(poll.url)
    token = poll.token.get_secret_value()
    value = f"Bearer {token}" if poll.header.lower() == "authorization" else token
    return Question(poll.url, secret_headers={poll.header: value})
