"""The answers that are kept on disk between requests, one file an address."""

import hashlib
import os
import tempfile
from pathlib import Path

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from dryspell.owner import hand_over, make_folder


class Kept(BaseModel):
    """What is known about one address: the last good answer, and when it may be asked for again.

    Attributes
    ----------
    url
        The address without any key.
    checked_at, next_fetch_at
        The last exchange with the server, and the earliest instant of the next.
    problem, failures
        Why the last exchange failed, empty after a good one; and how many have failed since the last good one.
    status, etag, last_modified, expires
        Of the last good answer; the headers letter by letter, for conditional requests.
    fetched_at, body
        The last good answer and when it came over; None where there has been none.
    """

    model_config = ConfigDict(frozen=True)

    url: str
    checked_at: AwareDatetime
    next_fetch_at: AwareDatetime
    problem: str = ""
    failures: int = 0
    status: int = 0
    etag: str | None = None
    last_modified: str | None = None
    expires: str | None = None
    fetched_at: AwareDatetime | None = None
    body: bytes | None = Field(default=None, exclude=True)


class _Head(BaseModel):
    """The first line of a file; the body is the rest of it."""

    model_config = ConfigDict(cache_strings="keys")  # its instants are others every time

    kept: Kept
    sha256: str | None


def load(folder: Path, url: str) -> tuple[Kept | None, str]:
    """Return what is kept for an address, and a note where a file is there but cannot be used."""
    path = _path(folder, url)
    try:
        head_line, _, body = path.read_bytes().partition(b"\n")
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        return None, f"the stored answer {path} cannot be read and is ignored: {error.strerror}"
    try:
        head = _Head.model_validate_json(head_line)
    except ValidationError:
        head = None
    if head is None or (head.sha256 is not None and head.sha256 != _digest(body)):
        return None, f"the stored answer {path} is damaged and is ignored"
    if head.sha256 is None or head.kept.fetched_at is None:
        return head.kept.model_copy(update={"fetched_at": None, "body": None}), ""
    return head.kept.model_copy(update={"body": body}), ""


def save(folder: Path, kept: Kept) -> str:
    """Keep an answer, and return a note where that failed: the caller can do without the copy.

    Head and body share one file, so that one rename changes both. Nothing is synced: a copy lost with the power is
    found damaged and fetched anew.
    """
    path = _path(folder, kept.url)
    head = _Head(kept=kept, sha256=None if kept.body is None else _digest(kept.body))
    try:
        make_folder(folder)
        handle, name = tempfile.mkstemp(prefix=path.stem, suffix=".new", dir=folder)
        try:
            with os.fdopen(handle, "wb") as file:
                hand_over(handle, folder)
                file.write(head.model_dump_json().encode() + b"\n" + (kept.body or b""))
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        return f"the answer could not be kept in {folder}: {error.strerror}"
    return ""


def _path(folder: Path, url: str) -> Path:
    return folder / f"{_digest(url.encode())[:32]}.answer"


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
