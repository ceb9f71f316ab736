"""What the office asks of a ship: asked, handed down, stored aboard, applied once in that person's name, its outcome known.

Office and ship share one database here, so that the row aboard is what the office hears of; `tests/office` has two.
"""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Hand
from scheduler.actions.people import managing, people
from scheduler.actions.shore import requests
from scheduler.actions.shore.accepting import answer_request, requests_aboard
from scheduler.actions.shore.applying import fetched_numbers, take_in
from scheduler.actions.shore.requests import (
    RequestSeen,
    ask_of_ship,
    mark_fetched,
    not_fetched,
    request_words,
    requests_asked,
    withdraw_request,
)
from scheduler.actions.work.nonconformities import open_where_due
from scheduler.domain.base.enums import Role
from scheduler.domain.shore.asking import EFFECTS, Effect, RequestKind, RequestStage, RequestState
from scheduler.domain.shore.merge_patch import merge_patch_between
from scheduler.errors import Clash, NotAllowed, NotFound, Refused, Stale
from scheduler.storage.database import INSTALLATION
from scheduler.storage.record import newest_records
from scheduler.storage.shore.requests import office_request_row
from seed_fleet.ships import PLOVER
from tests.api.stage import AT, Stage, staged, stamp
from tests.storage.stores import kinds_long_on_postgresql, ready_url

SHIP, API = PLOVER.vessel, "/api/v1"
KEYS = count(1)
JOB = "knife_inspection:plover-pump-b-knives:1"


@dataclass
class Sea:
    """An office and a ship, with the requests that are on their way down."""

    stage: Stage
    number: count = field(default_factory=lambda: KEYS)  # type: ignore[type-arg]

    def actor(self, role: Role) -> Actor:
        return people.who_holds(self.stage.context, self.stage.key(role))

    def hand(self, who: Actor | Role, **asked: Any) -> Hand:
        actor = who if isinstance(who, Actor) else self.actor(who)
        return Hand(actor, f"down {next(self.number)}", asked)

    def ask(
        self, what: RequestKind, *, by: Actor | Role = Role.OFFICE, until: datetime | None = None, **said: Any
    ) -> int:
        hand = self.hand(by, **said)
        return int(ask_of_ship(self.stage.context, hand, SHIP, what, said, until_at=until).body["request"])

    def handed(self) -> list[dict[str, Any]]:
        with self.stage.context.db.write(INSTALLATION) as session:
            return not_fetched(session, SHIP, self.stage.clock.at)

    def deliver(self) -> list[dict[str, Any]]:
        """What the office hands down, taken in aboard."""
        sent = self.handed()
        take_in(self.stage.context, SHIP, sent)
        return sent

    def seen(self, number: int) -> RequestSeen:
        return next(one for one in requests_asked(self.stage.context, SHIP) if one.row.number == number)

    def words(self, number: int) -> str:
        return request_words(self.seen(number), self.stage.clock.at)

    def stage_of(self, number: int) -> RequestStage:
        return self.seen(number).stage

    def accept(self, number: int, *, by: Actor | Role = Role.CHIEF, accepted: bool = True, reason: str = "") -> Answer:
        return answer_request(
            self.stage.context, self.hand(by, n=number), SHIP, number, accepted=accepted, reason=reason
        )

    def postponement(self) -> int:
        body = {"to_at": stamp(AT + timedelta(days=500)), "reason": "no part", "risk": "wear"}
        answer = self.stage.ask("POST", f"{API}/jobs/{JOB}/postponements", json=body)
        assert answer.status_code == 201, answer.text
        return int(answer.json()["postponement"])

    def document(self) -> tuple[dict[str, Any], int]:
        plain, etag = self.stage.document()
        return plain, int(etag.strip('"'))

    def longer_interval(self, days: int = 11) -> dict[str, Any]:
        """A patch that changes an interval of the first job kind that has one in days."""
        plain, version = self.document()
        changed = deepcopy(plain)
        kind = next(one for one in changed["plants"][0]["job_kinds"] if one.get("interval_days"))
        kind["interval_days"] = days
        return {"version": version, "patch": merge_patch_between(plain, changed), "reason": "wear seen"}

    def records(self, kind: str) -> int:
        with self.stage.context.db.read() as session:
            return len(newest_records(session, SHIP, kind))


@pytest.fixture(autouse=True)
def _office(monkeypatch: pytest.MonkeyPatch) -> None:
    """The office takes the ship for one that keeps her own records."""
    monkeypatch.setattr(requests, "name_of_mirror", lambda *_: "Demo Plover")


@pytest.fixture(params=kinds_long_on_postgresql())
def sea(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Sea]:
    """Demo Plover on either database."""
    with ready_url(request.param, tmp_path) as url, staged(tmp_path, (PLOVER,), url=url) as stage:
        yield Sea(stage)


@pytest.fixture
def aboard(tmp_path: Path) -> Iterator[Sea]:
    """The same on SQLite alone."""
    with staged(tmp_path, (PLOVER,)) as stage:
        yield Sea(stage)


@pytest.mark.long
def test_a_decision_is_sent_fetched_and_done_once(sea: Sea) -> None:
    """Never shown as done while it is only sent; delivered again it is the same answer; a second decision comes back in words."""
    number = sea.postponement()
    first = sea.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=True, note="part comes")
    second = sea.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=False, note="no")
    assert [one.stage for one in requests_asked(sea.stage.context, SHIP)] == [RequestStage.SENT, RequestStage.SENT]
    assert sea.words(first) == "sent, not fetched yet"
    sent = sea.handed()
    assert (sea.stage_of(first), [one["number"] for one in sent]) == (RequestStage.SENT, [first, second])
    take_in(sea.stage.context, SHIP, sent)
    done = sea.seen(first)
    assert done.stage is RequestStage.DONE
    assert done.aboard is not None
    assert sea.words(first) == f"done, record {done.aboard.record}"
    assert sea.words(second) == f"refused: Postponement {number} was granted already, by Demo office, office"
    take_in(sea.stage.context, SHIP, [*sent, *reversed(sent)])
    again = sea.seen(first)
    assert again.aboard is not None
    assert (again.aboard.record, again.aboard.decided_at) == (done.aboard.record, done.aboard.decided_at)
    assert sea.records("postponement granted") == 1
    assert sea.handed() == []
    listed = sea.stage.ask("GET", f"{API}/vessels/{SHIP}/postponements").json()["postponements"]
    assert (listed[0]["decided_by"], listed[0]["decided_as"]) == ("Demo office, office", "office")


def test_a_decision_lapses_where_another_pump_stopped_meanwhile(aboard: Sea) -> None:
    """The office knew of none; a refusal is no matter of pumps; one it knew of is none either."""
    number = aboard.postponement()
    lapsed = aboard.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=True)
    down = {"at": stamp(AT), "reason": "trips"}
    assert aboard.stage.ask("POST", f"{API}/pumps/plover-pump-a/down", json=down).status_code < 300
    aboard.deliver()
    assert aboard.stage_of(lapsed) is RequestStage.LAPSED
    assert aboard.words(lapsed).startswith("lapsed: VP1 is out by now, which the office did not know")
    known = aboard.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=True)
    aboard.deliver()
    assert aboard.stage_of(known) is RequestStage.DONE


def test_a_refusal_of_a_postponement_does_not_rest_on_the_pumps(aboard: Sea) -> None:
    """A no stands, whatever stopped; without a reason it is refused at the office."""
    number = aboard.postponement()
    with pytest.raises(Refused, match="Say why"):
        aboard.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=False)
    asked = aboard.ask(RequestKind.DECIDE_POSTPONEMENT, postponement=number, granted=False, note="do it")
    aboard.stage.ask("POST", f"{API}/pumps/plover-pump-a/down", json={"at": stamp(AT), "reason": "trips"})
    aboard.deliver()
    assert aboard.stage_of(asked) is RequestStage.DONE


@pytest.mark.long
def test_a_nonconformity_is_closed_with_the_answer_that_was_read(sea: Sea) -> None:
    """Not before it is answered, not by who answered it, not with another answer than the office read; closed it is closed once."""
    sea.stage.clock.at = AT + timedelta(days=60)
    open_where_due(sea.stage.context)
    listed = sea.stage.ask("GET", f"{API}/vessels/{SHIP}/non-conformities").json()["non_conformities"]
    number = listed[0]["non_conformity"]
    path = f"{API}/vessels/{SHIP}/non-conformities/{number}/answer"
    with pytest.raises(Clash, match="no cause"):
        sea.ask(RequestKind.CLOSE_NON_CONFORMITY, non_conformity=number)
    body = {"cause": "no hands", "corrective_action": "one more"}
    assert sea.stage.ask("POST", path, role=Role.OFFICE, json=body).status_code == 200
    with pytest.raises(NotAllowed, match="another person"):
        sea.ask(RequestKind.CLOSE_NON_CONFORMITY, non_conformity=number)
    assert sea.stage.ask("POST", path, role=Role.CHIEF, json=body).status_code == 200
    stale = sea.ask(RequestKind.CLOSE_NON_CONFORMITY, non_conformity=number)
    sea.stage.clock.at += timedelta(seconds=1)
    assert sea.stage.ask("POST", path, role=Role.CHIEF, json=body).status_code == 200
    sea.deliver()
    assert "was answered anew" in sea.words(stale)
    good, twice = (sea.ask(RequestKind.CLOSE_NON_CONFORMITY, non_conformity=number) for _ in range(2))
    sea.deliver()
    assert sea.stage_of(good) is RequestStage.DONE
    assert "closed already" in sea.words(twice)
    with pytest.raises(Clash, match="closed already"):
        sea.ask(RequestKind.CLOSE_NON_CONFORMITY, non_conformity=number)


@pytest.mark.long
def test_hours_taken_away_are_confirmed_by_the_office(sea: Sea) -> None:
    """What an engineer asks aboard the office confirms; once."""
    body = {"kind": "adjustment", "at": stamp(AT - timedelta(hours=1)), "reason": "typed twice", "hours": -1}
    event = sea.stage.ask("POST", f"{API}/counters/plover-vp1-hours/events", json=body).json()["id"]
    said = {"counter": "plover-vp1-hours", "event": event}
    first, second = sea.ask(RequestKind.CONFIRM_HOURS, **said), sea.ask(RequestKind.CONFIRM_HOURS, **said)
    sea.deliver()
    assert sea.stage_of(first) is RequestStage.DONE
    assert "confirmed by Demo office, office already" in sea.words(second)
    for wrong in ({**said, "event": "x"}, {**said, "counter": "avocet-vp1-hours"}):
        with pytest.raises(NotFound):
            sea.ask(RequestKind.CONFIRM_HOURS, **wrong)


@pytest.mark.long
def test_the_date_of_parts_is_set_against_the_one_that_was_looked_at(sea: Sea) -> None:
    """Against another date it is refused in words, and the date stays; the right one sets it, and takes it back."""
    first = sea.ask(RequestKind.SET_PART_DATE, job=JOB, from_on="2026-12-12", version=0)
    stale = sea.ask(RequestKind.SET_PART_DATE, job=JOB, from_on="2027-01-12", version=0)
    sea.deliver()
    aboard = sea.seen(first).aboard
    assert aboard is not None
    assert (sea.stage_of(first), sea.stage_of(stale)) == (RequestStage.DONE, RequestStage.REFUSED)
    assert "come on" in sea.words(stale)
    back = sea.ask(RequestKind.SET_PART_DATE, job=JOB, from_on=None, version=aboard.record)
    sea.deliver()
    assert sea.stage_of(back) is RequestStage.DONE


@pytest.mark.long
def test_a_changed_document_waits_for_the_chief_engineer(sea: Sea) -> None:
    """What would change is shown; accepted it is stored as the asker's, once; who asked never accepts."""
    asked = sea.ask(RequestKind.CHANGE_DOCUMENT, **sea.longer_interval())
    sea.deliver()
    _plain, version = sea.document()
    assert sea.words(asked) == "fetched, waits for the chief engineer"
    shown = requests_aboard(sea.stage.context, SHIP)[0]
    assert [one["now"] for one in shown.differences] == [11]
    assert shown.against == ""
    for who in (Role.OFFICE, Role.ENGINEER, Role.MASTER, Role.HOTEL, Role.ADMIN):
        with pytest.raises(NotAllowed):
            sea.accept(asked, by=who)
    hand = sea.hand(Role.CHIEF, accept=asked)
    answers = [answer_request(sea.stage.context, hand, SHIP, asked, accepted=True) for _ in range(2)]
    assert answers[0] == answers[1]
    assert answers[0].body["state"] == "done"
    assert sea.document()[1] == version + 1
    with pytest.raises(Clash, match="does not wait"):
        sea.accept(asked)
    aboard = sea.seen(asked).aboard
    assert aboard is not None
    assert (aboard.answered_by, aboard.by) == ("Demo chief, chief", "Demo office, office")
    stored = sea.stage.ask("GET", f"{API}/vessels/{SHIP}/versions").json()["versions"][0]
    assert (stored["by"], stored["approved_by"]) == ("Demo office, office", "")
    assert sea.records("office request accepted") == 1


def test_a_version_is_approved_by_another_person_of_the_office(aboard: Sea) -> None:
    """Who asked for the change does not approve it; another of the office does, by request as well."""
    asked = aboard.ask(RequestKind.CHANGE_DOCUMENT, **aboard.longer_interval())
    aboard.deliver()
    aboard.accept(asked)
    version = aboard.document()[1]
    with pytest.raises(NotAllowed, match="another person approves"):
        aboard.ask(RequestKind.APPROVE_VERSION, version=version)
    desk = another(aboard, "desk", "Demo desk")
    good, twice = (aboard.ask(RequestKind.APPROVE_VERSION, by=desk, version=version) for _ in range(2))
    aboard.deliver()
    assert aboard.stage_of(good) is RequestStage.DONE
    assert "approved already" in aboard.words(twice)


def another(sea: Sea, person: str, name: str) -> Actor:
    """One more person of the office, with the own key."""
    admin = Actor("set up", "set up", Role.ADMIN)
    context = sea.stage.context
    people.add_person(context, admin, person_id=person, name=name, rank="x", role=Role.OFFICE, vessel_id=None)
    return people.who_holds(context, people.add_key(context, admin, role=Role.OFFICE, label="k", person_id=person))


@pytest.mark.long
def test_a_stale_document_is_refused_in_words_and_never_merged(sea: Sea) -> None:
    """Before it is fetched, while it waits, and at the office: each says which version is there by now."""
    early = sea.ask(RequestKind.CHANGE_DOCUMENT, **sea.longer_interval())
    waiting = sea.ask(RequestKind.CHANGE_DOCUMENT, **sea.longer_interval(12))
    sent = sea.handed()
    take_in(sea.stage.context, SHIP, [one for one in sent if one["number"] == waiting])
    plain, version = sea.document()
    plain["plants"][0]["crew"]["hands"] += 1
    put = sea.stage.ask(
        "PUT", f"{API}/vessels/{SHIP}", role=Role.OFFICE, json=plain, headers={"If-Match": f'"{version}"'}
    )
    assert put.status_code == 200
    take_in(sea.stage.context, SHIP, sent)
    says = f"The document is now version {version + 1}, not {version}"
    assert sea.words(early) == f"refused: {says}"
    assert requests_aboard(sea.stage.context, SHIP)[0].against.startswith(says)
    answer = sea.accept(waiting)
    assert (answer.body["state"], sea.words(waiting)) == ("refused", f"refused: {says}")
    assert sea.document()[1] == version + 1
    with pytest.raises(Stale, match="is now version"):
        sea.ask(RequestKind.CHANGE_DOCUMENT, version=version, patch={"plants": []}, reason="x")


def test_the_chief_engineer_declines_with_a_reason(aboard: Sea) -> None:
    """Without one it is refused and still waits; declined it stays so, and the office reads why."""
    asked = aboard.ask(RequestKind.CHANGE_DOCUMENT, **aboard.longer_interval())
    aboard.deliver()
    version = aboard.document()[1]
    with pytest.raises(Refused, match="Say why"):
        aboard.accept(asked, accepted=False, reason=" ")
    aboard.accept(asked, accepted=False, reason="the seals are new.")
    assert aboard.words(asked) == "declined by Demo chief, chief: the seals are new"
    assert aboard.document()[1] == version
    with pytest.raises(Clash):
        aboard.accept(asked)


def test_the_office_asks_for_its_own_members_of_the_document_alone(aboard: Sea) -> None:
    """A pump, a name, a plant more, and a document without sense are refused at the office."""
    plain, version = aboard.document()
    changes: dict[str, Any] = {}
    for name, change in (
        ("pump", lambda doc: doc["plants"][0]["pumps"][0].update(serial="other")),
        ("name", lambda doc: doc.update(name="other")),
        ("gone", lambda doc: doc.update(plants=[])),
        ("gas", lambda doc: doc["plants"][0].update(gas_minutes=31)),
    ):
        changes[name] = deepcopy(plain)
        change(changes[name])
        patch = merge_patch_between(plain, changes[name])
        with pytest.raises((NotAllowed, Refused)):
            aboard.ask(RequestKind.CHANGE_DOCUMENT, version=version, patch=patch, reason="x")
    for patch, says in (
        ({}, "nothing would change"),
        ({"plants": None}, "cannot be read"),
        ({"plants": [{"id": 1}]}, "cannot be read"),
    ):
        with pytest.raises(Refused, match=says):
            aboard.ask(RequestKind.CHANGE_DOCUMENT, version=version, patch=patch, reason="x")


@pytest.mark.parametrize("what", [one for one in RequestKind if EFFECTS[one] is Effect.NEVER])
def test_what_is_done_aboard_is_never_asked(aboard: Sea, what: RequestKind) -> None:
    """At the office it is refused; and aboard again, should another office send it."""
    with pytest.raises(NotAllowed, match="never from the office"):
        aboard.ask(what)
    take_in(aboard.stage.context, SHIP, [sent_as(what=what.value, arguments={})])
    with aboard.stage.context.db.read() as session:
        row = office_request_row(session, SHIP, 1)
    assert row is not None
    assert row.state is RequestState.REFUSED
    assert "never from the office" in row.says


def sent_as(**members: Any) -> dict[str, Any]:
    """A request as it comes down, of our making."""
    at = int(AT.timestamp())
    said = {
        "number": 1,
        "what": "decide postponement",
        "arguments": {"postponement": 1, "granted": True},
        "seen": {"out": []},
        "by_id": "super",
        "by": "A. Person, superintendent",
        "role": "office",
        "vouched_id": "",
        "vouched": "",
        "asked_s": at,
        "until_s": at + 86_400,
    }
    return {**said, **members}


@pytest.mark.parametrize("role", [one for one in Role if one is not Role.OFFICE])
def test_nobody_but_the_office_asks(aboard: Sea, role: Role) -> None:
    """At the office by role; aboard whatever role is sent."""
    number = aboard.postponement()
    with pytest.raises((NotAllowed, NotFound)):
        aboard.ask(RequestKind.DECIDE_POSTPONEMENT, by=role, postponement=number, granted=True)
    take_in(aboard.stage.context, SHIP, [sent_as(role=role.value, arguments={"postponement": number, "granted": True})])
    (row,) = requests_aboard(aboard.stage.context, SHIP)
    assert (row.row.state, "is not of the office" in row.row.says) == (RequestState.REFUSED, True)


def test_two_people_are_two_people_through_this_door(aboard: Sea) -> None:
    """An asker of the same name, or by a link of the other side, is no second person; nor does the maker of the asker's key accept."""
    number = aboard.postponement()
    arguments = {"postponement": number, "granted": True}
    ways = [
        sent_as(number=1, arguments=arguments, by="Demo engineer, superintendent"),
        sent_as(number=2, arguments=arguments, by_id="engineer-plover"),
        sent_as(number=3, arguments=arguments, vouched_id="engineer-plover", vouched="Demo engineer, engineer"),
    ]
    take_in(aboard.stage.context, SHIP, ways)
    assert [one.row.state for one in requests_aboard(aboard.stage.context, SHIP)] == [RequestState.REFUSED] * 3
    said = aboard.longer_interval()
    change = {"what": RequestKind.CHANGE_DOCUMENT.value, "arguments": said}
    take_in(
        aboard.stage.context,
        SHIP,
        [
            sent_as(number=4, by_id="chief-plover", **change),
            sent_as(number=5, by="Demo chief, superintendent", **change),
            sent_as(number=6, vouched_id="chief-plover", vouched="Demo chief, chief", **change),
        ],
    )
    for waiting in (4, 5, 6):
        with pytest.raises(NotAllowed):
            aboard.accept(waiting)


def test_who_is_withdrawn_asks_nothing(aboard: Sea) -> None:
    """At the office before it is handed over; aboard where the ship knows the person as withdrawn; another of that id is another."""
    number = aboard.postponement()
    desk = another(aboard, "desk", "Demo desk")
    asked = aboard.ask(RequestKind.DECIDE_POSTPONEMENT, by=desk, postponement=number, granted=True)
    admin = Actor("set up", "set up", Role.ADMIN)
    managing.withdraw_person(aboard.stage.context, aboard.hand(admin, withdraw="desk"), INSTALLATION, "desk")
    assert aboard.deliver() == []
    assert aboard.stage_of(asked) is RequestStage.ASKER_WITHDRAWN
    arguments = {"postponement": number, "granted": True}
    take_in(
        aboard.stage.context,
        SHIP,
        [
            sent_as(number=8, by_id="desk", by="Demo desk, x", arguments=arguments),
            sent_as(number=9, by_id="desk", by="Other name, x", arguments=arguments),
        ],
    )
    newest = requests_aboard(aboard.stage.context, SHIP)
    assert [one.row.state for one in newest[:2]] == [RequestState.DONE, RequestState.REFUSED]
    assert "withdrawn aboard" in newest[1].row.says


@pytest.mark.long
def test_a_request_is_taken_back_while_nobody_has_it(sea: Sea) -> None:
    """Until it is handed over; then the ship may have done it, and the words say so; an ended one is not handed over."""
    number = sea.postponement()
    said = {"postponement": number, "granted": True}
    first = sea.ask(RequestKind.DECIDE_POSTPONEMENT, **said)
    assert sea.seen(first).may_withdraw
    for who in (Role.CHIEF, Role.ENGINEER, Role.ADMIN):
        with pytest.raises((NotAllowed, NotFound)):
            withdraw_request(sea.stage.context, sea.hand(who), SHIP, first)
    withdraw_request(sea.stage.context, sea.hand(Role.OFFICE), SHIP, first)
    assert sea.words(first) == "withdrawn by Demo office, office"
    with pytest.raises(Clash, match="withdrawn already"):
        withdraw_request(sea.stage.context, sea.hand(Role.OFFICE), SHIP, first)
    with pytest.raises(NotFound):
        withdraw_request(sea.stage.context, sea.hand(Role.OFFICE), SHIP, 99)
    second = sea.ask(RequestKind.DECIDE_POSTPONEMENT, **said)
    assert [one["number"] for one in sea.handed()] == [second]
    with pytest.raises(Clash, match="may have done it"):
        withdraw_request(sea.stage.context, sea.hand(Role.OFFICE), SHIP, second)
    assert not sea.seen(second).may_withdraw


def test_fetched_is_what_the_ship_says_it_has(aboard: Sea) -> None:
    """An answer may be lost: until the ship names the number, or its row arrives, it is handed again; then not."""
    asked = aboard.ask(RequestKind.SET_PART_DATE, job=JOB, from_on="2026-12-12", version=0)
    assert aboard.handed() == aboard.handed() != []
    with aboard.stage.context.db.write(INSTALLATION) as session:
        mark_fetched(session, SHIP, [asked, 77, 2**31 - 1], AT)
    assert aboard.words(asked) == "fetched"
    assert aboard.handed() == []
    aboard.stage.clock.at += timedelta(days=3)
    later = aboard.ask(RequestKind.SET_PART_DATE, job=JOB, from_on=None, version=0)
    aboard.stage.clock.at += timedelta(days=1) - timedelta(seconds=1)
    assert aboard.words(later) == "sent, not fetched yet"
    aboard.stage.clock.at += timedelta(seconds=1)
    assert aboard.words(later) == "not fetched since 1 day"
    aboard.stage.clock.at += timedelta(days=2)
    assert aboard.words(later) == "not fetched since 3 days"


def test_fetched_numbers_are_those_stored_aboard(aboard: Sea) -> None:
    """Rising, whatever came of them."""
    assert said_fetched(aboard) == ()
    take_in(aboard.stage.context, SHIP, [sent_as(number=7), sent_as(number=3)])
    assert said_fetched(aboard) == (3, 7)


def said_fetched(sea: Sea) -> tuple[int, ...]:
    with sea.stage.context.db.read() as session:
        return fetched_numbers(session, SHIP)


def test_until_is_a_boundary_aboard_and_at_the_office(aboard: Sea) -> None:
    """At the last second it is done, one later it lapses; what waits for the chief engineer runs out as well; the office hands nothing
    down that ran out before, and takes no instant that is past or over a year ahead."""
    last = int(AT.timestamp())
    number = aboard.postponement()
    arguments = {"postponement": number, "granted": False, "note": "do it"}
    take_in(aboard.stage.context, SHIP, [sent_as(number=1, arguments=arguments, until_s=last - 1)])
    take_in(aboard.stage.context, SHIP, [sent_as(number=2, arguments=arguments, until_s=last)])
    states = [one.row.state for one in requests_aboard(aboard.stage.context, SHIP)]
    assert states == [RequestState.DONE, RequestState.LAPSED]
    waiting = aboard.ask(RequestKind.CHANGE_DOCUMENT, until=AT + timedelta(hours=1), **aboard.longer_interval())
    aboard.deliver()
    aboard.stage.clock.at += timedelta(hours=1)
    aboard.deliver()
    assert aboard.stage_of(waiting) is RequestStage.WAITING
    aboard.stage.clock.at += timedelta(seconds=1)
    assert aboard.accept(waiting).body["state"] == "lapsed"
    other = aboard.ask(
        RequestKind.CHANGE_DOCUMENT, until=aboard.stage.clock.at + timedelta(hours=1), **aboard.longer_interval()
    )
    aboard.deliver()
    aboard.stage.clock.at += timedelta(hours=1, seconds=1)
    aboard.deliver()
    assert aboard.stage_of(other) is RequestStage.LAPSED
    asked = aboard.ask(
        RequestKind.SET_PART_DATE, until=aboard.stage.clock.at + timedelta(hours=1), job=JOB, from_on=None, version=0
    )
    aboard.stage.clock.at += timedelta(hours=1, seconds=1)
    assert aboard.deliver() == []
    assert aboard.words(asked) == "sent, not fetched yet; its time is over"
    now = aboard.stage.clock.at
    for until in (now, now + timedelta(days=366, seconds=1)):
        with pytest.raises(Refused, match="still to come"):
            aboard.ask(RequestKind.SET_PART_DATE, until=until, job=JOB, from_on=None, version=0)
    for until in (now + timedelta(seconds=1), now + timedelta(days=366)):
        aboard.ask(RequestKind.SET_PART_DATE, until=until, job=JOB, from_on=None, version=0)


def test_another_request_of_the_same_number_is_not_taken_for_the_first(aboard: Sea) -> None:
    """As after an office that was put back from a backup: the ship keeps the first with its outcome, the office says so, and counts on
    above what is aboard."""
    take_in(aboard.stage.context, SHIP, [sent_as(number=1)])
    take_in(aboard.stage.context, SHIP, [sent_as(number=1, by="Another Person, x")])
    (row,) = requests_aboard(aboard.stage.context, SHIP)
    assert row.row.by == "A. Person, superintendent"
    assert aboard.ask(RequestKind.SET_PART_DATE, job=JOB, from_on=None, version=0) == 2
    take_in(aboard.stage.context, SHIP, [sent_as(number=2)])
    assert aboard.stage_of(2) is RequestStage.NUMBER_TAKEN
    assert aboard.words(2) == "not done: aboard this number is another request's. Ask again"


WORST: tuple[Any, ...] = (
    None,
    7,
    "x",
    [],
    {},
    sent_as(number=0),
    sent_as(number=-1),
    sent_as(number=2**31),
    sent_as(number=2**63),
    sent_as(number=1e308),
    sent_as(number=True),
    sent_as(by="a\x00b"),
    sent_as(by="\ud800"),
    sent_as(by_id=""),
    sent_as(what="x" * 201),
    sent_as(arguments=[]),
    sent_as(arguments={"x": float("nan")}),
    sent_as(arguments={"x": float("inf")}),
    sent_as(arguments={"x": "a\x00b"}),
    sent_as(arguments={"x": "y" * 500_001}),
    sent_as(seen={"\ud800": 1}),
    sent_as(asked_s=2**63),
    sent_as(until_s=-1),
)
STORED: tuple[dict[str, Any], ...] = (
    sent_as(number=11, what="a thing of later"),
    sent_as(number=12, arguments={"postponement": 1e308, "granted": True}),
    sent_as(number=13, arguments={"postponement": 1}),
    sent_as(number=14, arguments={"postponement": 2**31 - 1, "granted": True}),
    sent_as(number=15, arguments={"postponement": 1, "granted": "yes"}),
    sent_as(number=16, what="confirm hours taken away", arguments={"counter": "avocet-vp1-hours", "event": "x"}),
    sent_as(number=17, what="set part date", arguments={"job": "a:b:c", "from_on": None, "version": 0}),
    sent_as(number=18, what="change document", arguments={"version": 1, "patch": {"plants": [1]}, "reason": ""}),
    sent_as(number=2**31 - 1, seen={"out": 7}),
)


@pytest.mark.long
def test_the_worst_requests_are_left_or_refused(sea: Sea) -> None:
    """What cannot be read or stored is left, what cannot be done is refused in words; nothing of the ship changes."""
    _plain, version = sea.document()
    take_in(sea.stage.context, SHIP, WORST)
    assert requests_aboard(sea.stage.context, SHIP) == []
    deep: Any = 1
    for _ in range(40):
        deep = [deep]
    take_in(sea.stage.context, SHIP, [sent_as(arguments={"x": deep})])
    assert requests_aboard(sea.stage.context, SHIP) == []
    take_in(sea.stage.context, SHIP, STORED)
    found = requests_aboard(sea.stage.context, SHIP)
    assert [one.row.state for one in found] == [RequestState.REFUSED] * len(STORED)
    assert all(len(one.row.says) > 20 for one in found)
    assert sea.document()[1] == version


@pytest.mark.long
def test_another_vessels_things_are_not_reached(tmp_path: Path) -> None:
    """A request for one ship that names another ship's counter or job finds nothing, at the office and aboard."""
    with staged(tmp_path) as stage:
        sea = Sea(stage)
        said = {"counter": "avocet-vp1-hours", "event": "x"}
        with pytest.raises(NotFound):
            sea.ask(RequestKind.CONFIRM_HOURS, **said)
        foreign = next(job["job"] for job in stage.due("avocet-plant", "demo-avocet").values())
        with pytest.raises(NotFound):
            sea.ask(RequestKind.SET_PART_DATE, job=foreign, from_on="2026-12-12", version=0)
        part = {"job": foreign, "from_on": "2026-12-12", "version": 0}
        take_in(
            stage.context,
            SHIP,
            [
                sent_as(number=1, what="confirm hours taken away", arguments=said),
                sent_as(number=2, what="set part date", arguments=part),
            ],
        )
        assert [one.row.state for one in requests_aboard(stage.context, SHIP)] == [RequestState.REFUSED] * 2


@pytest.mark.long
def test_whatever_comes_down_each_number_is_applied_once_and_has_one_outcome(aboard: Sea) -> None:
    """Drawn deliveries, in any order, with repetitions, in parts: after each, an outcome that was there is the same; in the end each
    number was applied at most once."""
    number = aboard.postponement()
    arguments = {"postponement": number, "granted": True}
    pool = [sent_as(number=n, arguments=arguments) for n in range(1, 4)]
    pool += [
        sent_as(
            number=n,
            what="set part date",
            arguments={"job": JOB, "from_on": f"2026-12-{n:02d}", "version": 0},
        )
        for n in range(4, 8)
    ]
    pool += [sent_as(number=n, by="Somebody Else, x", arguments=arguments) for n in range(2, 5)]
    outcomes: dict[int, tuple[Any, ...]] = {}

    @settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), database=None, derandomize=True)
    @given(st.lists(st.sampled_from(pool), max_size=6))
    def deliver(sent: list[dict[str, Any]]) -> None:
        take_in(aboard.stage.context, SHIP, sent)
        for one in requests_aboard(aboard.stage.context, SHIP):
            row = one.row
            outcome = (row.state, row.says, row.record, row.decided_at, row.fingerprint)
            assert row.state in (RequestState.DONE, RequestState.REFUSED)
            assert outcomes.setdefault(row.number, outcome) == outcome

    deliver()
    take_in(aboard.stage.context, SHIP, pool)
    states = [one.row.state for one in requests_aboard(aboard.stage.context, SHIP)]
    assert states.count(RequestState.DONE) == 2
    assert aboard.records("postponement granted") == 1
    assert aboard.records("part date") == 1
