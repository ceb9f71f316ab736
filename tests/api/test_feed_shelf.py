"""Calendars held in memory: the same answer without the database, and never one that should not be given any more."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, update

from api.server import calendar_cache
from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from scheduler.storage.feed import AddressRow
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER

LONG_AGO = datetime(1970, 1, 2, tzinfo=UTC)
ME = Actor("test", "test", Role.ADMIN)


@dataclass(slots=True)
class Told:
    """A clock the test turns."""

    at: datetime = datetime(2026, 10, 20, 7, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at


@dataclass(frozen=True, slots=True)
class Served:
    """The app, a calendar's path in it, and how often the database was asked for a calendar."""

    context: Context
    clock: Told
    client: TestClient
    path: str
    asked: list[str]

    def get(self) -> int:
        """The status of the calendar now."""
        return self.client.get(self.path).status_code


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """One ship, one calendar address, fetched twice, so that it is held."""
    clock, asked, opened = Told(), [], addresses.open_address
    monkeypatch.setattr(
        calendar_cache.addresses,
        "open_address",
        lambda context, secret, agent: asked.append(secret) or opened(context, secret, agent),
    )
    app = make_app(Settings(database=str(tmp_path / "ship.db")), clock=clock, timers=False)
    context: Context = app.state.context
    changes.put_vessel(context, ME, VESSEL.validate_python(vessel_document(Run(PLOVER, 1, clock.at, 0.1))), if_new=True)
    people.add_person(context, ME, person_id="c", name="C", rank="chief", role=Role.CHIEF, vessel_id=PLOVER.vessel)
    token = addresses.make_address(context, ME, person_id="c", vessel_id=PLOVER.vessel).secret
    with TestClient(app) as client:
        found = Served(context, clock, client, f"/cal/{token}/plan.ics", asked)
        assert [found.get(), found.get(), found.get()] == [200, 200, 200]
        assert len(asked) <= 2
        asked.clear()
        yield found


@pytest.mark.long
def test_it_is_held_while_nothing_changes(served: Served) -> None:
    """No look into the database within a minute, one after it."""
    served.clock.at += timedelta(seconds=59)
    assert served.get() == 200
    assert served.asked == []
    served.clock.at += timedelta(seconds=1)
    assert served.get() == 200
    assert len(served.asked) == 1


@pytest.mark.long
@pytest.mark.parametrize(
    ("change", "status"),
    [({"revoked_at": LONG_AGO}, 410), ({"expires_at": LONG_AGO}, 410), ({"sha256": "0" * 64}, 404)],
)
def test_an_address_that_ended_is_refused_at_the_next_request(
    served: Served, change: dict[str, datetime | str], status: int
) -> None:
    """Whoever changes the row, in whichever program: the commit itself ends what is held."""
    with served.context.db.write("") as session:
        session.execute(update(AddressRow).where(col(AddressRow.vessel_id) == PLOVER.vessel).values(change))
    assert served.get() == status


@pytest.mark.long
def test_nothing_is_compressed_where_the_setting_says_so(tmp_path: Path) -> None:
    """Whoever asks for gzip gets the plain calendar, read anew or held."""
    app = make_app(Settings(database=str(tmp_path / "ship.db"), feed_gzip=False), clock=Told(), timers=False)
    context: Context = app.state.context
    document = VESSEL.validate_python(vessel_document(Run(PLOVER, 1, Told().at, 0.02)))
    changes.put_vessel(context, ME, document, if_new=True)
    people.add_person(context, ME, person_id="c", name="C", rank="chief", role=Role.CHIEF, vessel_id=PLOVER.vessel)
    made = addresses.make_address(context, ME, person_id="c", vessel_id=PLOVER.vessel)
    with TestClient(app) as client:
        for _ in range(3):
            answer = client.get(f"/cal/{made.secret}/plan.ics", headers={"Accept-Encoding": "gzip"})
            assert (answer.status_code, "content-encoding" in answer.headers) == (200, False)


@pytest.mark.long
def test_another_secret_is_not_let_in_by_one_that_is_held(served: Served) -> None:
    """Each secret is looked up itself."""
    assert served.client.get(f"/cal/{'x' * 43}/plan.ics").status_code == 404
    assert served.get() == 200
