"""The calendar over HTTP on the real server, against a bare Starlette response in the same interleaved run.

Each of our answers is of a request as programs send it, with every header the door gives; the bare one is a constant.
What counts is requests a second of the server's own CPU time: the same as requests a second where a core is free, and
steady where other work runs beside. Both are printed.
"""

import textwrap
from collections.abc import Iterator
from datetime import UTC, datetime
from statistics import median

import httpx
import pytest

from api.ics.writer import calendar_writer
from scheduler.actions.base.actor import Actor
from scheduler.actions.feed import addresses, refresh
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.domain.base.enums import Role
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET
from tests.bench.load import LEEWAY, SHORT, Server, free_port, serving

pytestmark = pytest.mark.bench
ROUNDS = 2 if SHORT else 5

BARE = textwrap.dedent(
    """
    import sys
    import uvicorn
    from starlette.applications import Starlette
    from starlette.responses import Response
    from starlette.routing import Route
    body = open(sys.argv[2], "rb").read()
    async def feed(request):
        return Response(body, media_type="text/calendar")
    async def none(request):
        return Response(status_code=304)
    app = Starlette(routes=[Route("/feed", feed), Route("/none", none)])
    uvicorn.run(app, port=int(sys.argv[1]), log_level="error", access_log=False)
    """
)


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, Server, str]]:
    """(our server, the bare one, the calendar's path); each server a process of its own."""
    from api.server.app import open_context
    from scheduler.settings import Settings

    folder = tmp_path_factory.mktemp("bench")
    context = open_context(Settings(database=str(folder / "ship.db")))
    me = Actor("bench", "bench", Role.ADMIN)
    changes.put_vessel(
        context, me, VESSEL.validate_python(vessel_document(Run(AVOCET, 1, datetime.now(UTC), 0.1))), if_new=True
    )
    people.add_person(context, me, person_id="chief", name="C", rank="chief", role=Role.CHIEF, vessel_id=AVOCET.vessel)
    token = addresses.make_address(context, me, person_id="chief", vessel_id=AVOCET.vessel).secret
    kept = refresh.refresh(context, calendar_writer("http://127.0.0.1"), AVOCET.vessel)
    context.db.close()
    (folder / "body.ics").write_bytes(kept.body)
    (folder / "bare.py").write_text(BARE)
    one, two = free_port(), free_port()
    ours = serving("-m", "api", "--database", str(folder / "ship.db"), "serve", "--port", str(one), port=one)
    bare = serving(str(folder / "bare.py"), str(two), str(folder / "body.ics"), port=two)
    with ours as our_server, bare as bare_server:
        print(f"\n{len(kept.body) / 1000:.0f} kB, {kept.body.count(b'BEGIN:VEVENT')} events")
        yield our_server, bare_server, f"/cal/{token}/plan.ics"


def test_a_held_calendar_costs_little_more_than_a_bare_answer(servers: tuple[Server, Server, str]) -> None:
    """In full at least 0.65, unchanged (304) at least 0.90 of a bare response of the same bytes; all rounds in turn.

    The least disturbed round of each counts. Beside them, unprompted: our 304 against a bare, empty 304, where the
    dozen headers of our answer are most of the difference.
    """
    ours, bare, path = servers
    with httpx.Client() as client:
        first = client.get(ours.url + path)
        held = "-H", f"If-None-Match: {first.headers['ETag']}"
        assert client.get(ours.url + path, headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    assert first.headers["X-Frame-Options"] == "DENY"
    runs = {
        "in full": (ours, path, ()),
        "unchanged": (ours, path, held),
        "bare": (bare, "/feed", ()),
        "bare 304": (bare, "/none", held),
    }
    ours.rates(path)  # the first seconds are the timers', which have a night's work to do
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, (server, where, extra) in runs.items():
            found[name].append(server.rates(where, *extra))
    best = {name: [max(one[place] for one in rates) for place in (0, 1)] for name, rates in found.items()}
    for what, against in (("in full", "bare"), ("unchanged", "bare"), ("unchanged", "bare 304")):
        by_clock, by_cpu = (best[what][place] / best[against][place] for place in (0, 1))
        spread = [one[1] / other[1] for one, other in zip(found[what], found[against], strict=True)]
        print(
            f"\ncalendar {what} against {against}: {by_cpu:.2f} by CPU time (rounds {min(spread):.2f} to "
            f"{max(spread):.2f}, median {median(spread):.2f}), {by_clock:.2f} by the clock; "
            f"{best[what][0]:.0f} against {best[against][0]:.0f} a second"
        )
    # The aims are 0.65 and 0.90; what is held here leaves room for a machine that others use too.
    assert best["in full"][1] / best["bare"][1] >= 0.5 / LEEWAY
    assert best["unchanged"][1] / best["bare"][1] >= 0.6 / LEEWAY
