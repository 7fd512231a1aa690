"""When a copy of the state was last asked for, and where it went: told in a small file beside the state."""

import os
from datetime import datetime
from pathlib import Path

from pydantic import BaseModel, ValidationError

from dryspell.owner import open_or_make

FILE_NAME = "last-backup.json"


class LastBackup(BaseModel):
    """A copy that was made."""

    at: datetime
    file: str
    size: int


def note_backup(state_dir: Path, made: LastBackup) -> None:
    """Note that a copy was made; OSError where the state folder takes nothing."""
    new = state_dir / f".{FILE_NAME}.{os.getpid()}"
    try:
        with os.fdopen(open_or_make(new), "w", encoding="utf-8") as file:
            file.write(made.model_dump_json())
        new.replace(state_dir / FILE_NAME)
    finally:
        new.unlink(missing_ok=True)


def last_backup(state_dir: Path) -> LastBackup | None:
    """Return the last copy that was made; None where nothing is known of one."""
    try:
        return LastBackup.model_validate_json((state_dir / FILE_NAME).read_bytes())
    except (OSError, ValidationError):
        return None
