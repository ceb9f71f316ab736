"""The chains walked aboard: what is new each day, all of it each week and when the doctor is asked; what was found stays found.

Where each walk ended is remembered, so that a head and its last records changed together are noticed too.
"""

import logging
from collections.abc import Mapping
from contextlib import suppress
from datetime import timedelta

from scheduler.actions.base.context import Context
from scheduler.domain.record.walking import ChainFault, ChainWalk, FoundFault
from scheduler.errors import Busy, StorageFull
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.record import chain_head, chains_there, missing_guards, record_rows
from scheduler.storage.vessel import revision_of
from scheduler.storage.watches import Watch, vessels_to_watch, watch_again

log = logging.getLogger("leadline")
_MARK, _FAULT, _WHOLE = "record walked: ", "record fault: ", "record walked whole: "
_GUARDS = "record guards"
WHOLE_DAYS = 7


def daily_walk(context: Context) -> bool:
    """Of each chain once a day what is new, every seventh day all. Whether it was the turn of any."""
    now = context.now()
    with context.db.read() as session:
        chains = vessels_to_watch(session, Watch.RECORD, now)
    for one in chains:
        walk_chain(context, one)
    return bool(chains)


def walk_chain(context: Context, vessel_id: str) -> None:
    """Walk a vessel's chain ("": the installation's, and see that changes are refused): what is new, or all if that is a week ago."""
    today = context.now().date().toordinal()
    with context.db.read() as session:
        whole = remembered(session, _WHOLE + vessel_id)
    walk_chains(context, whole=not whole.isdigit() or today - int(whole) >= WHOLE_DAYS, only=vessel_id)


def walk_chains(context: Context, *, whole: bool, only: str | None = None) -> Mapping[str, FoundFault]:
    """Walk the chain of each vessel ("": the installation's), or the one named, from where the last walk ended or from the beginning.

    Returns:
        The first fault of each chain that has one; under the name `record guards` that changes are not refused any more.
        It is remembered as well, for `faults_found`, until a whole walk finds it gone.
    """
    with context.db.read() as session:
        chains = chains_there(session) if only is None else [only]
        unguarded = only in (None, INSTALLATION) and missing_guards(session)
    found = {_GUARDS: FoundFault(ChainFault.UNGUARDED)} if unguarded else {}
    for one in chains:
        with context.db.read() as session:
            begin = whole or bool(remembered(session, _FAULT + one))
            walk = _walked(session, one, _mark(session, one), whole=begin)
        if walk.fault is not None:
            found[one] = walk.fault
        _remember_walk(context, one, walk, whole=whole)
    if only in (None, INSTALLATION):
        with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:
            remember(session, _FAULT + _GUARDS, _said(found.get(_GUARDS)))
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


def _said(fault: FoundFault | None) -> str:
    return "" if fault is None else f"{fault.fault.value} {fault.number}"


def _remember_walk(context: Context, vessel_id: str, walk: ChainWalk, *, whole: bool) -> None:
    """Note what a walk found and where it ended, and walk again tomorrow."""
    now = context.now()
    with suppress(Busy, StorageFull), context.db.write(INSTALLATION) as session:  # walked again at the next turn
        remember(session, _FAULT + vessel_id, _said(walk.fault))
        if walk.fault is None and walk.number:
            remember(session, _MARK + vessel_id, f"{walk.number} {walk.stamp}")
        if whole:
            remember(session, _WHOLE + vessel_id, str(now.date().toordinal()))
        tomorrow = now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
        revision = revision_of(session, vessel_id)
        watch_again(session, Watch.RECORD, vessel_id, tomorrow, at=now, revision=revision)
