"""Whether an MQTT broker lets us in, found out once: nothing is subscribed to, and no session is left there."""

import secrets
import time
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.tls import client_context, connect_problem, refusal

WITHIN_S = 5.0


def try_broker(broker: Broker, *, within_s: float = WITHIN_S, monotonic: Callable[[], float] = time.monotonic) -> str:
    """Return what is wrong with a broker, to follow its name; empty where it lets us in.

    Parameters
    ----------
    within_s
        How long to wait for a connection, and then for its answer.
    monotonic
        The stopwatch.
    """
    answers: list[Any] = []
    # A name of its own: under that of the daemon the broker would throw the daemon out.
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        f"dryspell-check-{secrets.token_hex(4)}",
        clean_session=True,
        protocol=paho.MQTTv311,
        reconnect_on_failure=False,
    )
    client.connect_timeout = within_s
    client.on_connect = lambda _client, _data, _flags, reason, _properties: answers.append(reason)
    if broker.user:
        client.username_pw_set(broker.user, broker.password.get_secret_value() if broker.password else None)
    try:
        if broker.tls:
            client.tls_set_context(client_context(broker))
        client.connect(*broker.address, keepalive=int(broker.keepalive_s))
    except (OSError, ValueError) as error:
        return connect_problem(error)
    until, lost = monotonic() + within_s, False
    while not answers and not lost and monotonic() < until:
        lost = client.loop(timeout=0.1) != paho.MQTT_ERR_SUCCESS
    client.disconnect()
    if not answers:
        return "hung up before it let us in" if lost else "does not answer"
    return refusal(broker, answers[0]) if answers[0].is_failure else ""
