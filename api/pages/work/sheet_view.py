"""What the job sheet is given: tag grid, steps, measures, parts, tools, findings; on the page and on paper."""

from dataclasses import dataclass

from markupsafe import Markup

from api.pages.shared import qr
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.language import gettext as _

LONGEST_NOTE_PRINTED = 300
DENSE_FROM_LETTERS = 1800
"""A sheet with more letters than this is set smaller, so that it stays on one page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRow:
    """A line of the lock and tag grid; what is not known yet is empty, to be written by hand."""

    point: str
    lock_no: str = ""
    tag_no: str = ""
    placed: str = ""
    removed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLine:
    """A step of the sheet. done: by whom and when it was ticked, empty when it was not."""

    number: int
    text: str
    done: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureLine:
    """A measure the sheet asks for. found: the newest value noted, empty for none. out: it is out of its limits. before: the
    figures before it, with their times."""

    asked: MeasureAsked
    limits: str
    found: str = ""
    out: bool = False
    before: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLine:
    """A part needed. aboard none: not counted yet."""

    name: str
    need: int
    aboard: int | None = None

    @property
    def lacking(self) -> bool:
        """Fewer are aboard than the job may need."""
        return self.aboard is not None and self.aboard < self.need


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """The sheet. address: where the code leads. printed_from: plan and record stamp it was printed from, in words."""

    tags: tuple[TagRow, ...] = ()
    steps: tuple[StepLine, ...] = ()
    measures: tuple[MeasureLine, ...] = ()
    parts: tuple[PartLine, ...] = ()
    tools: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    also_due: tuple[str, ...] = ()
    note: str = ""
    address: str = ""
    printed_from: str = ""
    stamp: str = ""
    count_action: str = ""
    """Where the form that counts parts posts."""

    @property
    def dense(self) -> bool:
        """It is set smaller on paper."""
        items = len(self.parts) + len(self.measures) + len(self.also_due)
        return sum(len(step.text) for step in self.steps) + len(self.printed_note) + 60 * items > DENSE_FROM_LETTERS

    @property
    def printed_note(self) -> str:
        """The kind's note as far as paper holds it."""
        cut = len(self.note) > LONGEST_NOTE_PRINTED
        return _("{note}… (whole on the page)", note=self.note[: LONGEST_NOTE_PRINTED - 30]) if cut else self.note

    @property
    def code(self) -> Markup:
        """The QR code of the job's address; empty without one."""
        return qr.svg(self.address, _("This job's page")) if self.address else Markup("")
