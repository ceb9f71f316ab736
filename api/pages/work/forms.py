"""The steps of the work on a job as forms: what each asks for, and a typed form read back into a step."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
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
from scheduler.language import gettext as _
from scheduler.language import marked


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


_POINT = Ask("point", marked("Isolation point"), "choice")
_LOCK, _TAG = Ask("lock_no", marked("Lock no.")), Ask("tag_no", marked("Tag no."))
FORMS: tuple[StepForm, ...] = (
    StepForm(
        "permit issued",
        marked("Permit issued"),
        (
            Ask("number", marked("Permit no."), hint=marked("Of the ship's own permit system")),
            Ask("permit_kind", marked("Kind"), hint=marked("Cold work, enclosed space, ...")),
            Ask("issued_by", marked("Issued by")),
            Ask("valid_to", marked("Valid to"), "moment"),
            Ask("company", marked("Contractor"), hint=marked("The company it is issued to, where one works on it")),
            Ask("passing", marked("Points that pass"), "list", hint=marked("As named on the permit, with commas")),
        ),
    ),
    StepForm(
        "made ready",
        marked("Stand-by seen, people told"),
        (
            Ask("standby_seen", marked("The stand-by pump was seen running"), "tick"),
            Ask("told", marked("Who was told")),
        ),
    ),
    StepForm(
        "gas checked",
        marked("Gas read"),
        (
            Ask(
                "place",
                marked("Where"),
                "choice",
                choices=(("room", marked("in the room")), (marked("slackened cover"), marked("slackened cover"))),
            ),
            Ask("oxygen_percent", "O2, %", "number"),
            Ask("lel_percent", marked("LEL, %"), "number"),
            Ask("h2s_ppm", marked("H2S, ppm"), "number"),
            Ask("meter", marked("Meter"), hint=marked("Its number; it stays on")),
            Ask("bump_tested", marked("Bump tested today"), "tick"),
        ),
    ),
    StepForm(
        "rinsed",
        marked("Rinsed and drained"),
        (Ask("drained_to", marked("Drained to"), hint=marked("Sewage tank or a closed container, never the bilge")),),
    ),
    StepForm(
        "tag placed",
        marked("Locked and tagged"),
        (
            _POINT,
            _LOCK,
            _TAG,
            Ask("box_no", marked("Lock box")),
            Ask("override", marked("Chief engineer's reason"), hint=marked("Only where the minimum does not hold")),
        ),
    ),
    StepForm(
        "start tried",
        marked("Start tried"),
        (Ask("control_alive", marked("With the control supply alive"), "tick"), Ask("text", marked("Remark"))),
    ),
    StepForm(
        "no voltage",
        marked("No voltage"),
        (
            Ask("all_phases", marked("None at the terminals, all phases"), "tick"),
            Ask("meter", marked("Meter"), hint=marked("Its number")),
            Ask("meter_proved_before", marked("Meter proved before"), "tick"),
            Ask("meter_proved_after", marked("Meter proved after"), "tick"),
        ),
    ),
    StepForm(
        "vacuum let out",
        marked("Stored vacuum let out"),
        (
            Ask("gauge_stays_at_zero", marked("Gauge stays at zero, valves shut"), "tick"),
            Ask("drained", marked("Drained"), "tick"),
        ),
    ),
    StepForm("point passes", marked("A point passes"), (_POINT, Ask("instead", marked("What isolates instead")))),
    StepForm(
        "personal lock on",
        marked("Personal lock on the box"),
        (_LOCK, Ask("company", marked("Company, of a contractor"))),
    ),
    StepForm("opened", marked("Opened")),
    StepForm(
        "noted",
        marked("Step, measure, finding, part"),
        (
            Ask("about", marked("What it is"), "choice", choices=tuple((note.value, note.value) for note in Note)),
            Ask("name", marked("Name"), hint=marked("Knife clearance, worn edge, knife set, ...")),
            Ask("value", marked("Value"), "number"),
            Ask("unit", marked("Unit")),
            Ask("low", marked("Limit from"), "number"),
            Ask("high", marked("Limit to"), "number"),
            Ask("text", marked("Remark"), "long"),
        ),
    ),
    StepForm(
        "measure accepted",
        marked("Measure accepted by the chief engineer"),
        (Ask("name", marked("Measure")), Ask("reason", marked("Reason"))),
    ),
    StepForm("people clear", marked("People and tools clear, covers on")),
    StepForm("personal lock off", marked("Personal lock off the box")),
    StepForm("tag taken over", marked("Relief: own lock at a point"), (_POINT, _LOCK, _TAG)),
    StepForm(
        "tag removed",
        marked("Tag taken off"),
        (
            _POINT,
            Ask(
                "other_reason",
                marked("If by another hand: reason"),
                hint=marked(
                    "The documented exception, recorded by the chief engineer or the office, who so approve it; "
                    "else empty"
                ),
            ),
            Ask("other_absence_checked", marked("Checked that the one who placed it is not here"), "tick"),
            Ask("other_contact_tried", marked("Contact tried"), "tick"),
        ),
    ),
    StepForm("people told", marked("People told that it is free"), (Ask("names", marked("Who was told")),)),
    StepForm(
        "started locally",
        marked("Started locally"),
        (
            Ask("no_leak", marked("No leak seen"), "tick"),
            Ask("turns_right", marked("Turns the right way"), "tick"),
            Ask("phase_ampere", marked("Current of the phases, A"), "numbers", hint="8.1 8.2 8.1"),
        ),
    ),
    StepForm("returned", marked("Back to AUTO, not proved"), (Ask("text", marked("Remark")),)),
    StepForm(
        "tested",
        marked("Test after"),
        (
            Ask(
                "result",
                marked("Result"),
                "choice",
                choices=((Test.PASSED.value, "passed"), (Test.FAILED.value, "failed")),
            ),
            Ask("pull_down_seconds", marked("Pull-down, s"), "number"),
            Ask("limit_seconds", marked("Its limit, s"), "number"),
            Ask("from_vacuum_kpa", marked("From, kPa below atmosphere"), "number"),
            Ask("to_vacuum_kpa", marked("To, kPa below atmosphere"), "number"),
            Ask("quiet_hour", marked("At a quiet hour"), "tick"),
            Ask("others_stopped", marked("Other pumps stopped"), "tick"),
            Ask("text", marked("Figures"), hint=marked("Hold, seal drops")),
        ),
    ),
    StepForm(
        "work reported",
        marked("Work reported"),
        (
            Ask("lowest_vacuum_kpa", marked("Lowest vacuum seen meanwhile, kPa"), "number"),
            Ask("text", marked("Report"), "long"),
        ),
    ),
    StepForm("permit closed", marked("Permit closed"), (Ask("number", marked("Permit no.")),)),
    StepForm(
        "entry struck",
        marked("Strike the newest entry"),
        (
            Ask("number", marked("Entry"), "whole", hint=marked("Within ten minutes, by who recorded it")),
            Ask("reason", marked("Why")),
        ),
    ),
)
FORMS_IN_USE: tuple[StepForm, ...] = tuple(
    form for form in FORMS if form.kind in ("noted", "measure accepted", "tested", "work reported", "entry struck")
)
"""The steps of a job that takes no pump out."""
BY_KIND: Mapping[str, StepForm] = {form.kind: form for form in FORMS}


def form_said(form: StepForm) -> StepForm:
    """The form in the language spoken now; what is chosen is said, not sent."""
    asks = tuple(
        replace(
            ask,
            label=_(ask.label),
            hint=_(ask.hint) if ask.hint else "",
            choices=tuple((value, _(words)) for value, words in ask.choices),
        )
        for ask in form.asks
    )
    return replace(form, title=_(form.title), asks=asks)


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
        raise Refused(_("{kind} is no step of the work. Choose one of the page's.").format(kind=f"{kind[:40]!r}"))
    step: dict[str, Any] = {"kind": kind, "by": fields.values.get("by", "")}
    for ask in (Ask("at", _("When"), "moment"), *form.asks):
        value = _read(ask, fields)
        if value not in (None, "", []):
            step[ask.name] = value
    fields.check(_("Some fields cannot be read."))
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
