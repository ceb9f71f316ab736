"""What stands against an act of the work, and what was never recorded of it, in words."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.closing import Skipped
from scheduler.domain.work.gas import Gas
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import listed, ship_moment

Facts = Mapping[str, Any]
_ACTS: Mapping[str, str] = {
    "permit issued": marked("permit"),
    "made ready": marked("stand-by seen, people told"),
    "rinsed": marked("rinsed and drained"),
    "tag placed": marked("locked and tagged"),
    "start tried": marked("start tried with control alive"),
    "no voltage": marked("no voltage"),
    "vacuum let out": marked("stored vacuum let out"),
    "gas in the room": marked("gas read in the room"),
    "gas at the cover": marked("gas read at the cover"),
    "personal lock on": marked("personal locks"),
    "opened": marked("opened"),
    "people clear": marked("people and tools clear"),
    "people told": marked("people told before the start"),
    "started locally": marked("local start"),
    "returned": marked("back to AUTO"),
    "tested": marked("test after"),
    "step": marked("step"),
    "measure": marked("measure"),
}
_LACKING = {
    "reason": marked("the reason"),
    "approver": marked("its approval, which the chief engineer or the office gives by recording it as themselves"),
    "absence": marked("that its owner is not aboard or not on duty was checked"),
    "contact": marked("that contact was tried"),
}
_WHAT = {
    "told": marked("A tag hangs at {hang}: take it off before you tell people that it is free."),
    "start": marked("A tag hangs at {hang}: take it off before you start it."),
    "close": marked("A tag hangs at {hang}: take it off before you close the job."),
    "close the permit": marked("A tag hangs at {hang}: take it off before you close the permit."),
    "run": marked("A tag hangs at {hang}: take it off before you run it."),
    "test": marked("A tag hangs at {hang}: take it off before you test it."),
}


def against_words(one: Objection, offset_minutes: int = 0) -> str:
    """What stands against it, what was expected, what to do; times in ship time."""
    return _WORDS[one.code](_FactTexts(one.facts, offset_minutes))


class _FactTexts:
    """The figures of a fact, as text."""

    def __init__(self, facts: Facts, offset_minutes: int) -> None:
        self._facts, self._offset = facts, offset_minutes

    def __getitem__(self, name: str) -> str:
        value = self._facts.get(name, "")
        if isinstance(value, tuple):
            return listed([str(one) for one in value])
        return f"{value:g}" if isinstance(value, float) else str(value)

    def has(self, name: str) -> bool:
        """Whether the fact has anything under that name."""
        return bool(self._facts.get(name))

    def figure(self, name: str) -> Any:
        """The figure itself."""
        return self._facts.get(name)

    def at(self, name: str) -> str:
        """An instant in ship time."""
        return ship_moment(self._facts[name], self._offset)

    def spans(self, name: str) -> list[str]:
        """Stretches of starts in ship time."""
        pairs: tuple[tuple[datetime, datetime], ...] = self._facts.get(name, ())
        return [
            _("{from_at} to {to_at}", from_at=ship_moment(a, self._offset), to_at=ship_moment(b, self._offset))
            for a, b in pairs[:3]
        ]


def _hanging(told: _FactTexts) -> str:
    points, people = told.figure("points"), told.figure("by")
    hang = ", ".join(f"{point} ({by})" for point, by in zip(points, people, strict=True))
    return _(_WHAT[str(told.figure("what"))], hang=hang)


def _below(told: _FactTexts) -> str:
    holds = told.spans("holds")
    first = (
        _("Starts that hold: {holds}.", holds=", ".join(holds)) if holds else _("No start in the next 14 days holds.")
    )
    return _(
        "With this pump out for {hours} h the plant is short by {lacking_m3_per_h} m³/h of its "
        "minimum ({label}) on {at}. {first} The chief engineer may override with a reason.",
        hours=told["hours"],
        lacking_m3_per_h=told["lacking_m3_per_h"],
        label=told["label"],
        at=told.at("at"),
        first=first,
    )


def _gas(told: _FactTexts) -> str:
    value, limit = told["value"], told["limit"]
    return {
        Gas.NOT_READ: _(
            "{names} not read: O2, LEL and H2S are all read before opening.",
            names=listed([_(one) for one in told.figure("names") or ()]),
        ),
        Gas.OXYGEN: _("O2 {value} %: 19.5 to 23.5 % was expected. Leave, ventilate, do not open.", value=value),
        Gas.LEL: _(
            "LEL {value} %: under {limit} % was expected. Leave, ventilate, do not open.", value=value, limit=limit
        ),
        Gas.H2S_OSHA: _(
            "H2S {value} ppm: above the OSHA ceiling of {limit} ppm. Leave, ventilate, do not open.",
            value=value,
            limit=limit,
        ),
        Gas.H2S_NIOSH: _(
            "H2S {value} ppm: above the NIOSH 10-minute ceiling of {limit} ppm and above the same figure "
            "as an 8-hour mean. Leave, ventilate, do not open.",
            value=value,
            limit=limit,
        ),
        Gas.H2S_SHIP: _(
            "H2S {value} ppm: above the ship's own limit of {limit} ppm. Ventilate and read again.",
            value=value,
            limit=limit,
        ),
    }[Gas(str(told.figure("what")))]


def _not_isolated(told: _FactTexts) -> str:
    return _("Not isolated yet: lock and tag {points} first.", points=told["points"] or _("the points of the sheet"))


def _no_permit(told: _FactTexts) -> str:
    if told.has("number"):
        return _(
            "No permit {number} is open here; open: {open}.", number=told["number"], open=told["open"] or _("none")
        )
    return _("No permit holds at that time: have one issued, or its time renewed, first.")


def _no_tag(told: _FactTexts) -> str:
    if told.has("point"):
        return _(
            "No tag hangs at {point}; hanging: {hanging}.", point=told["point"], hanging=told["hanging"] or _("none")
        )
    return _("No tag hangs: isolate, lock and tag before opening.")


def _open_points(told: _FactTexts) -> str:
    return _(
        "Not locked and tagged: {points}. Lock and tag each point of the sheet first.",
        points=told["points"] or _("no point is"),
    )


def _company(told: _FactTexts) -> str:
    return _("{company} stands on no permit of this job: have it issued to that company too.", company=told["company"])


_WORDS: Mapping[Against, Callable[[_FactTexts], str]] = {
    Against.NOBODY: lambda _f: _("Say who did it; by is empty."),
    Against.NO_NUMBER: lambda _f: _("A permit has a number of the ship's own system; give it."),
    Against.OPEN_ALREADY: lambda f: _("Permit {number} is open already.", number=f["number"]),
    Against.NOT_VALID: lambda f: _("Permit {number} ends before it begins; check its times.", number=f["number"]),
    Against.NO_PERMIT: _no_permit,
    Against.PERMIT_BEFORE_FAILURE: lambda f: _(
        "Permit {number} is of before the test failed: have a new one issued.", number=f["number"]
    ),
    Against.PERMIT_BEFORE_RELIEF: lambda f: _(
        "Permit {number} is of before the crew changed: have it issued anew.", number=f["number"]
    ),
    Against.COMPANY_NOT_ON_PERMIT: _company,
    Against.NOT_ON_PERMIT: lambda f: _(
        "{point} passes and stands on no open permit: have it named there.", point=f["point"]
    ),
    Against.STANDBY_NOT_SEEN: lambda _f: _(
        "Before anything is isolated: see the stand-by pump run, and say who was told."
    ),
    Against.ROOM_GAS_NOT_READ: lambda _f: _("Gas in the room was not read: O2, LEL and H2S before starting."),
    Against.FLUSHING_LOCKED: lambda f: _(
        "{points} is locked already: rinsing comes before isolating.", points=f["points"]
    ),
    Against.BILGE: lambda _f: _("Sewage never goes to the bilge: drain to the sewage tank or a closed container."),
    Against.NO_POINT: lambda _f: _("Say which isolation point; point is empty."),
    Against.HANGS_ALREADY: lambda f: _("A tag hangs at {point} already.", point=f["point"]),
    Against.NO_NUMBERS: lambda f: _(
        "{points}: give the number of its own lock and of its own tag.", points=f["points"]
    ),
    Against.LOCK_TWICE: lambda f: _(
        "One number at {points}: each point has its own lock and its own tag.", points=f["points"]
    ),
    Against.TWO_BOXES: lambda f: _("Lock boxes {boxes}: the keys of one pump lie in one box.", boxes=f["boxes"]),
    Against.BELOW_MINIMUM: _below,
    Against.NO_TAG: _no_tag,
    Against.POINT_NOT_LOCKED: _open_points,
    Against.POINT_NOT_KNOWN: lambda f: _(
        "Not known at {points}: go and look, then say what hangs there.", points=f["points"]
    ),
    Against.PASSES: lambda f: _(
        "{point} passes and nothing isolates instead: a blank, or the next valve upstream.", point=f["point"]
    ),
    Against.NOTHING_INSTEAD: lambda f: _(
        "{point} passes: say what isolates instead, a blank or the next valve upstream.", point=f["point"]
    ),
    Against.CONTROL_OFF: lambda _f: _(
        "A start tried with the control supply off proves nothing: try it with the supply alive."
    ),
    Against.BREAKER_NOT_LOCKED: lambda f: _(
        "Lock {points} first, then try a start.", points=f["points"] or _("the supply breaker")
    ),
    Against.ONE_BY_ONE: lambda _f: _("Tell the proofs one by one: start tried, no voltage, stored vacuum let out."),
    Against.START_NOT_TRIED: lambda _f: _("No start was tried at the locked breaker with the control supply alive."),
    Against.VOLTAGE_NOT_READ: lambda _f: _(
        "Not proved that there is no voltage at the terminals, on all phases, since it was locked."
    ),
    Against.METER_NOT_PROVED: lambda _f: _(
        "The voltage meter: give its number, proved on a known source before and after."
    ),
    Against.VALVES_NOT_LOCKED: lambda f: _(
        "Lock {points} first; a gauge proves nothing while one is free.", points=f["points"] or _("the valves")
    ),
    Against.VACUUM_NOT_OUT: lambda _f: _(
        "Stored vacuum is not let out: gauge at zero with the valves shut, and drained."
    ),
    Against.NO_GAS_CHECK: lambda _f: _("No gas reading: O2, LEL and H2S are read before opening."),
    Against.NOT_AT_COVER: lambda _f: _(
        "Gas was not read at the slackened cover: read O2, LEL and H2S there before opening."
    ),
    Against.GAS_OLD: lambda f: _(
        "The gas reading is {minutes} min old, {most_minutes} min are the most: read again.",
        minutes=f["minutes"],
        most_minutes=f["most_minutes"],
    ),
    Against.GAS: _gas,
    Against.NO_METER: lambda _f: _("Give the number of the gas meter."),
    Against.NO_BUMP_TEST: lambda _f: _("The gas meter was not bump tested today: test it, then read again."),
    Against.NOT_RINSED: lambda _f: _("Not rinsed and drained: say where it was drained to."),
    Against.NO_PERSONAL_LOCK: lambda f: _("{person} has no personal lock on the box.", person=f["person"]),
    Against.HAS_PERSONAL_LOCK: lambda f: _("A personal lock of {person} hangs on the box already.", person=f["person"]),
    Against.NOT_OPEN: lambda _f: _("The pump was not opened yet: this step belongs to the open pump."),
    Against.STILL_OPEN: lambda _f: _(
        "The pump is open: say first that people and tools are clear and the covers are on."
    ),
    Against.BY_ITS_ACT: lambda f: _('This step is told by its own act, "{act}", not by a tick.', act=f["act"]),
    Against.NOT_ISOLATED: _not_isolated,
    Against.ISOLATED_ALREADY: lambda _f: _("The pump is isolated already: this step comes before."),
    Against.NOT_CLEAR: lambda _f: _("Say first that people and tools are clear and the covers are on."),
    Against.PERSONAL_LOCKS_HANG: lambda f: _(
        "Personal locks hang on the box: {people}. Each takes the own one off first.", people=f["people"]
    ),
    Against.NOT_ITS_TURN: lambda f: _(
        "Before {point} comes {first}: locks come off one by one in the sheet's order.",
        point=f["point"],
        first=f["first"],
    ),
    Against.OTHER_HAND: lambda f: _(
        "The tag at {point} was placed by {placed_by}, who takes it off. Another hand only by the "
        "documented exception: reason, approver, absence checked, contact tried.",
        point=f["point"],
        placed_by=f["placed_by"],
    ),
    Against.EXCEPTION_LACKS: lambda f: _(
        "The exception for the tag at {point} lacks: {lacking}.",
        point=f["point"],
        lacking=", ".join(_(_LACKING[name]) for name in f.figure("lacking")),
    ),
    Against.RELIEVES_NOBODY: lambda f: _(
        "The tag at {point} is your own: there is nobody to relieve.", point=f["point"]
    ),
    Against.TAG_HANGS: _hanging,
    Against.NOBODY_TOLD: lambda f: (
        _("Tell those concerned that the tags are off, {others} among them, before the start.", others=f["others"])
        if f.has("others")
        else _("Tell those concerned that the tags are off, before the start.")
    ),
    Against.NOT_STARTED_LOCALLY: lambda _f: _(
        "Start it locally first: leaks, current of the phases, turning; then AUTO."
    ),
    Against.TEST_NOT_PASSED: lambda _f: _(
        "The test on record was not passed: record the one that was, with its own time."
    ),
    Against.NOT_RETURNED: lambda _f: _("The pump was taken out and is not returned to use: record its return first."),
    Against.SLOWER: lambda f: _(
        "{seconds} s is slower than the limit of {limit} s: not passed; it is returned, not proved.",
        seconds=f["seconds"],
        limit=f["limit"],
    ),
    Against.NO_MEASURE: lambda f: _("No figure of {name} is recorded: record it first.", name=f["name"]),
    Against.NOT_OUT_OF_LIMIT: lambda f: _(
        "The newest figure of {name} is within its limits: nothing is to be accepted.", name=f["name"]
    ),
    Against.NAMEPLATE: lambda f: _(
        "{name} is above the nameplate: nobody accepts that. Find the cause.", name=f["name"]
    ),
    Against.NO_REASON: lambda _f: _("Say why it is accepted; the reason is empty."),
    Against.OUT_OF_LIMIT: lambda f: _(
        "{name} {value} {unit} is out of its limits and nobody accepted it.",
        name=f["name"],
        value=f["value"],
        unit=f["unit"],
    ),
    Against.NEVER_RECORDED: lambda f: _(
        "Closed; never recorded: {acts}.", acts=listed([_(_ACTS.get(n, n)) for n in f.figure("names")])
    ),
    Against.PERMIT_OPEN: lambda f: _("Permit {number} is still open: close it first.", number=f["number"]),
    Against.TEST_FAILED: lambda _f: _("The last test failed: the pump counts nothing, and the job stays open."),
    Against.NOTHING_TO_STRIKE: lambda f: _("There is no entry {number} that stands.", number=f["number"]),
    Against.NOT_THE_NEWEST: lambda f: _(
        "Only the newest entry, number {number}, is struck, by who recorded it.", number=f["number"]
    ),
    Against.TOO_LATE: lambda f: _(
        "An entry is struck within {minutes} minutes; record what is right as a new one.", minutes=f["minutes"]
    ),
    Against.TAKES_GROUND: lambda f: _(
        "{act} is recorded for later, and rests on what this takes away: look whether the time is right.",
        act=_first_large(_(_ACTS.get(str(f["act"]), str(f["act"])))),
    ),
    Against.PAPER_ORDER: lambda f: _(
        "By the sheet, {act} was before {before}: look whether the times are right.",
        act=act_name(str(f["act"])),
        before=act_name(str(f["before"])),
    ),
    Against.STAYS: lambda _f: _(
        "A signature, a decision, and what carries a flag stay; record what is right as a new entry."
    ),
}


def act_name(act: str) -> str:
    """What an act asked of the work is called: "gas read at the cover"."""
    return _(_ACTS[act])


def _first_large(said: str) -> str:
    return said[:1].upper() + said[1:]


def skipped_words(one: Skipped) -> str:
    """What was never recorded: "locked and tagged: suction valve and discharge valve"."""
    name = act_name(one.act)
    return f"{name}: {listed([n.rstrip('. ') for n in one.names])}" if one.names else name
