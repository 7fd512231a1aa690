"""One daemon to a state folder."""

import fcntl
import os
import time
from pathlib import Path
from typing import Self

from dryspell.errors import StoreError
from dryspell.owner import make_folder, open_or_make

FILE_NAME = "dryspell.lock"
_TRIES = 5
_TRY_AGAIN_S = 0.05


def holder(state_dir: Path) -> int | None:
    """Return the process of the daemon that runs on a state folder, 0 where it cannot be told; None for no daemon.

    Raises
    ------
    StoreError
        When the lock may not be looked at.
    """
    try:
        file = os.open(state_dir / FILE_NAME, os.O_RDONLY)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise StoreError(f"the state folder {state_dir} cannot be read ({error.strerror}); check who owns it") from None
    try:
        # Shared and for a moment: who asks at the same time is not in the way, and a daemon that begins tries again.
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        process = os.pread(file, 20, 0).decode("ascii", "replace").strip()
        return int(process) if process.isdecimal() else 0
    else:
        return None
    finally:
        os.close(file)


class DaemonLock:
    """Held while a daemon runs on a state folder; the system lets go of it when the process ends, however it ends.

    Raises
    ------
    StoreError
        When another daemon holds it; the message names the folder and that daemon's process.
    """

    def __init__(self, state_dir: Path) -> None:
        try:
            make_folder(state_dir)
            self._file = open_or_make(state_dir / FILE_NAME)
        except OSError as error:
            raise StoreError(
                f"the state folder {state_dir} cannot be written to ({error.strerror}); check who owns it, "
                "or set another"
            ) from None
        if not self._taken():
            process = os.pread(self._file, 20, 0).decode("ascii", "replace").strip() or "unknown"
            os.close(self._file)
            raise StoreError(
                f"another dryspell (process {process}) runs on the state folder {state_dir}; stop that one first, "
                "or give this one a state folder of its own"
            ) from None
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, f"{os.getpid()}\n".encode("ascii"), 0)

    def _taken(self) -> bool:
        """Take it; somebody who only looks whether it is held may do so at this very moment."""
        for tries_left in reversed(range(_TRIES)):
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                if tries_left:
                    time.sleep(_TRY_AGAIN_S)
            else:
                return True
        return False

    def release(self) -> None:
        """Let another daemon have the folder; a second time does nothing."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.release()
