"""What stands against an act of the work, and what was never recorded of it, in words."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.closing import Skipped
from scheduler.domain.work.gas import Gas
from scheduler.wording.figures import listed, ship_moment

Facts = Mapping[str, Any]
_ACTS: Mapping[str, str] = {
    "permit issued": "permit",
    "made ready": "stand-by seen, people told",
    "rinsed": "rinsed and drained",
    "tag placed": "locked and tagged",
    "start tried": "start tried with control alive",
    "no voltage": "no voltage",
    "vacuum let out": "stored vacuum let out",
    "gas in the room": "gas read in the room",
    "gas at the cover": "gas read at the cover",
    "personal lock on": "personal locks",
    "opened": "opened",
    "people clear": "people and tools clear",
    "people told": "people told before the start",
    "started locally": "local start",
    "returned": "back to AUTO",
    "tested": "test after",
    "step": "step",
    "measure": "measure",
}
_LACKING = {
    "reason": "the reason",
    "approver": "its approval, which the chief engineer or the office gives by recording it as themselves",
    "absence": "that its owner is not aboard or not on duty was checked",
    "contact": "that contact was tried",
}
_WHAT = {
    "told": "tell people that it is free",
    "start": "start it",
    "close": "close the job",
    "close the permit": "close the permit",
    "run": "run it",
    "test": "test it",
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
        return [f"{ship_moment(a, self._offset)} to {ship_moment(b, self._offset)}" for a, b in pairs[:3]]


def _hanging(told: _FactTexts) -> str:
    points, people = told.figure("points"), told.figure("by")
    hang = ", ".join(f"{point} ({by})" for point, by in zip(points, people, strict=True))
    return f"A tag hangs at {hang}: take it off before you {_WHAT[str(told.figure('what'))]}."


def _below(told: _FactTexts) -> str:
    holds = told.spans("holds")
    first = f"Starts that hold: {', '.join(holds)}." if holds else "No start in the next 14 days holds."
    return (
        f"With this pump out for {told['hours']} h the plant is short by {told['lacking_m3_per_h']} m³/h of its minimum "
        f"({told['label']}) on {told.at('at')}. {first} The chief engineer may override with a reason."
    )


def _gas(told: _FactTexts) -> str:
    value, limit = told["value"], told["limit"]
    return {
        Gas.NOT_READ: f"{told['names']} not read: O2, LEL and H2S are all read before opening.",
        Gas.OXYGEN: f"O2 {value} %: 19.5 to 23.5 % was expected. Leave, ventilate, do not open.",
        Gas.LEL: f"LEL {value} %: under {limit} % was expected. Leave, ventilate, do not open.",
        Gas.H2S_OSHA: f"H2S {value} ppm: above the OSHA ceiling of {limit} ppm. Leave, ventilate, do not open.",
        Gas.H2S_NIOSH: f"H2S {value} ppm: above the NIOSH 10-minute ceiling of {limit} ppm and above the same figure as an "
        "8-hour mean. Leave, ventilate, do not open.",
        Gas.H2S_SHIP: f"H2S {value} ppm: above the ship's own limit of {limit} ppm. Ventilate and read again.",
    }[Gas(str(told.figure("what")))]


def _not_isolated(told: _FactTexts) -> str:
    return f"Not isolated yet: lock and tag {told['points'] or 'the points of the sheet'} first."


def _no_permit(told: _FactTexts) -> str:
    if told.has("number"):
        return f"No permit {told['number']} is open here; open: {told['open'] or 'none'}."
    return "No permit holds at that time: have one issued, or its time renewed, first."


def _no_tag(told: _FactTexts) -> str:
    if told.has("point"):
        return f"No tag hangs at {told['point']}; hanging: {told['hanging'] or 'none'}."
    return "No tag hangs: isolate, lock and tag before opening."


def _open_points(told: _FactTexts) -> str:
    return f"Not locked and tagged: {told['points'] or 'no point is'}. Lock and tag each point of the sheet first."


def _company(told: _FactTexts) -> str:
    return f"{told['company']} stands on no permit of this job: have it issued to that company too."


_WORDS: Mapping[Against, Callable[[_FactTexts], str]] = {
    Against.NOBODY: lambda _: "Say who did it; by is empty.",
    Against.NO_NUMBER: lambda _: "A permit has a number of the ship's own system; give it.",
    Against.OPEN_ALREADY: lambda f: f"Permit {f['number']} is open already.",
    Against.NOT_VALID: lambda f: f"Permit {f['number']} ends before it begins; check its times.",
    Against.NO_PERMIT: _no_permit,
    Against.PERMIT_BEFORE_FAILURE: lambda f: (
        f"Permit {f['number']} is of before the test failed: have a new one issued."
    ),
    Against.PERMIT_BEFORE_RELIEF: lambda f: f"Permit {f['number']} is of before the crew changed: have it issued anew.",
    Against.COMPANY_NOT_ON_PERMIT: _company,
    Against.NOT_ON_PERMIT: lambda f: f"{f['point']} passes and stands on no open permit: have it named there.",
    Against.STANDBY_NOT_SEEN: lambda _: "Before anything is isolated: see the stand-by pump run, and say who was told.",
    Against.ROOM_GAS_NOT_READ: lambda _: "Gas in the room was not read: O2, LEL and H2S before starting.",
    Against.FLUSHING_LOCKED: lambda f: f"{f['points']} is locked already: rinsing comes before isolating.",
    Against.BILGE: lambda _: "Sewage never goes to the bilge: drain to the sewage tank or a closed container.",
    Against.NO_POINT: lambda _: "Say which isolation point; point is empty.",
    Against.HANGS_ALREADY: lambda f: f"A tag hangs at {f['point']} already.",
    Against.NO_NUMBERS: lambda f: f"{f['points']}: give the number of its own lock and of its own tag.",
    Against.LOCK_TWICE: lambda f: f"One number at {f['points']}: each point has its own lock and its own tag.",
    Against.TWO_BOXES: lambda f: f"Lock boxes {f['boxes']}: the keys of one pump lie in one box.",
    Against.BELOW_MINIMUM: _below,
    Against.NO_TAG: _no_tag,
    Against.POINT_NOT_LOCKED: _open_points,
    Against.POINT_NOT_KNOWN: lambda f: f"Not known at {f['points']}: go and look, then say what hangs there.",
    Against.PASSES: lambda f: f"{f['point']} passes and nothing isolates instead: a blank, or the next valve upstream.",
    Against.NOTHING_INSTEAD: lambda f: (
        f"{f['point']} passes: say what isolates instead, a blank or the next valve upstream."
    ),
    Against.CONTROL_OFF: lambda _: (
        "A start tried with the control supply off proves nothing: try it with the supply alive."
    ),
    Against.BREAKER_NOT_LOCKED: lambda f: f"Lock {f['points'] or 'the supply breaker'} first, then try a start.",
    Against.ONE_BY_ONE: lambda _: "Tell the proofs one by one: start tried, no voltage, stored vacuum let out.",
    Against.START_NOT_TRIED: lambda _: "No start was tried at the locked breaker with the control supply alive.",
    Against.VOLTAGE_NOT_READ: lambda _: (
        "Not proved that there is no voltage at the terminals, on all phases, since it was locked."
    ),
    Against.METER_NOT_PROVED: lambda _: (
        "The voltage meter: give its number, proved on a known source before and after."
    ),
    Against.VALVES_NOT_LOCKED: lambda f: (
        f"Lock {f['points'] or 'the valves'} first; a gauge proves nothing while one is free."
    ),
    Against.VACUUM_NOT_OUT: lambda _: "Stored vacuum is not let out: gauge at zero with the valves shut, and drained.",
    Against.NO_GAS_CHECK: lambda _: "No gas reading: O2, LEL and H2S are read before opening.",
    Against.NOT_AT_COVER: lambda _: (
        "Gas was not read at the slackened cover: read O2, LEL and H2S there before opening."
    ),
    Against.GAS_OLD: lambda f: (
        f"The gas reading is {f['minutes']} min old, {f['most_minutes']} min are the most: read again."
    ),
    Against.GAS: _gas,
    Against.NO_METER: lambda _: "Give the number of the gas meter.",
    Against.NO_BUMP_TEST: lambda _: "The gas meter was not bump tested today: test it, then read again.",
    Against.NOT_RINSED: lambda _: "Not rinsed and drained: say where it was drained to.",
    Against.NO_PERSONAL_LOCK: lambda f: f"{f['person']} has no personal lock on the box.",
    Against.HAS_PERSONAL_LOCK: lambda f: f"A personal lock of {f['person']} hangs on the box already.",
    Against.NOT_OPEN: lambda _: "The pump was not opened yet: this step belongs to the open pump.",
    Against.STILL_OPEN: lambda _: "The pump is open: say first that people and tools are clear and the covers are on.",
    Against.BY_ITS_ACT: lambda f: f'This step is told by its own act, "{f["act"]}", not by a tick.',
    Against.NOT_ISOLATED: _not_isolated,
    Against.ISOLATED_ALREADY: lambda _: "The pump is isolated already: this step comes before.",
    Against.NOT_CLEAR: lambda _: "Say first that people and tools are clear and the covers are on.",
    Against.PERSONAL_LOCKS_HANG: lambda f: (
        f"Personal locks hang on the box: {f['people']}. Each takes the own one off first."
    ),
    Against.NOT_ITS_TURN: lambda f: (
        f"Before {f['point']} comes {f['first']}: locks come off one by one in the sheet's order."
    ),
    Against.OTHER_HAND: lambda f: (
        f"The tag at {f['point']} was placed by {f['placed_by']}, who takes it off. Another hand only "
        "by the documented exception: reason, approver, absence checked, contact tried."
    ),
    Against.EXCEPTION_LACKS: lambda f: (
        f"The exception for the tag at {f['point']} lacks: {', '.join(_LACKING[name] for name in f.figure('lacking'))}."
    ),
    Against.RELIEVES_NOBODY: lambda f: f"The tag at {f['point']} is your own: there is nobody to relieve.",
    Against.TAG_HANGS: _hanging,
    Against.NOBODY_TOLD: lambda f: (
        "Tell those concerned that the tags are off"
        + (f", {f['others']} among them" if f.has("others") else "")
        + ", before the start."
    ),
    Against.NOT_STARTED_LOCALLY: lambda _: "Start it locally first: leaks, current of the phases, turning; then AUTO.",
    Against.TEST_NOT_PASSED: lambda _: "The test on record was not passed: record the one that was, with its own time.",
    Against.NOT_RETURNED: lambda _: "The pump was taken out and is not returned to use: record its return first.",
    Against.SLOWER: lambda f: (
        f"{f['seconds']} s is slower than the limit of {f['limit']} s: not passed; it is returned, not proved."
    ),
    Against.NO_MEASURE: lambda f: f"No figure of {f['name']} is recorded: record it first.",
    Against.NOT_OUT_OF_LIMIT: lambda f: (
        f"The newest figure of {f['name']} is within its limits: nothing is to be accepted."
    ),
    Against.NAMEPLATE: lambda f: f"{f['name']} is above the nameplate: nobody accepts that. Find the cause.",
    Against.NO_REASON: lambda _: "Say why it is accepted; the reason is empty.",
    Against.OUT_OF_LIMIT: lambda f: (
        f"{f['name']} {f['value']} {f['unit']} is out of its limits and nobody accepted it."
    ),
    Against.NEVER_RECORDED: lambda f: (
        f"Closed; never recorded: {listed([_ACTS.get(n, n) for n in f.figure('names')])}."
    ),
    Against.PERMIT_OPEN: lambda f: f"Permit {f['number']} is still open: close it first.",
    Against.TEST_FAILED: lambda _: "The last test failed: the pump counts nothing, and the job stays open.",
    Against.NOTHING_TO_STRIKE: lambda f: f"There is no entry {f['number']} that stands.",
    Against.NOT_THE_NEWEST: lambda f: f"Only the newest entry, number {f['number']}, is struck, by who recorded it.",
    Against.TOO_LATE: lambda f: f"An entry is struck within {f['minutes']} minutes; record what is right as a new one.",
    Against.TAKES_GROUND: lambda f: (
        f"{_ACTS.get(str(f['act']), str(f['act'])).capitalize()} is recorded for later, and rests on what this takes away: "
        "look whether the time is right."
    ),
    Against.PAPER_ORDER: lambda f: (
        f"By the sheet, {act_name(str(f['act']))} was before {act_name(str(f['before']))}: look whether the times are right."
    ),
    Against.STAYS: lambda _: (
        "A signature, a decision, and what carries a flag stay; record what is right as a new entry."
    ),
}


def act_name(act: str) -> str:
    """What an act asked of the work is called: "gas read at the cover"."""
    return _ACTS[act]


def skipped_words(one: Skipped) -> str:
    """What was never recorded: "locked and tagged: suction valve and discharge valve"."""
    name = _ACTS[one.act]
    return f"{name}: {listed([n.rstrip('. ') for n in one.names])}" if one.names else name
