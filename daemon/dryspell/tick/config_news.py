"""What there is to say of a configuration that was changed while the daemon runs: each once, refused or taken."""

import logging
from datetime import datetime, timedelta
from hashlib import sha256

from pydantic import Field, ValidationError

from dryspell.alerts.configuration import compose_config
from dryspell.alerts.kinds import ConfigKind, Level
from dryspell.alerts.memory import Remembered
from dryspell.config import Config
from dryspell.store import Store
from dryspell.store.notices import Message

log = logging.getLogger(__name__)

CONFIG_MEMORY_KEY = "config/"
IS_NEWS_FOR = timedelta(hours=24)


class ConfigMemory(Remembered):
    """What was said of the configuration."""

    problem: str = Field(default="", description="why it was refused; empty where it was not")
    key: str = Field(default="", description="the key of the notice that said so")


def say_config(store: Store, config: Config, problem: str, now: datetime) -> None:
    """Say what has become of a changed configuration, unless it was said.

    Parameters
    ----------
    config
        The one that is gone by: its targets are told.
    problem
        Why the changed one is refused; empty where it is not.

    Raises
    ------
    StoreError
        It could not be kept, and is said the next time.
    """
    before = _remembered(store)
    if problem == before.problem:
        return
    kind = ConfigKind.REFUSED if problem else ConfigKind.TAKEN
    key = f"{CONFIG_MEMORY_KEY}{kind}/{now:%Y-%m-%dT%H:%M:%SZ}"
    notice_id = sha256(key.encode()).hexdigest()[:10]
    title, body = compose_config(kind, problem, notice_id)
    message = Message(
        id=notice_id,
        key=key,
        piece=CONFIG_MEMORY_KEY,
        kind=kind,
        title=title,
        body=body,
        created_at=now,
        expires_at=now + IS_NEWS_FOR,
        targets=tuple(name for name, target in config.alerts.items() if target.hears(kind, Level.NOW)),
        topic=CONFIG_MEMORY_KEY,
    )
    memory = ConfigMemory(problem=problem, key=key if problem else "")
    store.save_round({CONFIG_MEMORY_KEY: memory.model_dump_json()}, [], [message], filter(None, [before.key]), now)
    if problem:
        log.error("the changed configuration is not taken, the last good one goes on: %s", problem)
    else:
        log.info("the changed configuration is good, and is gone by")


def _remembered(store: Store) -> ConfigMemory:
    try:
        return ConfigMemory.model_validate_json(store.memory().get(CONFIG_MEMORY_KEY, "{}"))
    except ValidationError:
        return ConfigMemory()
