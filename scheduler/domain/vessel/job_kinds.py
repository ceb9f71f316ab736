"""Job kinds, and when they were last done."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from scheduler.domain.base.enums import Subject
from scheduler.domain.vessel.crew import STRICT
from scheduler.domain.vessel.sheets import MeasureAsked, PartNeeded, Phase, SheetStep, sheet_steps
from scheduler.language import gettext, marked


@dataclass(frozen=True, slots=True, kw_only=True)
class JobKind:
    """A kind of maintenance job. Due at the earlier of its running hours and its calendar interval.

    takes_hours is working time with isolation and the test inside it, whole hours; setup_hours is the part of it that
    opens and shuts the pump, spared when the job goes on with another's isolation. needs: "port", "sea" or another kind
    of day, or "service engineer". stop_minutes: above 0 for a short test that stops pumps for so long. The window opens
    `window_*` before the due point; the limit is `tolerance_*` after it. `renews` lists the codes whose interval a done
    job of this kind starts anew besides its own. steps, measures, parts, tools: what its job sheet asks for.
    """

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    code: str
    name: str
    subject: Subject
    takes_hours: int
    part_kind: str | None = None
    interval_running_hours: int | None = None
    interval_months: int | None = None
    interval_days: int | None = None
    window_running_hours: int = 0
    window_days: int = 0
    tolerance_running_hours: int = 0
    tolerance_days: int = 0
    hands: int = 1
    takes_pump_out: bool = True
    renews: tuple[str, ...] = ()
    setup_hours: int = 0
    needs: tuple[str, ...] = ()
    stop_minutes: int = 0
    pumps_closed: bool = False
    """No pump may be open meanwhile (a stand-by start, a hold test): all pumps in use are needed."""
    critical: bool = False
    class_item: bool = False
    note: str = ""
    steps: tuple[str | SheetStep, ...] = ()
    measures: tuple[MeasureAsked, ...] = ()
    parts: tuple[PartNeeded, ...] = ()
    tools: tuple[str, ...] = ()

    @property
    def sheet(self) -> tuple[SheetStep, ...]:
        """The steps of its sheet, each with its place in the work."""
        return sheet_steps(self.steps, takes_pump_out=self.takes_pump_out)


def _step(when: Phase, text: str, act: str = "") -> SheetStep:
    return SheetStep(text=text, when=when, act=act)


BREAKDOWN = JobKind(
    code="breakdown",
    name="Breakdown repair",
    subject=Subject.PUMP,
    takes_hours=4,
    steps=(
        _step(Phase.BEFORE, "Stand-by seen running, margin looked at, those concerned told.", "made ready"),
        _step(
            Phase.BEFORE, "Inlet shut, fresh water through, drained to the sewage tank or a closed container.", "rinsed"
        ),
        _step(Phase.ISOLATED, "Start tried at the locked breaker, control supply still on.", "start tried"),
        _step(Phase.ISOLATED, "No voltage at the terminals, all phases; meter proved before and after.", "no voltage"),
        _step(Phase.ISOLATED, "Gauge stays at zero with both valves shut; drained.", "vacuum let out"),
        _step(
            Phase.OPEN,
            "Find the cause before parts are changed; take out what does not belong there, write down what it was.",
        ),
        _step(Phase.OPEN, "Put right, close up, count tools and rags."),
        _step(Phase.CLOSED, "People and tools clear, personal locks off, then point by point.", "people clear"),
        _step(Phase.BACK, "Local start: leaks, current of the phases, turning. Then AUTO.", "started locally"),
        _step(Phase.BACK, "Pull-down over the plant's band at a quiet hour, the other pumps stopped.", "tested"),
    ),
    note="Not planned: it has no due point. The steps are an example (common practice, no source).",
)
"""The kind of job that a pump which failed is repaired by; reserved, no plant's document holds it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastDone:
    """When a job was last done before this tool kept count: the first interval starts here."""

    __pydantic_config__: ClassVar[Mapping[str, str]] = STRICT
    kind: str
    subject: str
    done_at: datetime
    running_hours: float | None = None
    """Running hours of the subject at that time; none: taken from the ledger."""


OPENING_CAUTION = marked(
    "Permit, lock and tag first; vacuum broken, gas checked (O2, LEL, H2S); knives cut even at standstill. "
    "Maker's manual, ship's procedures, class and flag rules come first."
)
"""The caution of every job that takes a pump out. Common practice, no source."""


def caution_line(kind: JobKind) -> str:
    """The one caution line that stands wherever a job of this kind is shown. Common practice, no source."""
    if kind.takes_pump_out:
        return gettext(OPENING_CAUTION)
    return gettext(
        "Pumps start by themselves; keep clear, warn those aboard of the test. "
        "Maker's manual, ship's procedures, class and flag rules come first."
    )
