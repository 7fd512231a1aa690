"""What is said of a fault that nobody foresaw, and how to tell it from another one: its text may differ every time."""

import re
import traceback

from dryspell.errors import DryspellError

_VARYING = re.compile(r"0x[0-9a-f]+|\d+")


def told(error: BaseException) -> str:
    """Return a text for people; that of an error may be empty."""
    if isinstance(error, MemoryError):  # its text is empty, or has sizes
        return "there was not enough memory"
    return str(error) or type(error).__name__


def kind_of(error: BaseException) -> str:
    """Return what an error has in common with others like it, so that each kind is logged once.

    One of ours is known by its text without the numbers in it, any other by its type and where it was raised. Memory
    runs out anywhere.
    """
    name = type(error).__qualname__
    if isinstance(error, MemoryError):
        return "MemoryError"
    if isinstance(error, DryspellError):
        return f"{name}: {_VARYING.sub('#', str(error))}"
    frames = traceback.extract_tb(error.__traceback__)
    return f"{name} at {frames[-1].filename}:{frames[-1].lineno}" if frames else name
