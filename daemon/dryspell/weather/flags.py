"""What the quality checks say of a reading."""

from collections.abc import Mapping
from enum import IntEnum


class Flag(IntEnum):
    """One reason not to use a reading, the first that applies; the numbers are kept on disk and never change."""

    GOOD = 0
    FUTURE = 1  # stamped later than now: its clock is wrong
    PAST = 2  # stamped before anything is kept: its clock is wrong, or it is too late to be of use
    RANGE = 3  # not possible at the ground
    SUN = 4  # more sun than there can be with the sun where it is
    INCONSISTENT = 5  # not of the same air as what else was read then
    JUMP = 6  # changed faster than the air does
    SPIKE = 7  # off both from the reading before and from the one after
    STUCK = 8  # has not changed for longer than the air stays the same


WORDS: Mapping[Flag, str] = {
    Flag.GOOD: "good",
    Flag.FUTURE: "stamped in the future",
    Flag.PAST: "stamped too long ago",
    Flag.RANGE: "not possible",
    Flag.SUN: "more sun than there can be",
    Flag.INCONSISTENT: "at odds with what else was read",
    Flag.JUMP: "changed too fast",
    Flag.SPIKE: "a spike",
    Flag.STUCK: "stuck at one value",
}
"""What a flag is called to people."""
