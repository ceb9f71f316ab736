"""The steps of the work on a job as forms: what each asks for, and a typed form read back into a step."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import ValidationError

from api.bodies import WorkStepBody
from api.errors import refused_from
from scheduler.domain.words import Test
from scheduler.domain.work import Counts, Note, Work
from scheduler.errors import Refused


@dataclass(frozen=True, slots=True)
class Ask:
    """One field. type: text, long, number, tick, moment, or choice (then `choices` has value and words)."""

    name: str
    label: str
    type: str = "text"
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class StepForm:
    """What one kind of step asks for besides when and by whom."""

    kind: str
    title: str
    asks: tuple[Ask, ...] = ()


_POINT = Ask("point", "Isolation point", "choice")
FORMS: tuple[StepForm, ...] = (
    StepForm(
        "permit issued",
        "Permit issued",
        (
            Ask("number", "Permit no.", hint="Of the ship's own permit system"),
            Ask("permit_kind", "Kind", hint="Cold work, enclosed space, ..."),
            Ask("issued_by", "Issued by"),
            Ask("valid_to", "Valid to", "moment"),
        ),
    ),
    StepForm(
        "tag placed",
        "Locked and tagged",
        (
            _POINT,
            Ask("lock_no", "Lock no."),
            Ask("tag_no", "Tag no."),
            Ask("override", "Chief engineer's reason", hint="Only where the minimum does not hold"),
        ),
    ),
    StepForm("tested dead", "Tested dead", (Ask("text", "How", hint="Start tried, stored vacuum broken"),)),
    StepForm(
        "gas checked",
        "Gas checked",
        (
            Ask("oxygen_percent", "O2, %", "number"),
            Ask("lel_percent", "LEL, %", "number"),
            Ask("h2s_ppm", "H2S, ppm", "number"),
            Ask("meter", "Meter", hint="Its number and calibration date"),
        ),
    ),
    StepForm(
        "opened",
        "Opened",
        (
            Ask("rinsed", "Rinsed first", "tick"),
            Ask("drained_to", "Drained to", hint="Sewage tank or a closed container, never the bilge"),
        ),
    ),
    StepForm(
        "noted",
        "Step, measure, finding, part",
        (
            Ask("about", "What it is", "choice", choices=tuple((note.value, note.value) for note in Note)),
            Ask("name", "Name", hint="Knife clearance, worn edge, knife set, ..."),
            Ask("value", "Value", "number"),
            Ask("unit", "Unit"),
            Ask("low", "Limit from", "number"),
            Ask("high", "Limit to", "number"),
            Ask("text", "Remark", "long"),
        ),
    ),
    StepForm("people clear", "People and tools clear, covers on"),
    StepForm(
        "tag removed",
        "Tag taken off",
        (
            _POINT,
            Ask("other_reason", "If by another hand: reason", hint="The documented exception; else leave these empty"),
            Ask("other_approved_by", "Approved by"),
            Ask("other_absence_checked", "Checked that the one who placed it is not here", "tick"),
            Ask("other_contact_tried", "Contact tried", "tick"),
        ),
    ),
    StepForm("people told", "People told that it is free", (Ask("names", "Who was told"),)),
    StepForm(
        "returned",
        "Back in use, not proved",
        (
            Ask("current_ampere", "Motor current, A", "number"),
            Ask("text", "Remark", hint="Primed, restarted at the start setpoint, no leak seen"),
        ),
    ),
    StepForm(
        "tested",
        "Test after",
        (
            Ask("result", "Result", "choice", choices=((Test.PASSED.value, "passed"), (Test.FAILED.value, "failed"))),
            Ask("text", "Figures", hint="Pull-down seconds, hold, seal drops"),
        ),
    ),
    StepForm(
        "work reported",
        "Work reported",
        (Ask("lowest_vacuum_kpa", "Lowest vacuum seen meanwhile, kPa", "number"), Ask("text", "Report", "long")),
    ),
    StepForm("permit closed", "Permit closed", (Ask("number", "Permit no."),)),
)
FORMS_IN_USE: tuple[StepForm, ...] = tuple(form for form in FORMS if form.kind in ("noted", "tested", "work reported"))
"""The steps of a job that takes no pump out."""
BY_KIND: Mapping[str, StepForm] = {form.kind: form for form in FORMS}


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTyped:
    """A step form as typed and refused: what stood against it, and what was typed."""

    kind: str
    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    may_be_fact: bool = False


def next_kind(work: Work) -> str:
    """The step that usually comes next; a suggestion, nothing is forced. Common practice, no source."""
    if work.counts is Counts.FULL and not work.hanging and work.test is not Test.PASSED:
        return "tag placed" if any(one.closed_at is None for one in work.permits) else "permit issued"
    if work.test is Test.PASSED and not work.hanging:
        return "permit closed" if any(one.closed_at is None for one in work.permits) else "work reported"
    if work.hanging:
        if work.dead_at is None:
            return "tested dead"
        if work.gas is None:
            return "gas checked"
        if work.opened_at is None:
            return "opened"
        return "tag removed" if work.clear_at is not None else "noted"
    if work.returned_at is not None:
        return "tested"
    return "returned" if work.told_at is not None else "people told"


def read_step(kind: str, typed: Mapping[str, str], offset_minutes: int, *, fact: bool) -> WorkStepBody:
    """The step as told by the form: ship time to UTC, empty fields left out.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    form = BY_KIND.get(kind)
    if form is None:
        raise Refused(f"{kind[:40]!r} is no step of the work. Choose one of the page's.")
    step: dict[str, Any] = {"kind": kind, "by": typed.get("by", "")}
    faults: list[tuple[str, str]] = []
    for ask in (Ask("at", "When", "moment"), *form.asks):
        text = typed.get(ask.name, "").strip()
        try:
            if ask.type == "tick":
                step[ask.name] = bool(text)
            elif text:
                step[ask.name] = _read(ask.type, text, offset_minutes)
        except ValueError as error:
            faults.append((f"/{ask.name}", str(error)))
    other = {
        name: step.pop(f"other_{name}", None) for name in ("reason", "approved_by", "absence_checked", "contact_tried")
    }
    if other["reason"] or other["approved_by"]:
        step["other_hand"] = {**other, "reason": other["reason"] or "", "approved_by": other["approved_by"] or ""}
    if faults:
        raise Refused("Some fields cannot be read.", faults=faults)
    try:
        return WorkStepBody.model_validate({"step": step, "fact": fact})
    except ValidationError as error:
        refused = refused_from(error)
        raise Refused(
            refused.says, faults=[(f"/{at.rsplit('/', 1)[-1]}", says) for at, says in refused.faults]
        ) from error


def _read(kind: str, text: str, offset_minutes: int) -> Any:
    if kind == "number":
        try:
            return float(text.replace("\u202f", "").replace(" ", "").replace(",", "."))
        except ValueError:
            raise ValueError("a number is expected, such as 20.9") from None
    if kind == "moment":
        try:
            wall = datetime.fromisoformat(text)
            return (wall - timedelta(minutes=offset_minutes)).replace(tzinfo=UTC) if wall.tzinfo is None else wall
        except (ValueError, OverflowError):
            raise ValueError("a date and time are expected, as 2026-11-25 14:00") from None
    return text
