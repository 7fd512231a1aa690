"""The daemon's log: for people on a terminal, JSON in a journal, one plain line each otherwise."""

import json
import logging
import os
import sys
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TextIO


def log_to_stderr(*, as_json: bool = False) -> None:
    """Log for people on a terminal, JSON into a journal, and else a plain line each with an instant.

    Libraries stay silent.
    """
    handler = logging.StreamHandler()
    as_json = as_json or in_journal(os.environ, sys.stderr)
    handler.setFormatter(_JsonLines() if as_json else _lines(on_terminal=sys.stderr.isatty()))
    ours = logging.getLogger("dryspell")
    ours.handlers[:] = [handler]
    ours.setLevel(logging.INFO)
    ours.propagate = False
    # Their lines may hold addresses with tokens in them.
    logging.getLogger().addHandler(logging.NullHandler())


def in_journal(env: Mapping[str, str], stream: TextIO) -> bool:
    """Say whether what is written to a stream goes into the journal, by JOURNAL_STREAM (systemd.exec(5))."""
    try:
        found = os.fstat(stream.fileno())
    except OSError:
        return False
    return env.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


def _lines(*, on_terminal: bool) -> logging.Formatter:
    if on_terminal:
        return logging.Formatter("%(asctime)s  %(message)s", "%H:%M:%S")
    formatter = logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%SZ")
    formatter.converter = time.gmtime
    return formatter


class _JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "schema": "dryspell.log/1",
            "generated_at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="seconds")[:-6] + "Z",
            "level": record.levelname.lower(),
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)
