"""The one box of a job's page: what the next act asks for. Locks, tags, meters and names stand filled in, to be looked at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.work.sheet import limits_words
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.domain.work.acts import GasChecked, MadeReady, NoVoltage, PermitIssued, Tested
from scheduler.domain.work.against import Procedure
from scheduler.domain.work.course import CourseAct, WorkAct
from scheduler.domain.work.gas import H2S_CEILING_NIOSH_PPM, LEL_MOST_PERCENT, OXYGEN_LEAST, OXYGEN_MOST
from scheduler.domain.work.numbering import proposed_numbers
from scheduler.domain.work.proofs import permit_valid
from scheduler.domain.work.state import WorkState, same
from scheduler.wording.figures import clock, listed

WARNED_USUALLY = "bridge, hotel"
"""Whom to tell, where the ship has told nobody before; looked at and changed in the field."""
PHASES = ("L1", "L2", "L3")
DRAINED_TO = ("sewage tank", "closed container")


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
    opens: bool = True


def act_box(act: CourseAct, ground: BoxGround) -> ActBox:
    """The box of the act that comes next."""
    return _BOXES[act.act](act, ground)


def _ready(act: CourseAct, g: BoxGround) -> ActBox:
    held = not list(permit_valid(g.work, g.at, g.procedure))
    ready = g.work.ready is not None and g.work.ready.standby_seen
    permit: tuple[BoxField, ...] = ()
    if not held:
        by = g.entry.issued_by if isinstance(g.entry, PermitIssued) else ""
        permit = (
            BoxField(name="number", label="Permit", hint="its number"),
            BoxField(name="valid_to", label="Valid until", hint="ship time", mode="numeric"),
            BoxField(name="issued_by", label="By", hint="who issued it", value=by),
        )
    told = g.entry.told if isinstance(g.entry, MadeReady) else WARNED_USUALLY
    names = (BoxField(name="told", label="Told", hint="who knows of it", value=told, wide=True),)
    running = listed(g.running) or "no other pump"
    says = () if ready else (f"Stand-by seen running in AUTO: {running}", "Those below are told")
    return ActBox(
        act=act.act,
        title="A new permit" if act.again or ready else "Before",
        says=says,
        fields=(*permit, *(() if ready else names)),
        buttons=(BoxButton("Permit in hand" if ready else "All so: permit in hand" if permit else "All so"),),
        hint="Nobody works on the pump until then." if act.again else "",
    )


def _gas(act: CourseAct, g: BoxGround) -> ActBox:
    room = act.act is WorkAct.ROOM_GAS
    h2s = min(g.procedure.h2s_limit_ppm or H2S_CEILING_NIOSH_PPM, H2S_CEILING_NIOSH_PPM)
    meter = g.entry.meter if isinstance(g.entry, GasChecked) else ""
    return ActBox(
        act=act.act,
        title="Gas in the room" if room else "Gas at the slackened cover",
        fields=(
            BoxField(name="oxygen_percent", label="O2, %", hint=f"{OXYGEN_LEAST:g} to {OXYGEN_MOST:g}", mode="decimal"),
            BoxField(name="lel_percent", label="LEL, %", hint=f"under {LEL_MOST_PERCENT:g}", mode="decimal"),
            BoxField(name="h2s_ppm", label="H2S, ppm", hint=f"at most {h2s:g}", mode="decimal"),
            BoxField(name="meter", label="Meter", value=meter, wide=True),
        ),
        buttons=(BoxButton("Gas read; meter bump tested today"),),
        hint="Outside the limits: leave, ventilate, read again. The meter stays on."
        if room
        else f"Again after every break, and when it is older than {g.procedure.gas_minutes} min. The meter stays on.",
    )


def _rinsed(act: CourseAct, g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title="Rinse, drain, stop",
        says=("Sewage inlet shut", "Fresh water through the pump", "Stopped at the selector"),
        fields=(
            BoxField(name="drained_to", label="Drained to", options=DRAINED_TO, value=DRAINED_TO[0]),
            BoxField(name="box_no", label="Lock box", hint="its number", value=g.box_no),
        ),
        buttons=(BoxButton("Rinsed, drained, stopped"),),
        hint="Never to the bilge. The box fills in the numbers of locks and tags.",
    )


def _locked(act: CourseAct, g: BoxGround) -> ActBox:
    lock_no, tag_no = proposed_numbers(act.name, g.box_no, g.work.hanging, g.numbers)
    fields = [
        BoxField(name="lock_no", label="Lock", value=lock_no),
        BoxField(name="tag_no", label="Tag", value=tag_no),
    ]
    if not g.box_no:
        fields.append(BoxField(name="box_no", label="Lock box"))
    return ActBox(
        act=act.act,
        title=act.name,
        name=act.name,
        fields=tuple(fields),
        buttons=(BoxButton("Locked and tagged"),),
        hidden=(("box_no", g.box_no),) if g.box_no else (),
        folded=(
            BoxField(
                name="override",
                label="Chief engineer's reason",
                hint="only where the minimum does not hold",
                wide=True,
            ),
        ),
    )


def _started(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title="Try to start it, control supply alive",
        says=("It must stay dead",),
        buttons=(BoxButton("Start tried, control alive: dead"),),
        hint="It started? Everything stops here: that breaker is not the one.",
    )


def _dead(act: CourseAct, g: BoxGround) -> ActBox:
    meter = g.entry.meter if isinstance(g.entry, NoVoltage) else ""
    return ActBox(
        act=act.act,
        title="No voltage at the terminals",
        says=("L1, L2, L3, each to each and to earth", "Meter proved on a live point before and after"),
        fields=(BoxField(name="meter", label="Meter", value=meter, wide=True),),
        buttons=(BoxButton("No voltage; meter proved before and after"),),
    )


def _vacuum(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title="No stored vacuum or pressure",
        says=("Gauge stays at zero with both valves shut", "Drained"),
        buttons=(BoxButton("Gauge at zero and stays; drained"),),
    )


def _on_box(act: CourseAct, g: BoxGround) -> ActBox:
    where = f"box {g.box_no}" if g.box_no else "the box"
    return ActBox(
        act=act.act,
        title=f"Your own lock on {where}",
        buttons=(BoxButton(f"My lock hangs on {where}"),),
        hint="Everyone who works on it hangs a lock of their own; a contractor stands on the permit.",
    )


def _opened(act: CourseAct, g: BoxGround) -> ActBox:
    ways = (
        (BoxButton("Opened"),) if g.opens else (BoxButton("Opened"), BoxButton("Done without opening", "shut", False))
    )
    return ActBox(act=act.act, title="Open", buttons=ways)


def measure_fields(measures: Sequence[MeasureAsked]) -> tuple[BoxField, ...]:
    """A field for each measure, with its limits."""
    return tuple(
        BoxField(name=f"measure:{one.name}", label=one.name.capitalize(), hint=limits_words(one), mode="decimal")
        for one in measures
    )


def _step(act: CourseAct, g: BoxGround) -> ActBox:
    asks_seen = g.first_measures and bool(g.plant.findings)
    first = g.plant.findings[0].seen if asks_seen else ""
    return ActBox(
        act=act.act,
        title=act.name,
        name=act.name,
        fields=measure_fields(g.measures),
        buttons=(BoxButton(f"Done: {first}", f"seen:{first}"),) if asks_seen else (BoxButton("Done"),),
        seen=tuple(one.seen for one in g.plant.findings[1:]) if asks_seen else (),
    )


def _clear(act: CourseAct, g: BoxGround) -> ActBox:
    mine = any(same(lock.person) == same(g.person) for lock in g.work.personal_hanging)
    return ActBox(
        act=act.act,
        title="People clear",
        says=("People and tools clear, rags counted", "Covers on"),
        buttons=(BoxButton("Clear; my lock is off the box" if mine else "People and tools clear"),),
    )


def _off_box(act: CourseAct, g: BoxGround) -> ActBox:
    people = [lock.person for lock in g.work.personal_hanging]
    unknown = [one for one in sorted(g.work.people_not_known) if one not in {same(name) for name in people}]
    return ActBox(
        act=act.act,
        title="Personal locks off the box",
        buttons=tuple(BoxButton(f"{name}: lock off", f"off:{name}") for name in (*people, *unknown)),
        hint="Each takes the own one off.",
    )


def _unlocked(act: CourseAct, g: BoxGround) -> ActBox:
    tag = next((one for one in g.work.hanging if one.point == act.name), None)
    numbers = [] if tag is None else [tag.tag_no, f"lock {tag.lock_no}" if tag.lock_no else ""]
    what = listed([one for one in numbers if one]) or "lock and tag"
    by = "" if tag is None or same(tag.placed_by) == same(g.person) else f"Placed by {tag.placed_by}, who takes it off."
    return ActBox(
        act=act.act, title=act.name, name=act.name, buttons=(BoxButton(f"{what[:1].upper()}{what[1:]} off"),), hint=by
    )


def _local_start(act: CourseAct, g: BoxGround) -> ActBox:
    plated = next((one for one in g.measures if one.nameplate), None)
    limit = "A" if plated is None else limits_words(plated)
    phases = tuple(BoxField(name=one, label=f"{one}, A", hint=limit, mode="decimal") for one in PHASES)
    others = measure_fields([one for one in g.measures if one is not plated])
    told = g.work.ready.told if g.work.ready and g.work.ready.told else WARNED_USUALLY
    names = () if g.work.warned_at else (BoxField(name="names", label="Told that it is free", value=told, wide=True),)
    why = BoxField(name="why", label="Why it is better now", hint="needed for a second reading", wide=True)
    again = bool(g.exceeded)
    return ActBox(
        act=act.act,
        title="Local start",
        says=("No leak at cover, seal, flanges", "Turns the right way, no noise"),
        fields=(*phases, *others, *names, *((why,) if again else ())),
        buttons=(
            (
                BoxButton("Read once more", "again", False),
                BoxButton("It failed: stopped, selector OFF", "failed", False),
            )
            if again
            else (BoxButton("Good: local start"), BoxButton("It failed", "failed", False))
        ),
        readings=g.exceeded,
    )


def _auto(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title="AUTO",
        says=("Selector to AUTO, seen to start once by itself",),
        buttons=(BoxButton("In AUTO"), BoxButton("It failed", "failed", False)),
    )


def _close(act: CourseAct, g: BoxGround) -> ActBox:
    last = g.entry if isinstance(g.entry, Tested) else None
    limit = "" if last is None or last.limit_seconds is None else f"{last.limit_seconds:g}"
    proved = any(one.passes for one in g.work.tests) and g.work.test.value == "passed"
    band = f"{g.plant.start_vacuum_kpa:g} to {g.plant.stop_vacuum_kpa:g} kPa below atmosphere"
    test = (
        BoxField(name="pull_down_seconds", label="Pull-down, s", mode="decimal"),
        BoxField(name="limit_seconds", label="Its limit, s", value=limit, mode="decimal"),
    )
    checker = BoxField(
        name="checked_by",
        label="Check asked of",
        hint="signs in the own sign-in",
        options=("", *g.check_from),
        wide=True,
    )
    reason = (BoxField(name="reason", label="Why it is late", wide=True),) if g.late else ()
    return ActBox(
        act=act.act,
        title="Close" if proved else "Pull-down, then close",
        says=() if proved else (f"Other pumps stopped, quiet hour, {band}",),
        fields=(*(() if proved else test), *measure_fields(g.measures), checker, *reason),
        buttons=(
            (BoxButton("Close"),)
            if proved
            else (
                BoxButton("Passed, close"),
                BoxButton("Close: returned, not proved", "unproved", False),
                BoxButton("It failed", "failed", False),
            )
        ),
        folded=(
            BoxField(name="company", label="Contractor's company"),
            BoxField(name="answers_for", label="Answers for the job"),
            BoxField(name="running_hours", label="Running hours at close", hint="empty: the counter's", mode="decimal"),
            BoxField(name="findings", label="Found, in words", wide=True),
        ),
        hint="Slower than its limit is not passed. A closed job is a record: corrected by a new one, never edited.",
    )


_BOXES = {
    WorkAct.READY: _ready,
    WorkAct.ROOM_GAS: _gas,
    WorkAct.RINSED: _rinsed,
    WorkAct.LOCKED: _locked,
    WorkAct.START_TRIED: _started,
    WorkAct.NO_VOLTAGE: _dead,
    WorkAct.VACUUM_OUT: _vacuum,
    WorkAct.ON_BOX: _on_box,
    WorkAct.COVER_GAS: _gas,
    WorkAct.OPENED: _opened,
    WorkAct.STEP: _step,
    WorkAct.CLEAR: _clear,
    WorkAct.OFF_BOX: _off_box,
    WorkAct.UNLOCKED: _unlocked,
    WorkAct.LOCAL_START: _local_start,
    WorkAct.AUTO: _auto,
    WorkAct.CLOSE: _close,
}
USED_BEFORE: Mapping[WorkAct, str] = {
    WorkAct.READY: "permit issued",
    WorkAct.ROOM_GAS: "gas checked",
    WorkAct.COVER_GAS: "gas checked",
    WorkAct.LOCKED: "tag placed",
    WorkAct.NO_VOLTAGE: "no voltage",
    WorkAct.CLOSE: "tested",
}
"""Of which kind of entry the ship's newest one fills the box."""


def readings_kept(
    readings: Sequence[tuple[datetime, float, str, float]], offset_minutes: int
) -> tuple[tuple[str, str], ...]:
    """(time, "13.4 A of 12") of readings above the nameplate."""
    return tuple(
        (clock(at, offset_minutes), f"{value:g} {unit} of {high:g}".strip()) for at, value, unit, high in readings
    )
