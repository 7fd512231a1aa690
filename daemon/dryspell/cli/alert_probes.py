"""What `dryspell check` finds of alerts: whether they can be sent, what was not taken, where states are published."""

from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from dryspell.alerts.apprise_sender import AppriseSender
from dryspell.alerts.deliver import SendError
from dryspell.alerts.draughtsman import EXTRA, Draughtsman, can_draw
from dryspell.cli.parts import Finding
from dryspell.cli.probes import is_there
from dryspell.config import Config
from dryspell.config.target import AlertTarget
from dryspell.errors import StoreError
from dryspell.outlook.figures import duration
from dryspell.store.notices import Failing
from dryspell.store.store import FILE_NAME, open_store
from dryspell.weather.sensors.mqtt_try import try_broker

TEST_TITLE = "dryspell: a test"
TEST_BODY = "Sent by `dryspell check --send`, to see that alerts reach you. There is nothing to do."
TEST_CHART = """
{"width": 300, "height": 60, "background": "white", "data": {"values": [{}]},
 "mark": {"type": "text", "fontSize": 16, "text": "Charts go with messages like this"}}
"""
LATE_WITHIN = timedelta(days=7)


@dataclass(frozen=True)
class _Known:
    """What the state knows of targets: those that take nothing, and how many messages were too late lately."""

    failing: Mapping[str, Failing] = field(default_factory=dict)
    late: Mapping[str, int] = field(default_factory=dict)


def _known(config: Config, now: datetime) -> _Known:
    if not is_there(config.state_dir / FILE_NAME):
        return _Known()
    try:
        with closing(open_store(config.state_dir)) as store:
            return _Known(store.failing(), store.late_since(now - LATE_WITHIN))
    except StoreError:
        return _Known()  # said of the state itself


def alerts(config: Config, now: datetime, *, send: bool = False) -> Iterator[Finding]:
    """Yield whether Apprise takes each target's address, and with `send` whether a test message was taken.

    A target that has not taken what the daemon sent it is bad, unless it takes a test now.
    """
    if not config.alerts:
        yield Finding("alert", "look", "no target: what there is to say stands in the log only")
    known, draughtsman = _known(config, now), Draughtsman() if can_draw() else None
    sender = AppriseSender({key: target.url.get_secret_value() for key, target in config.alerts.items()})
    without = []
    for key, target in config.alerts.items():
        try:
            pictured = target.pictures and sender.takes_pictures(key)
            if pictured and draughtsman is None:
                without.append(key)
            png = draughtsman(TEST_CHART) if send and draughtsman and pictured else None
            if send:
                sender.send(key, TEST_TITLE, TEST_BODY, partial(_drawn, png))
        except SendError as error:
            yield Finding("alert", "bad", f"{key}: {target.scheme} {error}")
            continue
        yield _of_target(key, target, known, now, sent=send, drew=png is not None)
    if without:
        text = f"{', '.join(without)}: messages go without a picture; the extra dryspell[{EXTRA}] adds what draws it"
        yield Finding("alert", "look", text)


def _drawn(png: bytes | None) -> bytes | None:
    return png


def _of_target(key: str, target: AlertTarget, known: _Known, now: datetime, *, sent: bool, drew: bool) -> Finding:
    who = f"{key}: {target.scheme}"
    about = "all pieces" if target.pieces is None else ", ".join(target.pieces)
    if (failed := known.failing.get(key)) and not sent:
        many = f"{failed.notices} {'notice' if failed.notices == 1 else 'notices'}"
        said = f", the last time because {failed.error}" if failed.error else ""
        ago = duration(max(now - failed.since, timedelta(0)))
        return Finding("alert", "bad", f"{who} has taken none of {many} since {ago} ago{said}{_late(known, key)}")
    did = "Apprise knows the address; nothing was sent"
    if sent:
        did = f"a test was sent{', with a picture' if drew else ''}; see that it came"
    late = _late(known, key)
    return Finding("alert", "look" if late else "good", f"{who} about {about}: {did}{late}")


def _late(known: _Known, key: str) -> str:
    late = known.late.get(key, 0)
    many = f"{late} message{'s' if late > 1 else ''}"
    return f"; {many} within a week {'were' if late > 1 else 'was'} too late for it and dropped" if late else ""


def published(config: Config, *, offline: bool = False) -> Iterator[Finding]:
    """Yield whether the broker to which states of pieces are published lets us in."""
    if config.mqtt_out is None:
        return
    broker = config.broker[config.mqtt_out.broker]
    name = broker.name.removeprefix("broker ")
    if offline:
        yield Finding("mqtt_out", "skipped", f"{name} was not asked")
    elif problem := try_broker(broker):
        yield Finding("mqtt_out", "bad", f"{name}: {problem}")
    else:
        topics = f"{config.mqtt_out.prefix}/piece/…"
        yield Finding("mqtt_out", "good", f"{name}: lets us in; states of pieces go to {topics}")
