"""The one box of a job's page: what the next act asks for. Locks, tags, meters and names stand filled in, to be looked at."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from api.pages.work.box_view import ActBox, BoxButton, BoxField, BoxGround
from api.pages.work.sheet import limits_words
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.domain.work.acts import GasChecked, MadeReady, NoVoltage, PermitIssued, Tested
from scheduler.domain.work.course import CourseAct, WorkAct
from scheduler.domain.work.gas import H2S_CEILING_NIOSH_PPM, LEL_MOST_PERCENT, OXYGEN_LEAST, OXYGEN_MOST
from scheduler.domain.work.numbering import proposed_numbers
from scheduler.domain.work.proofs import permit_valid
from scheduler.domain.work.state import same
from scheduler.language import gettext as _
from scheduler.wording.figures import capital, clock, listed

WARNED_USUALLY = "bridge, hotel"
"""Whom to tell, where the ship has told nobody before; looked at and changed in the field."""
PHASES = ("L1", "L2", "L3")
DRAINED_TO = ("sewage tank", "closed container")


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
            BoxField(name="number", label=_("Permit"), hint=_("its number")),
            BoxField(name="valid_to", label=_("Valid until"), hint=_("ship time"), mode="numeric"),
            BoxField(name="issued_by", label=_("By"), hint=_("who issued it"), value=by),
        )
    told = g.entry.told if isinstance(g.entry, MadeReady) else WARNED_USUALLY
    names = (BoxField(name="told", label=_("Told"), hint=_("who knows of it"), value=told, wide=True),)
    running = listed(g.running) or _("no other pump")
    says = () if ready else (_("Stand-by seen running in AUTO: {running}", running=running), _("Those below are told"))
    return ActBox(
        act=act.act,
        title=_("A new permit") if act.again or ready else _("Before"),
        says=says,
        fields=(*permit, *(() if ready else names)),
        buttons=(BoxButton(_("Permit in hand") if ready else _("All so: permit in hand") if permit else _("All so")),),
        hint=_("Nobody works on the pump until then.") if act.again else "",
    )


def _gas(act: CourseAct, g: BoxGround) -> ActBox:
    room = act.act is WorkAct.ROOM_GAS
    h2s = min(g.procedure.h2s_limit_ppm or H2S_CEILING_NIOSH_PPM, H2S_CEILING_NIOSH_PPM)
    meter = g.entry.meter if isinstance(g.entry, GasChecked) else ""
    return ActBox(
        act=act.act,
        title=_("Gas in the room") if room else _("Gas at the slackened cover"),
        fields=(
            BoxField(
                name="oxygen_percent",
                label="O2, %",
                hint=_("{low} to {high}").format(low=f"{OXYGEN_LEAST:g}", high=f"{OXYGEN_MOST:g}"),
                mode="decimal",
            ),
            BoxField(
                name="lel_percent",
                label=_("LEL, %"),
                hint=_("under {high}").format(high=f"{LEL_MOST_PERCENT:g}"),
                mode="decimal",
            ),
            BoxField(
                name="h2s_ppm", label=_("H2S, ppm"), hint=_("at most {h2s}").format(h2s=f"{h2s:g}"), mode="decimal"
            ),
            BoxField(name="meter", label=_("Meter"), value=meter, wide=True),
        ),
        buttons=(BoxButton(_("Gas read; meter bump tested today")),),
        hint=_("Outside the limits: leave, ventilate, read again. The meter stays on.")
        if room
        else _(
            "Again after every break, and when it is older than {gas_minutes} min. The meter stays on.",
            gas_minutes=g.procedure.gas_minutes,
        ),
    )


def _rinsed(act: CourseAct, g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title=_("Rinse, drain, stop"),
        says=(_("Sewage inlet shut"), _("Fresh water through the pump"), _("Stopped at the selector")),
        fields=(
            BoxField(name="drained_to", label=_("Drained to"), options=DRAINED_TO, value=DRAINED_TO[0]),
            BoxField(name="box_no", label=_("Lock box"), hint=_("its number"), value=g.box_no),
        ),
        buttons=(BoxButton(_("Rinsed, drained, stopped")),),
        hint=_("Never to the bilge. The box fills in the numbers of locks and tags."),
    )


def _locked(act: CourseAct, g: BoxGround) -> ActBox:
    lock_no, tag_no = proposed_numbers(act.name, g.box_no, g.work.hanging, g.numbers)
    fields = [
        BoxField(name="lock_no", label=_("Lock"), value=lock_no),
        BoxField(name="tag_no", label=_("Tag"), value=tag_no),
    ]
    if not g.box_no:
        fields.append(BoxField(name="box_no", label=_("Lock box")))
    return ActBox(
        act=act.act,
        title=act.name,
        name=act.name,
        fields=tuple(fields),
        buttons=(BoxButton(_("Locked and tagged")),),
        hidden=(("box_no", g.box_no),) if g.box_no else (),
        folded=(
            BoxField(
                name="override",
                label=_("Chief engineer's reason"),
                hint=_("only where the minimum does not hold"),
                wide=True,
            ),
        ),
    )


def _started(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title=_("Try to start it, control supply alive"),
        says=(_("It must stay dead"),),
        buttons=(BoxButton(_("Start tried, control alive: dead")),),
        hint=_("It started? Everything stops here: that breaker is not the one."),
    )


def _dead(act: CourseAct, g: BoxGround) -> ActBox:
    meter = g.entry.meter if isinstance(g.entry, NoVoltage) else ""
    return ActBox(
        act=act.act,
        title=_("No voltage at the terminals"),
        says=(_("L1, L2, L3, each to each and to earth"), _("Meter proved on a live point before and after")),
        fields=(BoxField(name="meter", label=_("Meter"), value=meter, wide=True),),
        buttons=(BoxButton(_("No voltage; meter proved before and after")),),
    )


def _vacuum(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title=_("No stored vacuum or pressure"),
        says=(_("Gauge stays at zero with both valves shut"), _("Drained")),
        buttons=(BoxButton(_("Gauge at zero and stays; drained")),),
    )


def _on_box(act: CourseAct, g: BoxGround) -> ActBox:
    where = _("box {number}", number=g.box_no) if g.box_no else _("the box")
    return ActBox(
        act=act.act,
        title=_("Your own lock on {where}", where=where),
        buttons=(BoxButton(_("My lock hangs on {where}", where=where)),),
        hint=_("Everyone who works on it hangs a lock of their own; a contractor stands on the permit."),
    )


def _opened(act: CourseAct, g: BoxGround) -> ActBox:
    ways = (
        (BoxButton(_("Opened")),)
        if g.opens
        else (BoxButton(_("Opened")), BoxButton(_("Done without opening"), "shut", False))
    )
    return ActBox(act=act.act, title=_("Open"), buttons=ways)


def measure_fields(measures: Sequence[MeasureAsked]) -> tuple[BoxField, ...]:
    """A field for each measure, with its limits."""
    return tuple(
        BoxField(name=f"measure:{one.name}", label=capital(one.name), hint=limits_words(one), mode="decimal")
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
        buttons=(BoxButton(_("Done: {first}", first=first), f"seen:{first}"),)
        if asks_seen
        else (BoxButton(_("Done")),),
        seen=tuple(one.seen for one in g.plant.findings[1:]) if asks_seen else (),
    )


def _clear(act: CourseAct, g: BoxGround) -> ActBox:
    mine = any(same(lock.person) == same(g.person) for lock in g.work.personal_hanging)
    return ActBox(
        act=act.act,
        title=_("People clear"),
        says=(_("People and tools clear, rags counted"), _("Covers on")),
        buttons=(BoxButton(_("Clear; my lock is off the box") if mine else _("People and tools clear")),),
    )


def _off_box(act: CourseAct, g: BoxGround) -> ActBox:
    people = [lock.person for lock in g.work.personal_hanging]
    unknown = [one for one in sorted(g.work.people_not_known) if one not in {same(name) for name in people}]
    return ActBox(
        act=act.act,
        title=_("Personal locks off the box"),
        buttons=tuple(BoxButton(_("{name}: lock off", name=name), f"off:{name}") for name in (*people, *unknown)),
        hint=_("Each takes the own one off."),
    )


def _unlocked(act: CourseAct, g: BoxGround) -> ActBox:
    tag = next((one for one in g.work.hanging if one.point == act.name), None)
    numbers = [] if tag is None else [tag.tag_no, _("lock {lock_no}", lock_no=tag.lock_no) if tag.lock_no else ""]
    what = listed([one for one in numbers if one]) or _("lock and tag")
    by = (
        ""
        if tag is None or same(tag.placed_by) == same(g.person)
        else _("Placed by {placed_by}, who takes it off.", placed_by=tag.placed_by)
    )
    return ActBox(
        act=act.act,
        title=act.name,
        name=act.name,
        buttons=(BoxButton(_("{tags} off").format(tags=f"{what[:1].upper()}{what[1:]}")),),
        hint=by,
    )


def _local_start(act: CourseAct, g: BoxGround) -> ActBox:
    plated = next((one for one in g.measures if one.nameplate), None)
    limit = "A" if plated is None else limits_words(plated)
    phases = tuple(BoxField(name=one, label=f"{one}, A", hint=limit, mode="decimal") for one in PHASES)
    others = measure_fields([one for one in g.measures if one is not plated])
    told = g.work.ready.told if g.work.ready and g.work.ready.told else WARNED_USUALLY
    names = (
        () if g.work.warned_at else (BoxField(name="names", label=_("Told that it is free"), value=told, wide=True),)
    )
    why = BoxField(name="why", label=_("Why it is better now"), hint=_("needed for a second reading"), wide=True)
    again = bool(g.exceeded)
    return ActBox(
        act=act.act,
        title=_("Local start"),
        says=(_("No leak at cover, seal, flanges"), _("Turns the right way, no noise")),
        fields=(*phases, *others, *names, *((why,) if again else ())),
        buttons=(
            (
                BoxButton(_("Read once more"), "again", False),
                BoxButton(_("It failed: stopped, selector OFF"), "failed", False),
            )
            if again
            else (BoxButton(_("Good: local start")), BoxButton(_("It failed"), "failed", False))
        ),
        readings=g.exceeded,
    )


def _auto(act: CourseAct, _g: BoxGround) -> ActBox:
    return ActBox(
        act=act.act,
        title="AUTO",
        says=(_("Selector to AUTO, seen to start once by itself"),),
        buttons=(BoxButton(_("In AUTO")), BoxButton(_("It failed"), "failed", False)),
    )


def _close(act: CourseAct, g: BoxGround) -> ActBox:
    last = g.entry if isinstance(g.entry, Tested) else None
    limit = "" if last is None or last.limit_seconds is None else f"{last.limit_seconds:g}"
    proved = any(one.passes for one in g.work.tests) and g.work.test.value == "passed"
    band = _("{start_vacuum_kpa} to {stop_vacuum_kpa} kPa below atmosphere").format(
        start_vacuum_kpa=f"{g.plant.start_vacuum_kpa:g}",
        stop_vacuum_kpa=f"{g.plant.stop_vacuum_kpa:g}",
    )
    test = (
        BoxField(name="pull_down_seconds", label=_("Pull-down, s"), mode="decimal"),
        BoxField(name="limit_seconds", label=_("Its limit, s"), value=limit, mode="decimal"),
    )
    checker = BoxField(
        name="checked_by",
        label=_("Check asked of"),
        hint=_("signs in the own sign-in"),
        options=("", *g.check_from),
        wide=True,
    )
    reason = (BoxField(name="reason", label=_("Why it is late"), wide=True),) if g.late else ()
    asked = g.hours
    hours = (BoxField(name="running_hours", label=asked.label, hint=asked.hint, mode="decimal"),) if asked else ()
    return ActBox(
        act=act.act,
        title=_("Close") if proved else _("Pull-down, then close"),
        says=() if proved else (_("Other pumps stopped, quiet hour, {band}", band=band),),
        fields=(*(() if proved else test), *measure_fields(g.measures), checker, *reason),
        buttons=(
            (BoxButton(_("Close")),)
            if proved
            else (
                BoxButton(_("Passed, close")),
                BoxButton(_("Close: returned, not proved"), "unproved", False),
                BoxButton(_("It failed"), "failed", False),
            )
        ),
        folded=(
            BoxField(name="company", label=_("Contractor's company")),
            BoxField(name="answers_for", label=_("Answers for the job")),
            *hours,
            BoxField(name="findings", label=_("Found, in words"), wide=True),
        ),
        hint=_("Slower than its limit is not passed. A closed job is a record: corrected by a new one, never edited."),
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
        (
            clock(at, offset_minutes),
            _("{value} {unit} of {high}").format(value=f"{value:g}", unit=unit, high=f"{high:g}").strip(),
        )
        for at, value, unit, high in readings
    )
