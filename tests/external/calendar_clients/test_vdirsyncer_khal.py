"""Two real programs as subscribers: vdirsyncer 0.20+ (its http storage) and khal 0.13+, over a real server."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from api.ics.http import calendar_answer
from api.ics.text import calendar_body, published_event
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.entries import calendar_content
from scheduler.domain.feed.revision import Feed, StoredEvent, republish
from scheduler.domain.feed.stability import PlannedSlot
from scheduler.domain.feed.words import DoneJob, WithdrawnJob
from tests.calendar_cases import AT, DAY, PLANT, VESSEL, alarm_job, done_job, knife_job, slot, withdrawn_job
from tests.clients import Seen, calendar_client

KEY = "knives:P1:4"


class Publisher:
    """The feed of the invented ship, kept between polls as the server keeps it."""

    def __init__(self) -> None:
        self.events: dict[str, StoredEvent] = {}
        self.feed: Feed | None = None
        self.statuses: list[int] = []

    def publish(
        self,
        jobs: list[DueJob],
        at: datetime,
        *,
        slots: dict[str, PlannedSlot] | None = None,
        done: tuple[DoneJob, ...] = (),
        withdrawn: tuple[WithdrawnJob, ...] = (),
    ) -> None:
        found = calendar_content(
            vessel=VESSEL,
            plants=[(PLANT, jobs)],
            slots=slots or {},
            done=done,
            withdrawn=withdrawn,
            offset_minutes=60,
            at=at,
            plan_at=at,
            hours_as_of=at,
            published={key: event.quoted for key, event in self.events.items() if event.quoted},
        )
        self.events = {
            entry.key: published_event(
                self.events.get(entry.key), entry, vessel_id="plover", base_url="http://x", at=at
            )
            for entry in found.entries
        }
        body = calendar_body(VESSEL.name, [event.text for event in self.events.values()])
        self.feed = republish(self.feed, body, at)

    async def plan(self, request: Request) -> Response:
        assert self.feed is not None
        told = calendar_answer(request.headers, self.feed.body, self.feed.changed_at)
        self.statuses.append(told.status)
        return Response(told.content, told.status, told.headers)

    @contextmanager
    def served(self) -> Iterator[str]:
        """The address of the feed on a real server on loopback."""
        app = Starlette(routes=[Route("/plan.ics", self.plan, methods=["GET", "HEAD"])])
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off"))
        with socket.socket() as door:
            door.bind(("127.0.0.1", 0))
            door.listen()
            thread = threading.Thread(target=server.run, kwargs={"sockets": [door]})
            thread.start()
            try:
                yield f"http://127.0.0.1:{door.getsockname()[1]}/plan.ics"
            finally:
                server.should_exit = True
                thread.join(timeout=20)


def by_title(seen: list[Seen]) -> dict[str, Seen]:
    return {event.title: event for event in seen}


@pytest.mark.long
def test_a_subscriber_sees_every_event_and_follows_moves_withdrawals_and_deletions(tmp_path: Path) -> None:
    """N events = N in the feed; a moved, a withdrawn, a done and an aged-out job follow at the next poll."""
    publisher = Publisher()
    jobs = [knife_job(1), knife_job(2, state=JobState.PAST_DUE, due_in_days=-1), knife_job(3), alarm_job()]
    publisher.publish(jobs, AT, slots={KEY: slot()}, done=(done_job(29, pump=8),))
    client = calendar_client(tmp_path)
    with publisher.served() as url:
        first = by_title(client.sync(url))
        assert len(first) == len(publisher.events) == client.files() == 6
        assert set(first) >= {
            "VP1 knife",
            "VP2 knife · past due",
            "VP3 knife",
            "VP8 knife · done",
        }
        assert first["VP1 knife"].starts == "2026-12-25 06:00"
        assert first["VP1 knife"].status == "CONFIRMED"
        assert first["VP3 knife"].status == "TENTATIVE"

        third = replace(withdrawn_job(0), job_id=knife_job(3).job_id)
        publisher.publish(
            [jobs[0], jobs[3]],
            AT + 2 * DAY,
            slots={KEY: slot(33)},
            done=(done_job(29, pump=8), replace(done_job(-1), job_id=jobs[1].job_id)),
            withdrawn=(third,),
        )
        second = by_title(client.sync(url))
        assert len(second) == len(publisher.events) == client.files() == 5
        assert second["VP1 knife"].starts == "2026-12-28 06:00"
        assert second["VP3 knife · withdrawn"].status == "CANCELLED"
        assert set(second) == {
            "Plan as of 27 Nov 2026 07:00 ship time - nothing due",
            "VP1 knife",
            "Alarm test",
            "VP2 knife · done",
            "VP3 knife · withdrawn",
        }

        publisher.publish([], AT + 60 * DAY)
        last = client.sync(url)
        assert [event.title for event in last] == ["Plan as of 24 Jan 2027 07:00 ship time - nothing due"]
    assert set(publisher.statuses) == {200}
