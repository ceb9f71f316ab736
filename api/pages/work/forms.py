"""The steps of the work on a job as forms: what each asks for, and a typed form read back into a step."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from api.pages.shared.forms import FormState
from api.routes.shared.bodies import WorkStepBody
from api.routes.shared.fields import Fields
from api.server.errors import refused_from
from scheduler.actions.plant_state.work import STEP
from scheduler.domain.base.enums import Test
from scheduler.domain.work.acts import AnyStep, Note
from scheduler.errors import Refused


@dataclass(frozen=True, slots=True)
class Ask:
    """One field. type: text, long, number, numbers, whole, list, tick, moment, or choice (then `choices` has value and words)."""

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
_LOCK, _TAG = Ask("lock_no", "Lock no."), Ask("tag_no", "Tag no.")
FORMS: tuple[StepForm, ...] = (
    StepForm(
        "permit issued",
        "Permit issued",
        (
            Ask("number", "Permit no.", hint="Of the ship's own permit system"),
            Ask("permit_kind", "Kind", hint="Cold work, enclosed space, ..."),
            Ask("issued_by", "Issued by"),
            Ask("valid_to", "Valid to", "moment"),
            Ask("company", "Contractor", hint="The company it is issued to, where one works on it"),
            Ask("passing", "Points that pass", "list", hint="As named on the permit, with commas"),
        ),
    ),
    StepForm(
        "made ready",
        "Stand-by seen, people told",
        (Ask("standby_seen", "The stand-by pump was seen running", "tick"), Ask("told", "Who was told")),
    ),
    StepForm(
        "gas checked",
        "Gas read",
        (
            Ask("place", "Where", "choice", choices=(("room", "in the room"), ("slackened cover", "slackened cover"))),
            Ask("oxygen_percent", "O2, %", "number"),
            Ask("lel_percent", "LEL, %", "number"),
            Ask("h2s_ppm", "H2S, ppm", "number"),
            Ask("meter", "Meter", hint="Its number; it stays on"),
            Ask("bump_tested", "Bump tested today", "tick"),
        ),
    ),
    StepForm(
        "rinsed",
        "Rinsed and drained",
        (Ask("drained_to", "Drained to", hint="Sewage tank or a closed container, never the bilge"),),
    ),
    StepForm(
        "tag placed",
        "Locked and tagged",
        (
            _POINT,
            _LOCK,
            _TAG,
            Ask("box_no", "Lock box"),
            Ask("override", "Chief engineer's reason", hint="Only where the minimum does not hold"),
        ),
    ),
    StepForm(
        "start tried",
        "Start tried",
        (Ask("control_alive", "With the control supply alive", "tick"), Ask("text", "Remark")),
    ),
    StepForm(
        "no voltage",
        "No voltage",
        (
            Ask("all_phases", "None at the terminals, all phases", "tick"),
            Ask("meter", "Meter", hint="Its number"),
            Ask("meter_proved_before", "Meter proved before", "tick"),
            Ask("meter_proved_after", "Meter proved after", "tick"),
        ),
    ),
    StepForm(
        "vacuum let out",
        "Stored vacuum let out",
        (
            Ask("gauge_stays_at_zero", "Gauge stays at zero, valves shut", "tick"),
            Ask("drained", "Drained", "tick"),
        ),
    ),
    StepForm("point passes", "A point passes", (_POINT, Ask("instead", "What isolates instead"))),
    StepForm("personal lock on", "Personal lock on the box", (_LOCK, Ask("company", "Company, of a contractor"))),
    StepForm("opened", "Opened"),
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
    StepForm(
        "measure accepted",
        "Measure accepted by the chief engineer",
        (Ask("name", "Measure"), Ask("reason", "Reason")),
    ),
    StepForm("people clear", "People and tools clear, covers on"),
    StepForm("personal lock off", "Personal lock off the box"),
    StepForm("tag taken over", "Relief: own lock at a point", (_POINT, _LOCK, _TAG)),
    StepForm(
        "tag removed",
        "Tag taken off",
        (
            _POINT,
            Ask(
                "other_reason",
                "If by another hand: reason",
                hint="The documented exception, recorded by the chief engineer or the office, who so approve it; else empty",
            ),
            Ask("other_absence_checked", "Checked that the one who placed it is not here", "tick"),
            Ask("other_contact_tried", "Contact tried", "tick"),
        ),
    ),
    StepForm("people told", "People told that it is free", (Ask("names", "Who was told"),)),
    StepForm(
        "started locally",
        "Started locally",
        (
            Ask("no_leak", "No leak seen", "tick"),
            Ask("turns_right", "Turns the right way", "tick"),
            Ask("phase_ampere", "Current of the phases, A", "numbers", hint="8.1 8.2 8.1"),
        ),
    ),
    StepForm("returned", "Back to AUTO, not proved", (Ask("text", "Remark"),)),
    StepForm(
        "tested",
        "Test after",
        (
            Ask("result", "Result", "choice", choices=((Test.PASSED.value, "passed"), (Test.FAILED.value, "failed"))),
            Ask("pull_down_seconds", "Pull-down, s", "number"),
            Ask("limit_seconds", "Its limit, s", "number"),
            Ask("from_vacuum_kpa", "From, kPa below atmosphere", "number"),
            Ask("to_vacuum_kpa", "To, kPa below atmosphere", "number"),
            Ask("quiet_hour", "At a quiet hour", "tick"),
            Ask("others_stopped", "Other pumps stopped", "tick"),
            Ask("text", "Figures", hint="Hold, seal drops"),
        ),
    ),
    StepForm(
        "work reported",
        "Work reported",
        (Ask("lowest_vacuum_kpa", "Lowest vacuum seen meanwhile, kPa", "number"), Ask("text", "Report", "long")),
    ),
    StepForm("permit closed", "Permit closed", (Ask("number", "Permit no."),)),
    StepForm(
        "entry struck",
        "Strike the newest entry",
        (Ask("number", "Entry", "whole", hint="Within ten minutes, by who recorded it"), Ask("reason", "Why")),
    ),
)
FORMS_IN_USE: tuple[StepForm, ...] = tuple(
    form for form in FORMS if form.kind in ("noted", "measure accepted", "tested", "work reported", "entry struck")
)
"""The steps of a job that takes no pump out."""
BY_KIND: Mapping[str, StepForm] = {form.kind: form for form in FORMS}


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedStep(FormState):
    """A step form as typed and refused. may_be_fact: it may be sent again as something that has happened all the same."""

    kind: str
    may_be_fact: bool = False


def read_step(kind: str, fields: Fields, *, fact: bool) -> WorkStepBody:
    """The step as the form gives it: ship time to UTC, empty fields left out.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    form = BY_KIND.get(kind)
    if form is None:
        raise Refused(f"{kind[:40]!r} is no step of the work. Choose one of the page's.")
    step: dict[str, Any] = {"kind": kind, "by": fields.values.get("by", "")}
    for ask in (Ask("at", "When", "moment"), *form.asks):
        value = _read(ask, fields)
        if value not in (None, "", []):
            step[ask.name] = value
    fields.check("Some fields cannot be read.")
    other = {name: step.pop(f"other_{name}", None) for name in ("reason", "absence_checked", "contact_tried")}
    if other["reason"]:
        step["other_hand"] = other
    return checked_step(step, fact=fact)


def checked_step(step: Mapping[str, Any] | AnyStep, *, fact: bool) -> WorkStepBody:
    """A step as the door of the steps takes it. Raises Refused with a fault for each member that it does not take."""
    told = step if isinstance(step, Mapping) else STEP.dump_python(step, mode="json")
    try:
        return WorkStepBody.model_validate({"step": told, "fact": fact})
    except ValidationError as error:
        raise refused_from(error) from error


def _read(ask: Ask, fields: Fields) -> Any:
    match ask.type:
        case "moment":
            return fields.instant(ask.name, needed=False)
        case "number":
            return fields.figure(ask.name)
        case "numbers":
            return fields.figures(ask.name)
        case "whole":
            return fields.whole(ask.name)
    text = fields.values.get(ask.name, "").strip()
    if ask.type == "list":
        return [one.strip() for one in text.split(",") if one.strip()]
    return bool(text) if ask.type == "tick" else text
