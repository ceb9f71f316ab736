"""What the one box of a job's page is made from, and what it holds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.course import WorkAct
from scheduler.domain.work.state import WorkState
from scheduler.wording.hours import HoursField


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxField:
    """A field of the box. mode: of the keyboard. options: a pick list. wide: over the whole width."""

    name: str
    label: str
    hint: str = ""
    value: str = ""
    mode: str = ""
    options: tuple[str, ...] = ()
    wide: bool = False


@dataclass(frozen=True, slots=True)
class BoxButton:
    """A button of the box; do: which of its ways. main: the dark one."""

    words: str
    do: str = ""
    main: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ActBox:
    """What the next act asks for. says: what the button says is so, line by line. seen: what may be picked as seen.

    readings: figures not accepted, which are kept. folded: fields that are rarely asked.
    """

    act: WorkAct
    title: str
    name: str = ""
    says: tuple[str, ...] = ()
    fields: tuple[BoxField, ...] = ()
    buttons: tuple[BoxButton, ...] = ()
    hint: str = ""
    seen: tuple[str, ...] = ()
    readings: tuple[tuple[str, str], ...] = ()
    folded: tuple[BoxField, ...] = ()
    hidden: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxGround:
    """What the box is made from. person: who looks at the page. entry, numbers: what the ship used before. running: the other
    pumps, by position. check_from: who may be asked to check it. late: it is past its limit or due."""

    plant: Plant
    procedure: Procedure
    work: WorkState
    at: datetime
    offset_minutes: int
    person: str
    box_no: str = ""
    entry: object = None
    numbers: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    running: tuple[str, ...] = ()
    measures: tuple[MeasureAsked, ...] = ()
    exceeded: tuple[tuple[str, str], ...] = ()
    first_measures: bool = False
    check_from: tuple[str, ...] = ()
    late: bool = False
    hours: HoursField | None = None
    opens: bool = True
