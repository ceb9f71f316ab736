"""Calendars held beside PostgreSQL: the tag is looked up each time, the body only where it is another, whichever server wrote it."""

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from api.ics.writer import calendar_writer
from api.server.app import make_app
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.feed import addresses, refresh
from scheduler.actions.people import people
from scheduler.actions.vessel import changes, fleet
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.api.test_feed_shelf import ME, Told
from tests.storage.stores import kinds, ready_url

BASE = "http://leadline.lan"


@pytest.mark.long
@pytest.mark.skipif("postgresql" not in kinds(), reason="no PostgreSQL server")
def test_what_another_server_wrote_is_served_and_what_it_left_is_not_read_again(tmp_path: Path) -> None:
    """Two applications on one database: a second fetch reads no body; after the other wrote another calendar it is the new one; an
    address withdrawn at the other is withdrawn at once."""
    clock = Told()
    with ready_url("postgresql", tmp_path) as url:
        apps = [make_app(Settings(database=url, base_url=BASE), clock=clock, timers=False) for _ in range(2)]
        one, other = (app.state.context for app in apps)
        assert isinstance(one, Context)
        changes.put_vessel(one, ME, VESSEL.validate_python(vessel_document(Run(PLOVER, 1, clock.at, 0.1))))
        people.add_person(one, ME, person_id="e", name="E", rank="2/E", role=Role.ENGINEER, vessel_id=PLOVER.vessel)
        by = Actor("e", "E", Role.ENGINEER, PLOVER.vessel, person_id="e")
        made = addresses.make_address(one, by, person_id="e", vessel_id=PLOVER.vessel)
        path = f"/cal/{made.secret}/plan.ics"
        bodies: list[str] = []

        def note(*told: object) -> None:
            if "feed_body.body" in str(told[2]):
                bodies.append(str(told[2]))

        with TestClient(apps[0]) as client:
            first = client.get(path)
            event.listen(one.db.read_engine, "before_cursor_execute", note)
            assert client.get(path).content == first.content
            assert client.get(path, headers={"If-None-Match": first.headers["etag"]}).status_code == 304
            assert bodies == []
            document, version = fleet.get_vessel(other, ME, PLOVER.vessel)
            renamed = VESSEL.validate_python({**VESSEL.dump_python(document, mode="json"), "name": "Demo Plover II"})
            changes.put_vessel(other, ME, renamed, if_match=version, reason="another name")
            refresh.refresh(other, calendar_writer(BASE), PLOVER.vessel)
            changed = client.get(path, headers={"If-None-Match": first.headers["etag"]})
            assert (changed.status_code, b"Demo Plover II" in changed.content) == (200, True)
            assert bodies != []
            addresses.revoke(other, ME, made.id)
            assert b"withdrawn" in client.get(path).content.lower()
        for app in apps[1:]:
            app.state.context.db.close()
