"""The errors a person can meet. Their text is the whole message: it is shown as it stands, without a traceback."""


class DryspellError(Exception):
    """Something is wrong that the reader of the message can put right."""


class ConfigError(DryspellError):
    """The configuration cannot be used; `problems` lists everything found wrong in it, one sentence each."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


class WeatherError(DryspellError):
    """A weather source gave nothing usable; `retry_after_s` is how long it asked to be left alone, if it did."""

    def __init__(self, message: str, *, retry_after_s: float | None = None) -> None:
        super().__init__(message)
        self.retry_after_s = retry_after_s


class StoreError(DryspellError):
    """The state file cannot be used: held by another daemon, written by a newer version, or damaged."""


class CoatError(DryspellError):
    """What was told of a coat cannot be: it has no such number, or was finished before the one below it."""


class ChangedError(CoatError, StoreError):
    """A coat cannot be entered or changed as was asked: somebody else was quicker."""


class FleetError(DryspellError):
    """A fleet cannot be judged: its table, the folder of its results or the cluster cannot be used."""
