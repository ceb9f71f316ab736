"""A vessel joins her office: from then on what is done aboard travels there."""

import secrets
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from scheduler.actions.base.context import Context
from scheduler.errors import BadRequest, Clash, NotFound
from scheduler.storage.database import INSTALLATION, Session
from scheduler.storage.shore.capture import Place
from scheduler.storage.shore.joining import IN_ORDER, add_piece, add_touched, start_line
from scheduler.storage.shore.lines import ShoreLineRow, shore_line
from scheduler.storage.shore.truth import TRUTH
from scheduler.storage.vessel import vessel_row
from scheduler.toml_file import read_small


@dataclass(frozen=True, slots=True)
class Joined:
    """A vessel that has joined. changes: made of the truth there was."""

    vessel_id: str
    address: str
    life: str
    changes: int


def join_office(context: Context, vessel_id: str, address: str, key_file: Path) -> Joined:
    """All truth of a vessel becomes changes, in pieces that hold the turn to write shortly; then the line is open.

    A join that was broken off begins anew.

    Raises:
        NotFound: no such vessel. Clash: she has joined already. BadRequest: no address, or no key in the file.
    """
    address = office_address(address)
    ship_key(key_file)
    with context.db.write(INSTALLATION) as session:
        context.db.lock_vessels(session.connection(), [vessel_id])
        if vessel_row(session, vessel_id) is None:
            raise NotFound(f"There is no vessel {vessel_id} here. `leadline fleet` lists those there are.")
        there = shore_line(session, vessel_id)
        if there is not None and not there.joining:
            raise Clash(
                f"{vessel_id} has joined the office at {there.address} already. `leadline office status` says how it goes; "
                "for a new key or address: `leadline office moved`."
            )
        session.expunge_all()
        line = ShoreLineRow(
            vessel_id=vessel_id,
            address=address,
            key_file=str(key_file.absolute()),
            life=secrets.token_hex(16),
            joined_at=context.now(),
        )
        start_line(session, line)
    ends: dict[str, Place | None] = {}
    for name in TRUTH:
        _all_of(context, vessel_id, name, ends)
    more = True
    while more:
        for name in IN_ORDER:
            _all_of(context, vessel_id, name, ends)
        with context.db.write(vessel_id) as session:
            more = add_touched(session, vessel_id, context.now_s())
            if not more:
                for name in IN_ORDER:
                    while (end := add_piece(session, vessel_id, TRUTH[name], ends[name], context.now_s())) is not None:
                        ends[name] = end
                line = _line(session, vessel_id)
                line.joining = False
                session.add(line)
    return Joined(vessel_id, address, line.life, line.number)


def move_office(context: Context, vessel_id: str, key_file: Path, address: str | None = None) -> str:
    """The ship's server has moved to another machine, or has a new key: same life. Returns the office's address.

    Raises:
        NotFound: she has joined no office. BadRequest: no address, or no key in the file.
    """
    ship_key(key_file)
    with context.db.write(vessel_id) as session:
        line = _line(session, vessel_id)
        line.key_file = str(key_file.absolute())
        line.address = line.address if address is None else office_address(address)
        line.tried_at, line.refused_at = None, None
        session.add(line)
        return line.address


def office_address(address: str) -> str:
    """The address without a slash at its end. Raises BadRequest unless it is one of http or https with a host."""
    try:
        parts = urlsplit(address)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and not (parts.query or parts.fragment)
        good = good and parts.port != 0 and "@" not in parts.netloc
    except ValueError:
        good = False
    if not good:
        raise BadRequest(f"{address!r} is no address of an office; expected such as https://office.example.com.")
    return address.rstrip("/")


def ship_key(key_file: Path) -> str:
    """The key in the file. Raises BadRequest where there is none, or the file cannot be read."""
    try:
        key = read_small(key_file).strip()
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else error
        raise BadRequest(
            f"The key file {key_file} cannot be read: {why}. Put the key that the office made into it."
        ) from error
    if not key.startswith("ll_") or not key.isascii() or len(key) > 200 or not key.isprintable() or " " in key:
        raise BadRequest(
            f"The key file {key_file} holds no key of this program; expected one line that begins with ll_."
        )
    return key


def _all_of(context: Context, vessel_id: str, name: str, ends: dict[str, Place | None]) -> None:
    """Rows of a table after those that were made into changes already, piece by piece."""
    ends.setdefault(name, None)
    while True:
        with context.db.write(vessel_id) as session:
            end = add_piece(session, vessel_id, TRUTH[name], ends[name], context.now_s())
        if end is None:
            return
        ends[name] = end


def _line(session: Session, vessel_id: str) -> ShoreLineRow:
    line = shore_line(session, vessel_id)
    if line is None:
        raise NotFound(
            f"{vessel_id} has joined no office. `leadline office join ADDRESS --vessel {vessel_id}` does it."
        )
    return line
