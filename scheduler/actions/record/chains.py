"""The chains walked aboard: what is new each day, all of it each week and when the doctor is asked; what was found stays found.

Where each walk ended is remembered, so that a head and its last records changed together are noticed too.
"""

import logging
from collections.abc import Mapping
from contextlib import suppress

from scheduler.actions.base.context import Context
from scheduler.domain.record.walking import ChainFault, ChainWalk, FoundFault
from scheduler.errors import Busy, StorageFull
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.record import chain_head, chains_there, missing_guards, record_rows

log = logging.getLogger("leadline")
_MARK, _FAULT, _WHOLE, _DAY = "record walked: ", "record fault: ", "record walked whole", "record walked on"
_GUARDS = "record guards"
WHOLE_DAYS = 7


def daily_walk(context: Context) -> bool:
    """Once a day what is new, every seventh day all. Whether it was this call's turn."""
    today = context.now().date().toordinal()
    with context.db.read() as session:
        walked, whole = (remembered(session, name) for name in (_DAY, _WHOLE))
    if walked == str(today):
        return False
    walk_chains(context, whole=not whole.isdigit() or today - int(whole) >= WHOLE_DAYS)
    return True


def walk_chains(context: Context, *, whole: bool) -> Mapping[str, FoundFault]:
    """Walk the chain of each vessel ("": the installation's), from where the last walk ended or from the beginning.

    Returns:
        The first fault of each chain that has one; under the name `record guards` that changes are not refused any more.
        It is remembered as well, for `faults_found`, until a whole walk finds it gone.
    """
    with context.db.read() as session:
        chains = chains_there(session)
        found = {} if not missing_guards(session) else {_GUARDS: FoundFault(ChainFault.UNGUARDED)}
        before = {one: _mark(session, one) for one in chains}
        known = {one: remembered(session, _FAULT + one) for one in chains}
    walks: dict[str, ChainWalk] = {}
    for one in chains:
        with context.db.read() as session:
            walks[one] = _walked(session, one, before[one], whole=whole or bool(known[one]))
    found |= {one: walk.fault for one, walk in walks.items() if walk.fault is not None}
    _remember(context, walks, found, whole=whole)
    for name, fault in found.items():
        log.error("the record of %s is not whole: %s, record %d", name or "the installation", fault.fault, fault.number)
    return found


def faults_found(session: Session, vessel_id: str) -> list[FoundFault]:
    """What the last walk found of a vessel's chain; of the installation ("") also whether changes are refused."""
    names = [vessel_id, *([_GUARDS] if vessel_id == INSTALLATION else [])]
    said = [remembered(session, _FAULT + name) for name in names]
    return [FoundFault(ChainFault(one.split()[0]), int(one.split()[1])) for one in said if one]


def _mark(session: Session, vessel_id: str) -> tuple[int, str]:
    number, _, stamp = remembered(session, _MARK + vessel_id).partition(" ")
    return (int(number), stamp) if number.isdigit() else (0, "")


def _walked(session: Session, vessel_id: str, mark: tuple[int, str], *, whole: bool) -> ChainWalk:
    number, stamp = mark
    head = chain_head(session, vessel_id)
    if number:
        there = next(iter(record_rows(session, vessel_id, number, number)), None)
        if there is None:
            return ChainWalk(fault=FoundFault(ChainFault.MISSING, min(number, head[0] + 1)))
        if there.hash != stamp:
            return ChainWalk(fault=FoundFault(ChainFault.REWRITTEN, number))
    walk = ChainWalk() if whole or not number else ChainWalk(number, stamp)
    return walk.take(record_rows(session, vessel_id, walk.number + 1)).end(head)


def _remember(
    context: Context, walks: Mapping[str, ChainWalk], found: Mapping[str, FoundFault], *, whole: bool
) -> None:
    today = str(context.now().date().toordinal())
    with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:  # walked again at the next turn
        for name in (*walks, _GUARDS):
            fault = found.get(name)
            remember(session, _FAULT + name, "" if fault is None else f"{fault.fault.value} {fault.number}")
        for name, walk in walks.items():
            if walk.fault is None and walk.number:
                remember(session, _MARK + name, f"{walk.number} {walk.stamp}")
        remember(session, _DAY, today)
        if whole:
            remember(session, _WHOLE, today)
