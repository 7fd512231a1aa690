"""What the record tells of a coat beside its figures, and of what was done to it later."""

from collections.abc import Iterator

from dryspell.answers.log_record import Record
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import differences
from dryspell.outlook.figures import clock, when
from dryspell.store.coats import CoatChange, Version

_CHANGES = {
    "undone": "taken back",
    "corrected": "corrected",
    "spoilt": "found spoilt",
    "not spoilt": "found not spoilt",
}


def told_of(row: Row, record: Record) -> Iterator[str]:
    """Yield what was told of a coat, a phrase each."""
    coat = row.coat
    if coat.mixed_at is not None:
        yield f"mixed {clock(coat.mixed_at, record.zone)}"
    if coat.abrasive:
        yield "not sanded before it" if coat.abrasive == "none" else f"after {coat.abrasive}"
    if coat.litres is not None:
        yield f"{coat.litres:g} L used"
    if coat.batch:
        yield f"batch {coat.batch}"
    if coat.photo:
        yield f"picture {coat.photo}"
    if coat.note:
        yield coat.note


def change_text(change: CoatChange, version: Version, record: Record) -> str:
    """Return what was done to a coat, when and by whom."""
    who = f" by {change.who}" if change.who else ""
    said = f"{_CHANGES[change.what]} {when(change.at, record.zone, record.now)}{who}"
    if change.detail:
        said += f": {change.detail}"
    new = next((other.coat for other in record.versions if other.coat.id == change.successor), None)
    if new is not None:
        said += f": {'; '.join(differences(version.coat, new, record.zone, record.units))}"
    return said
