"""The record as read back: whole, for a period, or a choice of it; and what an export says beside it."""

import json
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context, utc_text
from scheduler.actions.due import postponing
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel.document import document_of
from scheduler.actions.work import nonconformities
from scheduler.domain.base.enums import JobState
from scheduler.domain.record.chain import Record
from scheduler.domain.record.choice import Choice, NotDone, not_done_then
from scheduler.domain.record.closed_job import ClosedJob
from scheduler.errors import NotFound, StorageFull
from scheduler.storage.record import append_record, chain_head, chain_kept_here, record_rows
from scheduler.storage.shore.home import Writing
from scheduler.storage.shore.ships import heard_at
from scheduler.storage.vessel import vessel_names

_BLOCK = 500
NOT_APPROVED = "not approved"


@dataclass(frozen=True, slots=True)
class ChosenRecords:
    """A vessel's records by number, as chosen; read anew in blocks each time it is gone through, the same each time.

    Records added after it was made are not in it.
    """

    context: Context
    vessel_id: str
    vessel_name: str
    last: int
    head: str
    choice: Choice

    def lacks(self, newest: Record | None) -> str:
        """What is missing at the end, when `newest` is the last record that was found; empty: nothing, or the choice ends before."""
        if (
            self.choice.to_at is not None
            or self.choice.narrowed
            or (newest is None and self.choice.from_at is not None)
        ):
            return ""
        number = 0 if newest is None else newest.number
        if number < self.last:
            return str(self.last) if number + 1 == self.last else f"{number + 1} to {self.last}"
        return "" if newest is None or newest.hash == self.head else str(number)

    def lacks_before(self, first: Record | None) -> str:
        """What is missing before the first record that was found, where all of them were asked for; empty: nothing."""
        if first is None or first.number == 1 or self.choice.narrowed or self.choice.from_at is not None:
            return ""
        return "1" if first.number == 2 else f"1 to {first.number - 1}"

    def __iter__(self) -> Iterator[Record]:
        for first in range(1, self.last + 1, _BLOCK):
            with self.context.db.read() as session:
                block = list(record_rows(session, self.vessel_id, first, min(first + _BLOCK - 1, self.last)))
            yield from (record for record in block if self.choice.takes(record))


def records_of(context: Context, vessel_id: str, choice: Choice | None = None) -> ChosenRecords:
    """The vessel's records. Raises NotFound."""
    with context.db.read() as session:
        vessel, _ = document_of(session, vessel_id)
        last, head = chain_head(session, vessel_id)
    return ChosenRecords(context, vessel_id, vessel.name, last, head, choice or Choice())


def named_vessels(context: Context, actor: Actor, ids: Sequence[str]) -> list[tuple[str, str]]:
    """(id, name) of vessels by id, each once; of all that the actor reaches where none is named.

    Raises:
        NotFound: one is not there, or not the actor's.
    """
    with context.db.read() as session:
        names = vessel_names(session)
    for one in ids:
        actor.must_reach(one, f"vessel {one}")
        if one not in names:
            raise NotFound(f"There is no vessel {one} here. The list of vessels shows their ids.")
    chosen = sorted(set(ids)) or [one for one in names if actor.vessel_id in (None, one)]
    return [(one, names[one]) for one in chosen]


def known_until(context: Context, vessel_id: str) -> datetime:
    """The instant until which all is known here of a vessel: when she was last heard where she is written aboard, else now."""
    with context.db.read() as session:
        heard = heard_at(session, vessel_id)
    return context.now() if heard is None else min(heard, context.now())


def note_export(context: Context, vessel_id: str, made_by: str, form: str, choice: Choice) -> None:
    """Put on record that the history is taken out, by whom and which choice; before it is read, so that it holds that too.

    With no room to write nothing is noted: the record can be read all the same. Raises NotFound when there is no such vessel.
    """
    with context.db.read() as session:
        document_of(session, vessel_id)
    with suppress(StorageFull), context.db.write(vessel_id, writing=Writing.WORKED_OUT) as session:
        payload = {
            "form": form,
            "from": utc_text(choice.from_at),
            "to": utc_text(choice.to_at),
            "choice": choice.words(),
            "by": made_by,
        }
        append_record(session, chain_kept_here(session, vessel_id), "export made", context.now(), payload)


@dataclass(frozen=True, slots=True)
class DocumentChange:
    """A change that an auditor asks about, its record, why, and who ashore approved it (`NOT_APPROVED` where somebody should),
    and the document's version."""

    number: int
    recorded: str
    by: str
    what: str
    reason: str
    class_agreed: str
    approved: str
    version: int


@dataclass(frozen=True, slots=True)
class ExportExtras:
    """What stands beside the records in an export: what was due and not done, postponements, non-conformities, changes."""

    not_done: tuple[NotDone, ...]
    postponements: tuple[dict[str, object], ...]
    non_conformities: tuple[dict[str, object], ...]
    changes: tuple[DocumentChange, ...]


def export_extras(context: Context, chosen: ChosenRecords) -> ExportExtras:
    """What an auditor reads next to the records of the same period."""
    choice = chosen.choice
    with context.db.read() as session:
        vessel, _ = document_of(session, chosen.vessel_id)
    not_done: list[NotDone] = []
    for plant in vessel.plants:
        now = plant_state(context, chosen.vessel_id, plant.id)
        not_done += [
            NotDone(
                job=job.job_id.key,
                position=now.position_name(job.position),
                kind=job.kind_name,
                due_at=None if job.state is JobState.NOT_KNOWN else job.due_at,
                limit_at=job.limit_at,
                state=job.state.value,
                done_at=None,
            )
            for job in now.jobs
            if job.first and choice.due_within(job.due_at, now.at)
        ]
    changes: list[DocumentChange] = []
    for record in records_of(context, chosen.vessel_id, Choice(from_at=choice.from_at, to_at=choice.to_at)):
        if record.kind == ClosedJob.KIND:
            late = not_done_then(record, choice)
            if late is not None:
                not_done.append(late)
        elif record.kind == "vessel document stored":
            changes += _changes(record)
        elif record.kind == "vessel document approved":
            changes = _approved(changes, record)
    return ExportExtras(
        not_done=tuple(sorted(not_done, key=lambda one: (one.due_at is not None, one.due_at or one.job, one.job))),
        postponements=tuple(reversed(postponing.postponements_listed(context, chosen.vessel_id))),
        non_conformities=tuple(reversed(nonconformities.nonconformities_listed(context, chosen.vessel_id))),
        changes=tuple(changes),
    )


def _changes(record: Record) -> list[DocumentChange]:
    members = json.loads(record.text)
    when = f"{record.recorded_at:%Y-%m-%dT%H:%M:%SZ}"
    by, reason, agreed = (str(members.get(name, "")) for name in ("by", "reason", "class_agreed"))
    version = int(members.get("version", 0))
    flagged, name = members.get("not_approved", ()), str(members.get("approved_by", ""))
    return [
        DocumentChange(
            record.number, when, by, str(what), reason, agreed, NOT_APPROVED if what in flagged else name, version
        )
        for what in members.get("changes", ())
    ]


def _approved(changes: list[DocumentChange], record: Record) -> list[DocumentChange]:
    """The changes with those approved by that record; a change of an earlier period gets a line of its own."""
    members = json.loads(record.text)
    version, by = int(members["version"]), str(members["by"])
    when = f"{record.recorded_at:%Y-%m-%dT%H:%M:%SZ}"
    there = {one.what for one in changes if one.version == version}
    marked = [
        replace(one, approved=by) if one.version == version and one.approved == NOT_APPROVED else one for one in changes
    ]
    late = [what for what in members["approved"] if what not in there]
    return marked + [
        DocumentChange(record.number, when, str(members["stored_by"]), what, "", "", by, version) for what in late
    ]


def head_of(context: Context, vessel_id: str) -> tuple[int, str]:
    """Number and record stamp of the vessel's newest record. Raises NotFound."""
    with context.db.read() as session:
        document_of(session, vessel_id)
        return chain_head(session, vessel_id)


def record_export(context: Context, vessel_id: str, number: int) -> tuple[dict[str, object], str]:
    """The members of a record as stored, and its record stamp; both empty when there is none."""
    with context.db.read() as session:
        found = next(iter(record_rows(session, vessel_id, number, number)), None)
    return (json.loads(found.text), found.hash) if found is not None else ({}, "")
