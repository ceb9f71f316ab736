"""Signing in by passphrase or, on a shared computer, by PIN; giving the passphrase anew; choosing both."""

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people.passphrases import fits, passphrase_hash, pin_hash
from scheduler.actions.people.sessions import Browser, hashed, open_session
from scheduler.domain.people.authentication import Proof
from scheduler.errors import NotAllowed, NotSignedIn
from scheduler.language import gettext, marked
from scheduler.storage.database import INSTALLATION
from scheduler.storage.people import PersonRow, computer_by_secret, person_row, person_rows, session_row
from scheduler.storage.record import append_record, chain_kept_here

_WRONG = marked(
    "Name and passphrase do not go together, or no passphrase is set yet. Try again, or ask the chief engineer to sign you in."
)


def sign_in(context: Context, name: str, passphrase: str, browser: Browser) -> str:
    """Sign somebody in by name and passphrase; the new session's secret. name: the name or id as the list of people has it, where two
    vessels have one of that name with @ and the vessel's id behind it.

    Raises:
        NotSignedIn: no such name, or another passphrase (one message, and the same work, for both). Busy: too many at once.
    """
    person = _proved(_named(context, name), passphrase)
    with context.db.write(INSTALLATION) as session:
        return open_session(session, context, person, Proof.PASSPHRASE, browser)


def prove_anew(context: Context, secret: str, actor: Actor, passphrase: str) -> None:
    """Note in the session of that cookie that its person gave the own passphrase just now.

    Raises:
        NotSignedIn: another passphrase than the person's, or none is set.
    """
    with context.db.read() as session:
        person = person_row(session, actor.person_vessel_id, actor.person_id or "")
    _proved(person, passphrase)
    with context.db.write(INSTALLATION) as session:
        row = session_row(session, hashed(secret))
        if row is not None and row.ended_at is None:
            row.proved_at = context.now()
            session.add(row)


def set_passphrase(context: Context, secret: str, actor: Actor, new: str, old: str = "") -> None:
    """Choose a passphrase of one's own in the session of that cookie, on record.

    Who has one already gives it, unless this session came by a link: so a forgotten one is set anew, and the record names who made
    the link; that alone proves nothing, so the session counts as proved only where the first one is chosen or the old one was given.

    Raises:
        Refused: as `passphrase_hash`. NotSignedIn: the old one is not the person's. NotAllowed: not at a page, or by PIN.
    """
    by = actor.authentication
    if by is None or by.proof not in (Proof.LINK, Proof.PASSPHRASE):
        raise NotAllowed(
            gettext("A passphrase is chosen on a page, by whoever signed in there by a link or by the old one.")
        )
    with context.db.read() as session:
        person = person_row(session, actor.person_vessel_id, actor.person_id or "")
    forgotten = by.proof is Proof.LINK and not old
    if person is not None and person.passphrase is not None and not forgotten:
        _proved(person, old)
    now, stored = context.now(), passphrase_hash(new, name=person.name if person else "")
    with context.db.write(INSTALLATION) as session:
        person, row = (
            person_row(session, actor.person_vessel_id, actor.person_id or ""),
            session_row(session, hashed(secret)),
        )
        if person is None or person.withdrawn_at is not None or row is None or row.ended_at is not None:
            raise NotSignedIn(gettext("You were signed out meanwhile. Sign in and choose the passphrase again."))
        first = person.passphrase is None
        if first or not forgotten:
            row.proved_at = now
        person.passphrase, person.passphrase_at = stored, now
        session.add_all([person, row])
        payload = {"person": person.id, "first": first, "link_by": row.link_by or None, "by": actor.name}
        append_record(session, chain_kept_here(session, person.vessel_id), "passphrase set", now, payload)


def set_pin(context: Context, actor: Actor, pin: str) -> None:
    """Choose a PIN for the vessel's shared computers, on record. Raises Refused as `pin_hash`, NotAllowed without a passphrase given
    in this session: else whoever made the link could work in the person's name ever after."""
    by = actor.authentication
    if by is None or by.proof is Proof.PIN or by.proved_at is None or not actor.person_vessel_id:
        raise NotAllowed(
            gettext(
                "A PIN is chosen by somebody of the ship's own crew who gave the own passphrase in "
                "this session. Set or give it first."
            )
        )
    stored = pin_hash(pin)
    with context.db.write(INSTALLATION) as session:
        person = person_row(session, actor.person_vessel_id, actor.person_id or "")
        if person is not None and person.withdrawn_at is None:
            person.pin = stored
            session.add(person)
            payload = {"person": person.id, "by": actor.name}
            append_record(session, chain_kept_here(session, person.vessel_id), "PIN set", context.now(), payload)


def sign_in_by_pin(context: Context, computer_secret: str, person_id: str, pin: str, browser: Browser) -> str:
    """Sign one of the crew in at the shared computer with that cookie, for recording work; the new session's secret.

    Raises:
        NotSignedIn: it is no shared computer, or person and PIN do not go together (with the same work for either).
    """
    with context.db.read() as session:
        computer = computer_by_secret(session, hashed(computer_secret)) if computer_secret else None
        person = None if computer is None else person_row(session, computer.vessel_id, person_id)
    if person is not None and person.withdrawn_at is not None:
        person = None
    if not fits(None if person is None else person.pin, pin) or person is None or computer is None:
        raise NotSignedIn(
            gettext(
                "Name and PIN do not go together, or no PIN is set yet. Try again, or sign in by "
                "passphrase and choose a PIN."
            )
        )
    with context.db.write(INSTALLATION) as session:
        here = Browser(browser.device, browser.agent, computer.id)
        return open_session(session, context, person, Proof.PIN, here)


def drop_pin(context: Context, computer_secret: str, person_id: str) -> None:
    """After too many wrong tries in a row: the PIN is good no more, on record, until its person chooses another."""
    with context.db.write(INSTALLATION) as session:
        computer = computer_by_secret(session, hashed(computer_secret))
        person = None if computer is None else person_row(session, computer.vessel_id, person_id)
        if computer is not None and person is not None and person.pin is not None:
            person.pin = None
            session.add(person)
            payload = {"person": person.id, "computer": computer.id, "by": computer.label}
            append_record(
                session,
                chain_kept_here(session, person.vessel_id),
                "PIN withdrawn after wrong tries",
                context.now(),
                payload,
            )


def _named(context: Context, name: str) -> PersonRow | None:
    """The one person of that name or id who has a passphrase, else none."""
    plain, _, vessel = name.partition("@")
    said, where = " ".join(plain.split()).casefold(), vessel.strip()
    with context.db.read() as session:
        found = [
            one
            for one in person_rows(session)
            if one.withdrawn_at is None and one.passphrase and said in (one.id, one.name.casefold())
        ]
    near = [one for one in found if not where or one.vessel_id == where]
    return near[0] if len(near) == 1 else None


def _proved(person: PersonRow | None, passphrase: str) -> PersonRow:
    if not fits(None if person is None else person.passphrase, passphrase) or person is None:
        raise NotSignedIn(gettext(_WRONG))
    return person
