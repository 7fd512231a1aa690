"""What has to be known again after a restart to lose nothing and count nothing twice: a small file in the state."""

import json
import logging
import os
import secrets
import threading
from pathlib import Path
from typing import Any

log = logging.getLogger(__name__)

NAME = "sensors.json"


class Memory:
    """Values by name, in one JSON file that is replaced whole.

    It is not synchronised to the disk: what a power cut takes away is read again, which does no harm, for a reading is
    known by its sensor, variable and instant. A file that cannot be read is begun anew for the same reason.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / NAME
        self._lock = threading.Lock()
        self._values = self._load()

    def get(self, name: str) -> Any:
        """Return a value, None where there is none."""
        with self._lock:
            return self._values.get(name)

    def put(self, name: str, value: Any) -> None:
        """Keep a value. Where the file cannot be written it is kept until the restart."""
        with self._lock:
            if self._values.get(name) == value and name in self._values:
                return
            self._values[name] = value
            part = self._path.with_suffix(".part")
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                part.write_text(json.dumps(self._values, indent=1), "utf-8")
                part.chmod(0o600)
                os.replace(part, self._path)  # noqa: PTH105  (as elsewhere: one step, or nothing)
            except OSError as error:
                log.warning("%s cannot be written: %s", self._path, error.strerror or error)

    def _load(self) -> dict[str, Any]:
        try:
            values = json.loads(self._path.read_text("utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, RecursionError) as error:
            log.warning("%s cannot be read and is begun anew: %s", self._path, error)
            return {}
        return values if isinstance(values, dict) else {}

    def client_id(self, broker: str) -> str:
        """Return the name under which a broker keeps our session: drawn once, 23 letters at the most (MQTT 3.1.1)."""
        key = f"broker {broker} client_id"
        name = self.get(key)
        if not isinstance(name, str):
            name = f"dryspell-{secrets.token_hex(7)}"
            self.put(key, name)
        return name
