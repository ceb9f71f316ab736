"""An act told late: what was recorded already rests on what happened before it, so it is looked at again with the late act in."""

from collections.abc import Iterator, Sequence

from scheduler.domain.work import acts
from scheduler.domain.work.against import Against, Objection, Procedure
from scheduler.domain.work.rules import objections
from scheduler.domain.work.state import replay, struck_numbers

_RESTS = (acts.Opened, acts.StartTried, acts.NoVoltage, acts.VacuumLetOut, acts.Returned, acts.Tested)


def late_objections(entries: Sequence[acts.AnyStep], step: acts.AnyStep, procedure: Procedure) -> Iterator[Objection]:
    """The opening, proofs, returns and tests recorded for later against which something stands with this act before them.

    Only what the act adds counts; one told in its order, or that adds nothing, has none.

    Args:
        entries: all of them, in order of recording.
    """
    if isinstance(step, acts.Struck):
        return
    struck = struck_numbers(entries)
    for number, told in enumerate(entries, 1):
        if number in struck or not isinstance(told, _RESTS) or told.at <= step.at:
            continue
        # a remark in its place, so that the numbers of struck entries stay right
        others: list[acts.AnyStep] = [*entries]
        others[number - 1] = acts.Noted(at=told.at, by=told.by, about=acts.Note.OTHER, name="")
        was = {one.code for one in objections(replay(others, told.at), told, procedure)}
        now = {one.code for one in objections(replay([*others, step], told.at), told, procedure)}
        if now - was:
            codes = tuple(sorted(one.value for one in now - was))
            yield Objection(Against.TAKES_GROUND, {"act": told.kind, "codes": codes})
