"""The pure part: from the weather of a cell and the questions asked there to the answer to each, worked out once."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dryspell import __version__
from dryspell.fleet.columns import Answer, answer_of, not_judged
from dryspell.outlook.model import Coat
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.sight import Sight, sight_of
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay
from dryspell.weather.error_model import ALONE_ERRORS, DEFAULT_ERRORS
from dryspell.weather.noise import seed_of
from dryspell.weather.odds import members_of
from dryspell.weather.table import ALONE, WeatherTable

log = logging.getLogger(__name__)

_OF_COATS = {"coating": "", "system": "", "coats": 1, "done": 0, "over": "bare wood"}
"""What says nothing of how the weather reaches a piece."""


@dataclass(frozen=True)
class Question:
    """What a piece asks: how it stands, in which build-up, and what is on. Like questions have like answers."""

    piece: Piece
    site: Site
    lays: tuple[Lay, ...]
    coats: tuple[Coat, ...]

    @property
    def key(self) -> str:
        """The same for like questions under one configuration."""
        return repr((self.piece, self.site, self.coats))

    @property
    def exposure(self) -> str:
        """The same for questions that the weather reaches alike."""
        return repr((self.piece.model_copy(update=_OF_COATS), self.site))


@dataclass(frozen=True)
class Job:
    """Some questions of one cell.

    Attributes
    ----------
    place
        The key of the cell, which the odds are drawn by.
    table
        Its weather; None where there is none, for the reason `without`.
    now, stale_after_h, members
        The present instant, how old weather may be, and how many ways of a single forecast are judged.
    """

    place: str
    table: WeatherTable | None
    without: str
    now: datetime
    stale_after_h: float
    members: int
    questions: tuple[Question, ...]
    version: str = __version__


class OtherVersionError(Exception):
    """The worker has another version of the program, whose answers might be others."""


def judge_all(jobs: Sequence[Job]) -> list[list[Answer]]:
    """Answer the questions of several cells: to hand out one thing costs more than a question of a single forecast.

    Raises
    ------
    OtherVersionError
        This is not the version that the jobs were made by.
    """
    return [judge(job) for job in jobs]


def judge(job: Job) -> list[Answer]:
    """Answer the questions of a job, in their order. One that fails says so in its answer and keeps no other back.

    Raises
    ------
    OtherVersionError
        This is not the version that the job was made by.
    """
    if job.version != __version__:
        raise OtherVersionError(f"the worker has dryspell {__version__}, and {job.version} asks it")
    table = _with_odds(job)
    answers: dict[int, Answer] = {}
    for alike in by_exposure(job.questions):
        sight: Sight | None = None  # of one exposure at a time: it holds all that the weather is there
        for number in alike:
            question = job.questions[number]
            try:
                if sight is None and table is not None:
                    sight = sight_of(question.piece, question.site, table, job.now, stale_after_h=job.stale_after_h)
                answers[number] = _answer(job, question, table, sight)
            except Exception as error:
                log.exception("a question of %s could not be judged", job.place)
                answers[number] = not_judged(question.piece, f"could not be judged: {type(error).__name__}: {error}")
    return [answers[number] for number in range(len(job.questions))]


def by_exposure(questions: Sequence[Question]) -> list[list[int]]:
    """Return the numbers of questions, those that the weather reaches alike together."""
    groups: dict[str, list[int]] = {}
    for number, question in enumerate(questions):
        groups.setdefault(question.exposure, []).append(number)
    return list(groups.values())


def _with_odds(job: Job) -> WeatherTable | None:
    """Return the weather as the daemon takes it at a site of which nothing has been read: with members for the odds."""
    if job.table is None or job.members == 1:
        return job.table
    errors = ALONE_ERRORS if job.table.source == ALONE else DEFAULT_ERRORS
    return members_of(job.table, job.now, errors, count=job.members, seed=seed_of(job.place))


def _answer(job: Job, question: Question, table: WeatherTable | None, sight: Sight | None) -> Answer:
    outlook = make_outlook(
        question.piece,
        question.site,
        question.lays,
        question.coats,
        table,
        job.now,
        stale_after_h=job.stale_after_h,
        sight=sight,
    )
    return answer_of(outlook, f"no weather: {job.without}" if table is None else "")
