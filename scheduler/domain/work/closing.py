"""What of the work was never recorded when a job is closed: named one by one, since nothing is taken for done unsaid."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from scheduler.domain.vessel.sheets import MeasureAsked, Phase
from scheduler.domain.work.acts import AnyStep, GasChecked, GasPlace, Note, Noted, Struck, TagPlaced
from scheduler.domain.work.against import Against, Objection, Procedure
from scheduler.domain.work.rules import newest_measures
from scheduler.domain.work.state import WorkState, struck_numbers

ASKED = (
    "permit issued",
    "made ready",
    "gas in the room",
    "rinsed",
    "tag placed",
    "start tried",
    "no voltage",
    "vacuum let out",
    "gas at the cover",
    "personal lock on",
    "opened",
    "people clear",
    "people told",
    "started locally",
    "returned",
    "tested",
)
"""What is asked of the work on a pump that was taken out, in the order in which it is done."""


@dataclass(frozen=True, slots=True)
class Skipped:
    """Something asked for that no entry tells of. act: of ASKED, or step, or measure; names: points, steps or measures."""

    act: str
    names: tuple[str, ...] = ()


def skipped(
    entries: Iterable[AnyStep], procedure: Procedure, measures: Iterable[MeasureAsked], *, takes_pump_out: bool
) -> list[Skipped]:
    """What no entry that stands tells of, in the order of the work; empty when all of it was recorded.

    Args:
        entries: all of them, in order of recording. measures: what the sheet asks for.
    """
    told = list(entries)
    gone = struck_numbers(told)
    standing = [one for n, one in enumerate(told, 1) if n not in gone and not isinstance(one, Struck)]
    found = list(_acts(standing, procedure)) if takes_pump_out else []
    ticked = {one.name for one in standing if isinstance(one, Noted) and one.about is Note.STEP}
    steps = tuple(one.text for one in procedure.sheet if not one.act and one.text not in ticked)
    measured = {one.name for one in standing if isinstance(one, Noted) and one.about is Note.MEASURE}
    missing = tuple(one.name for one in measures if one.name not in measured)
    found += [Skipped("step", steps)] if steps else []
    return found + ([Skipped("measure", missing)] if missing else [])


def _acts(standing: Sequence[AnyStep], procedure: Procedure) -> Iterator[Skipped]:
    kinds = {one.kind for one in standing}
    places = {one.place for one in standing if isinstance(one, GasChecked)}
    locked = {one.point for one in standing if isinstance(one, TagPlaced)}
    for act in ASKED:
        match act:
            case "permit issued":
                if procedure.permit_needed and act not in kinds:
                    yield Skipped(act)
            case "gas in the room":
                if GasPlace.ROOM not in places:
                    yield Skipped(act)
            case "gas at the cover":
                if GasPlace.COVER not in places:
                    yield Skipped(act)
            case "tag placed":
                free = tuple(point.name for point in procedure.points if point.name not in locked)
                if free or not locked:
                    yield Skipped(act, free)
            case "opened":
                if act not in kinds and any(one.when is Phase.OPEN for one in procedure.sheet):
                    yield Skipped(act)
            case _:
                if act not in kinds:
                    yield Skipped(act)


def measures_left(work: WorkState) -> list[Objection]:
    """The measures whose newest figure is out of its limits and that nobody accepted since."""
    found = []
    for name, newest in newest_measures(work).items():
        accepted = any(one.name == name and one.at >= newest.at for one in work.accepted)
        if newest.out_of_limit and not accepted:
            facts: dict[str, str | float] = {"name": name, "value": float(newest.value or 0.0), "unit": newest.unit}
            found.append(Objection(Against.OUT_OF_LIMIT, {**facts}))
    return found
