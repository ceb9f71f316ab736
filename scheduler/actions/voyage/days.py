"""The operating calendar: read it, lay stretches over it, clear days, take back the last change. Each change is a record."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Context, Hand, hand_action
from scheduler.actions.base.pending import ask_plan
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import offset_minutes
from scheduler.domain.voyage.from_csv import Sheet, read_sheet
from scheduler.domain.voyage.stretches import (
    MOST_SPELLS,
    DayChange,
    KindOfDay,
    Laid,
    Spell,
    SpellFault,
    VoyageDays,
    clear,
    day_kind_faults,
    days_text,
    difference,
    lay,
    spell_faults,
)
from scheduler.errors import Clash, MissingCondition, Refused, Stale
from scheduler.language import gettext
from scheduler.storage.database import Session
from scheduler.storage.record import append_record
from scheduler.storage.voyage import (
    StretchValues,
    VoyageStretchRow,
    VoyageVersionRow,
    newest_voyage_version,
    voyage_stretch_rows,
    voyage_stretches,
    voyage_version,
    voyage_versions,
)

_MOST_IN_RECORD = 60
NEWEST = 20


@dataclass(frozen=True, slots=True)
class StoredDays:
    """A vessel's operating calendar: version 0 before anything was entered. versions: newest first."""

    book: VoyageDays
    version: int
    versions: tuple[VoyageVersionRow, ...]
    today: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is to be changed: days cleared first, then stretches laid over. kinds none: they stay.

    whole: the calendar holds these stretches alone afterwards. what: the change in a few words.
    """

    stretches: tuple[Spell, ...] = ()
    cleared: tuple[tuple[date, date], ...] = ()
    kinds: tuple[KindOfDay, ...] | None = None
    whole: bool = False
    reason: str = ""
    what: str = "changed"


@dataclass(frozen=True, slots=True)
class Preview:
    """A file as read, and what taking it in would change; none while something in it is wrong."""

    sheet: Sheet
    laid: Laid | None
    version: int


def voyage_days_of(session: Session, vessel_id: str) -> tuple[VoyageDays, int]:
    """The vessel's calendar in force and its version; an empty one of version 0 when there is none."""
    row = newest_voyage_version(session, vessel_id)
    return voyage_days_in(row, voyage_stretches(session, vessel_id) if row else ())


def voyage_days_in(row: VoyageVersionRow | None, stretches: tuple[StretchValues, ...]) -> tuple[VoyageDays, int]:
    """The same from its row and the values of its stretches."""
    return (VoyageDays(), 0) if row is None else (_book(_kinds(row), stretches), row.version)


def get_voyage_days(context: Context, actor: Actor, vessel_id: str) -> StoredDays:
    """The vessel's calendar with its newest versions. Raises NotFound."""
    actor.must_reach(vessel_id, f"vessel {vessel_id}")
    with context.db.read() as session:
        document_of(session, vessel_id)
        book, version = voyage_days_of(session, vessel_id)
        newest = voyage_versions(session, vessel_id, NEWEST)
        return StoredDays(book, version, tuple(newest), ship_today(session, context, vessel_id))


def ship_today(session: Session, context: Context, vessel_id: str) -> date:
    """The ship's date."""
    now = context.now()
    return (now + timedelta(minutes=offset_minutes(session, vessel_id, now))).date()


def try_days(context: Context, actor: Actor, vessel_id: str, text: str) -> Preview:
    """What a CSV file says and what taking it in would change. Nothing is stored. Raises NotFound."""
    found = get_voyage_days(context, actor, vessel_id)
    sheet = read_sheet(text, found.book, found.today)
    laid = None if sheet.faults else lay(found.book, sheet.spells)
    return Preview(sheet, laid, found.version)


def days_table(context: Context, actor: Actor, vessel_id: str, text: str) -> Sheet:
    """The stretches of a CSV file.

    Raises:
        Refused: with a fault for each bad cell, pointing to /csv/ROW/COLUMN.
    """
    sheet = try_days(context, actor, vessel_id, text).sheet
    if sheet.faults:
        faults = [(f"/csv/{fault.row}/{fault.column}", fault.sentence()) for fault in sheet.faults]
        many = gettext("{count} cells are wrong; the first: ", count=len(faults)) if len(faults) > 1 else ""
        raise Refused(gettext("Nothing was taken in. {many}{faults}", many=many, faults=faults[0][1]), faults=faults)
    return sheet


def change_days(context: Context, hand: Hand, vessel_id: str, wish: Wish, *, if_match: int | None) -> Answer:
    """Change the calendar. The answer names the days that changed; what changes nothing makes no new version.

    Args:
        if_match: the version that is being changed, 0 for a calendar not begun. With an Idempotency-Key in the hand a
            second sending gets the first answer.

    Raises:
        Refused: a stretch or a kind makes no sense, or two contradict each other (all faults listed).
        MissingCondition: no version was named. Stale: the version held is another. NotFound: no such vessel.
    """

    def make(session: Session, book: VoyageDays) -> Laid:
        today = ship_today(session, context, vessel_id)
        begin = replace(book, kinds=wish.kinds or book.kinds, spells=() if wish.whole else book.spells)
        for from_on, to_on in wish.cleared:
            begin = clear(begin, from_on, to_on).book
        _must_make_sense(begin, wish, today)
        laid = lay(begin, wish.stretches)
        if len(laid.book.spells) > MOST_SPELLS:
            raise Refused(
                gettext(
                    "The calendar would hold {count} stretches; at most {most_spells} are kept.",
                    count=len(laid.book.spells),
                    most_spells=MOST_SPELLS,
                )
            )
        return replace(laid, changes=difference(book, laid.book))

    return _write(context, hand, vessel_id, if_match, make, wish.reason, wish.what, None)


def undo_days(context: Context, hand: Hand, vessel_id: str, *, reason: str = "", if_match: int | None) -> Answer:
    """Take the last change back, as a new version; taken back twice, it stands again.

    Raises:
        Clash: nothing was ever entered. MissingCondition, Stale, NotFound: as `change`.
    """

    def make(session: Session, book: VoyageDays) -> Laid:
        newest = newest_voyage_version(session, vessel_id)
        if newest is None:
            raise Clash(gettext("Nothing was entered in this operating calendar yet; there is nothing to undo."))
        before = voyage_version(session, vessel_id, newest.version - 1)
        spells = voyage_stretches(session, vessel_id, newest.version - 1)
        old = VoyageDays() if before is None else _book(_kinds(before), spells)
        return Laid(book=old, changes=difference(book, old))

    return _write(context, hand, vessel_id, if_match, make, reason, "last change taken back", if_match)


def _write(
    context: Context,
    hand: Hand,
    vessel_id: str,
    if_match: int | None,
    make: Callable[[Session, VoyageDays], Laid],
    reason: str,
    what: str,
    undoes: int | None,
) -> Answer:
    hand.actor.must_reach(vessel_id, f"vessel {vessel_id}")

    def act(session: Session) -> Answer:
        vessel, _ = document_of(session, vessel_id)
        book, version = voyage_days_of(session, vessel_id)
        _must_match(vessel_id, book, version, if_match)
        laid = make(session, book)
        if laid.book == book:
            return Answer(200, _told(vessel_id, version, laid, None))
        payload = {
            "vessel": vessel_id,
            "version": version + 1,
            "what": what,
            "reason": reason,
            "by": hand.actor.name,
            "undoes": undoes,
            "kinds": {kind.code: kind.weight for kind in laid.book.kinds} if laid.book.kinds != book.kinds else None,
            "changed": len(laid.changes),
            "days": [
                {"from_on": c.from_on, "to_on": c.to_on, "was": c.was, "now": c.now}
                for c in laid.changes[:_MOST_IN_RECORD]
            ],
        }
        number, _ = append_record(session, vessel_id, "operating calendar changed", context.now(), payload)
        _keep(session, vessel_id, version + 1, laid.book)
        session.add(
            VoyageVersionRow(
                vessel_id=vessel_id,
                version=version + 1,
                kinds=[[kind.code, kind.weight] for kind in laid.book.kinds],
                actor=hand.actor.name,
                reason=reason,
                what=what,
                undoes=undoes,
                record=number,
                recorded_at=context.now(),
            )
        )
        for plant in vessel.plants:
            ask_plan(session, vessel_id, plant.id, context.now())
        return Answer(200, _told(vessel_id, version + 1, laid, number))

    return hand_action(context, hand, vessel_id, act, needs_key=False)


def _must_match(vessel_id: str, book: VoyageDays, version: int, if_match: int | None) -> None:
    if if_match is None:
        raise MissingCondition(
            gettext(
                "The operating calendar of {vessel_id} is at version {version}. Read it, then send "
                'If-Match: "{version}" with your change.',
                vessel_id=vessel_id,
                version=version,
            )
        )
    if if_match != version:
        raise Stale(
            gettext(
                "The operating calendar of {vessel_id} is now at version {version}, not {if_match}: "
                "somebody changed it meanwhile. Look at it again and repeat your change.",
                vessel_id=vessel_id,
                version=version,
                if_match=if_match,
            ),
            more={
                "version": version,
                "stretches": [
                    {"from_on": one.from_on.isoformat(), "to_on": one.to_on.isoformat(), "kind": one.kind}
                    for one in book.spells
                ],
            },
        )


def _must_make_sense(book: VoyageDays, wish: Wish, today: date) -> None:
    used = [spell.kind for spell in (*book.spells, *wish.stretches)] if wish.kinds is not None else []
    faults = day_kind_faults(wish.kinds, used) if wish.kinds is not None else []
    for place, (from_on, to_on) in enumerate(wish.cleared):
        if to_on < from_on:
            faults.append(
                (
                    f"/clear/{place}/to_on",
                    gettext(
                        "{to_on} is before {from_on}: a day on or after it was expected.", to_on=to_on, from_on=from_on
                    ),
                )
            )
    kinds = [kind.code for kind in book.kinds]
    found = spell_faults(wish.stretches, kinds, today, lambda place: f"stretch {place + 1}")
    faults += [(f"/stretches/{fault.place}/{_member(fault)}", fault.says) for fault in found]
    if faults:
        many = gettext("{count} things are wrong; the first: ", count=len(faults)) if len(faults) > 1 else ""
        raise Refused(gettext("Nothing was taken in. {many}{faults}", many=many, faults=faults[0][1]), faults=faults)


def _member(fault: SpellFault) -> str:
    return f"{fault.column}_on" if fault.column in ("from", "to") else fault.column


def _keep(session: Session, vessel_id: str, version: int, book: VoyageDays) -> None:
    wanted = set(book.spells)
    for row in voyage_stretch_rows(session, vessel_id):
        spell = Spell(from_on=row.from_on, to_on=row.to_on, kind=row.kind, source=row.source, note=row.note)
        if spell in wanted:
            wanted.remove(spell)
        else:
            row.until_version = version
            session.add(row)
    session.flush()
    for spell in sorted(wanted):
        session.add(
            VoyageStretchRow(
                vessel_id=vessel_id,
                since_version=version,
                from_on=spell.from_on,
                to_on=spell.to_on,
                kind=spell.kind,
                source=spell.source,
                note=spell.note,
            )
        )
    session.flush()


def _kinds(row: VoyageVersionRow) -> tuple[tuple[str, float], ...]:
    return tuple((code, weight) for code, weight in row.kinds)


@lru_cache(maxsize=16)
def _book(kinds: tuple[tuple[str, float], ...], spells: tuple[StretchValues, ...]) -> VoyageDays:
    """Remembered by all that is in it: a ship's calendar is read with every page and changes seldom."""
    return VoyageDays(
        kinds=tuple(KindOfDay(code=code, weight=weight) for code, weight in kinds),
        spells=tuple(
            Spell(from_on=from_on, to_on=to_on, kind=kind, source=source, note=note)
            for from_on, to_on, kind, source, note in spells
        ),
    )


def _told(vessel_id: str, version: int, laid: Laid, record: int | None) -> dict[str, Any]:
    return {
        "vessel": vessel_id,
        "version": version,
        "changes": [_plain(change) for change in laid.changes],
        "kept_as_logged": [_plain(change) for change in laid.kept],
        "record": record,
    }


def _plain(change: DayChange) -> dict[str, Any]:
    return {
        "from_on": change.from_on.isoformat(),
        "to_on": change.to_on.isoformat(),
        "was": change.was,
        "now": change.now,
    }


def change_words(change: DayChange) -> str:
    """A change of days in one line: `2026-11-28 to 2026-11-30: nothing entered, now port`."""
    return (
        f"{days_text(change.from_on, change.to_on)}: {change.was or 'nothing entered'}, now {change.now or 'nothing'}"
    )


def stored_words(change: DayChange) -> str:
    """Days on which the log stood over a plan: `2026-11-04: stays port as logged, the plan says sea`."""
    return f"{days_text(change.from_on, change.to_on)}: stays {change.was} as logged, the plan says {change.now}"
