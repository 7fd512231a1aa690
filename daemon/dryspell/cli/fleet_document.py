"""What came of judging a fleet, as a JSON document for other programs."""

from datetime import datetime
from pathlib import Path
from typing import Literal

from pydantic import Field

from dryspell.answers.common import Whole, edition
from dryspell.answers.part import Instant, Part
from dryspell.fleet.run import Came


class FailedPart(Part):
    """A row that could not be judged."""

    row: int = Field(description="of the table: the line of a CSV file, or counted from 1")
    site: str = Field(description="as the table has it")
    piece: str = Field(description="as the table has it")
    problem: str = Field(description="why not")


class VerdictsPart(Part):
    """How many rows have each verdict."""

    coat: int = Field(description="a coat can be begun now")
    tight: int = Field(description="it works only if the forecast is right to the degree")
    wait: int = Field(description="not now")
    unknown: int = Field(description="the weather is not known or not to be trusted, or the row could not be judged")


class FleetDocument(Whole):
    """What came of judging a fleet; the answers themselves are in the Parquet files."""

    schema_: Literal["dryspell.fleet/1"] = edition("dryspell.fleet/1")
    made_at: Instant = Field(description="the instant that was judged for")
    folder: str = Field(description="where the results are")
    parts: int = Field(description="how many Parquet files they are")
    parts_kept: int = Field(description="how many of them an earlier run had finished")
    rows: int = Field(description="of the table, and of the results")
    cells: int = Field(description="forecast cells that the sites lie in")
    cells_with_weather: int = Field(description="of how many the weather is known")
    questions: int = Field(description="how many judgements were worked out; like pieces in one cell share one")
    verdicts: VerdictsPart = Field(description="how many rows have each")
    failed_rows: int = Field(description="how many rows could not be judged")
    failed: list[FailedPart] = Field(description="the first thousand of them")


def fleet_document(came: Came, out: Path, now: datetime) -> FleetDocument:
    """Return the document of `dryspell fleet --json`."""
    return FleetDocument(
        generated_at=now,
        made_at=came.now,
        folder=str(out),
        parts=came.parts,
        parts_kept=came.kept,
        rows=came.rows,
        cells=came.cells,
        cells_with_weather=came.fetched,
        questions=came.judged,
        verdicts=VerdictsPart(**{word: came.verdicts[word] for word in VerdictsPart.model_fields}),
        failed_rows=came.failed,
        failed=[FailedPart.model_validate(bad, from_attributes=True) for bad in came.named],
    )
