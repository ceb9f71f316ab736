"""Safety rules are whole: through every door, every job and every person of one pump."""

from datetime import timedelta
from typing import Any

import pytest
from httpx2 import Response

from scheduler.domain.base.enums import Role
from tests.acts import GOOD_GAS, PROVED, back, isolated, opened, tagged
from tests.api.stage import AT, Stage, stamp

KNIFE = "knife_inspection:plover-pump-b-knives:1"
SEAL = "seal_inspection:plover-pump-b-seal:1"
PUMP = "/api/v1/pumps/plover-pump-b"
WHOLE, PROVISIONAL = 71.0, 56.8


def act(stage: Stage, minutes: int, kind: str, *, job: str = KNIFE, fact: bool = False, **told: Any) -> Response:
    at = AT + timedelta(minutes=minutes)
    stage.clock.at = max(stage.clock.at, at)
    step = {"kind": kind, "at": stamp(at), "by": told.pop("by", "A. Second"), **told}
    return stage.ask("POST", f"/api/v1/jobs/{job}/steps", json={"step": step, "fact": fact})


def worked(stage: Stage, *acts: Any) -> None:
    for minutes, kind, told in acts:
        answer = act(stage, minutes, kind, **told)
        assert answer.status_code == 201, (kind, answer.text)
        assert answer.json()["flags"] == [], (kind, answer.json()["flags"])


def counts(stage: Stage) -> float:
    plant = stage.ask("GET", "/api/v1/plants/plover-plant").json()
    found: float = next(p for p in plant["pumps"] if p["pump"] == "plover-pump-b")["counts_for_swept_m3_per_h"]
    return found


def down(stage: Stage, door: str = "down", minutes: int = 0) -> None:
    stage.clock.at = AT + timedelta(minutes=minutes)
    answer = stage.ask("POST", f"{PUMP}/{door}", json={"at": stamp(stage.clock.at), "reason": "burst"})
    assert answer.status_code in (200, 201), answer.text


@pytest.mark.long
def test_a_test_told_in_another_job_does_not_bring_an_open_pump_back(fresh: Stage) -> None:
    """Nor does one after a breakdown: only what put it out brings it back; as a fact neither."""
    worked(fresh, *opened())
    for fact in (False, True):
        assert act(fresh, 20, "tested", job=SEAL, fact=fact, **PROVED).status_code == 409
        assert act(fresh, 20, "returned", job=SEAL, fact=fact).status_code == 409
    assert counts(fresh) == 0


@pytest.mark.parametrize("door", ["down", "breakdowns"])
def test_a_pump_that_is_out_is_not_proved_by_a_job_that_never_took_it_out(fresh: Stage, door: str) -> None:
    """By its acts; and a close without a test does not bring back what broke down."""
    down(fresh, door)
    assert act(fresh, 20, "tested", fact=True, **PROVED).status_code == 409
    assert counts(fresh) == 0
    if door == "breakdowns":
        assert fresh.close(KNIFE, test="none", from_paper=True).status_code == 200
        assert counts(fresh) == 0


@pytest.mark.long
def test_nothing_runs_after_all_with_locks_on_it(fresh: Stage) -> None:
    """Whatever job they were hung in."""
    worked(fresh, *opened())
    down(fresh, "breakdowns", 13)
    answer = fresh.ask("POST", f"{PUMP}/runs-after-all", json={"at": stamp(AT + timedelta(minutes=14))})
    assert answer.status_code == 409
    assert "A tag hangs" in answer.json()["detail"]
    assert counts(fresh) == 0


@pytest.mark.long
@pytest.mark.parametrize("test", [{"result": "failed", "text": "slow"}, {**PROVED, "pull_down_seconds": 61}])
def test_a_close_does_not_overrule_the_test_on_record(fresh: Stage, test: dict[str, Any]) -> None:
    """A failed one, one slower than its limit by a second: the job is closed with the test that passed, as an entry of its own."""
    worked(fresh, *opened(), *back())
    assert act(fresh, 60, "tested", fact=True, **test).status_code == 201
    before = counts(fresh)
    act(fresh, 62, "permit closed", number="CW-7")
    answer = fresh.close(KNIFE, done_at=stamp(AT + timedelta(minutes=62)), done_by="A. Second", test="passed")
    assert answer.status_code == 409, answer.text
    assert counts(fresh) == before < WHOLE


def test_a_struck_test_leaves_the_pump_not_proved(fresh: Stage) -> None:
    """Failed, then struck: returned, not proved, in the answer and in the plant; no test stands that nobody made."""
    assert act(fresh, 1, "tested", result="failed").status_code == 201
    struck = act(fresh, 2, "entry struck", number=1)
    assert struck.status_code == 201, struck.text
    assert struck.json()["pump_counts"] == "provisionally"
    assert counts(fresh) == PROVISIONAL


@pytest.mark.long
def test_a_close_is_not_struck_once_somebody_acted_on_it(fresh: Stage) -> None:
    """The pump was put out since, or locked in another job."""
    assert fresh.close(KNIFE, from_paper=True).status_code == 200
    down(fresh, "down", 3)
    answer = fresh.ask("POST", f"/api/v1/jobs/{KNIFE}/close/strike", json={})
    assert answer.status_code == 409
    assert counts(fresh) == 0


def test_a_lock_that_is_not_known_to_be_off_keeps_the_pump_out(fresh: Stage) -> None:
    """Struck, and not looked at: it comes back by no door."""
    worked(fresh, *isolated()[:5])
    assert act(fresh, 6, "entry struck", number=5).status_code == 201
    answer = fresh.ask(
        "POST", f"{PUMP}/back", json={"at": stamp(AT + timedelta(minutes=6)), "test": "passed", "reason": "x"}
    )
    assert answer.status_code == 409
    assert "Go and look" in answer.json()["detail"]
    assert counts(fresh) == 0


@pytest.mark.parametrize(("minutes", "status"), [(24 * 60, 201), (24 * 60 + 1, 409)])
@pytest.mark.long
def test_a_permit_without_an_end_holds_for_a_day(fresh: Stage, minutes: int, status: int) -> None:
    """To the minute."""
    at = 24 * 60
    worked(fresh, *isolated(at=at)[:1])
    fresh.clock.at = AT + timedelta(minutes=at)
    worked(fresh, *isolated("x", at=at + minutes - 5)[1:4])
    assert act(fresh, at + minutes, "tag placed", **tagged("supply breaker")).status_code == status


@pytest.mark.long
def test_gas_at_the_cover_is_read_after_the_vacuum_is_let_out(fresh: Stage) -> None:
    """Before it the cover cannot have been slackened; what was told before the locks is told again before the start."""
    acts = isolated()
    worked(
        fresh,
        *acts[:4],
        (4, "people told", {"names": "bridge"}),
        (4, "started locally", {"no_leak": True, "turns_right": True}),
    )
    worked(fresh, (4, "gas checked", {"place": "slackened cover", **GOOD_GAS}), *acts[4:])
    answer = act(fresh, 12, "opened")
    assert answer.status_code == 409
    assert [one["code"] for one in answer.json()["objections"]] == ["no gas check"]
    worked(fresh, (12, "gas checked", {"place": "slackened cover", **GOOD_GAS}), (13, "opened", {}))
    worked(fresh, *[one for one in back() if one[1] not in ("people told", "started locally", "returned")])
    codes = {one["code"] for one in act(fresh, 56, "returned").json()["objections"]}
    assert codes == {"nobody told", "not started locally"}


@pytest.mark.long
def test_after_a_failed_test_it_is_started_locally_again(fresh: Stage) -> None:
    """Nothing of before the failure serves for the return after it."""
    worked(fresh, *opened(), *back())
    assert act(fresh, 60, "tested", result="failed").status_code == 201
    assert act(fresh, 61, "returned").status_code == 409


@pytest.mark.long
def test_a_measure_has_the_limits_of_the_sheet_whatever_was_sent(fresh: Stage) -> None:
    """Sent without, or with wider ones: out of limit all the same."""
    worked(fresh, *opened())
    name = next(one for one in fresh.ask("GET", f"/api/v1/jobs/{KNIFE}").json()["measures"] if one["high"] is not None)
    told = {"about": "measure", "name": name["name"], "value": name["high"] + 1, "high": 10**6}
    answer = act(fresh, 20, "noted", **told)
    assert answer.status_code == 201, answer.text
    kept = answer.json()["steps"][-1]
    assert (kept["high"], kept["unit"]) == (name["high"], name["unit"])


@pytest.mark.long
def test_who_worked_on_a_job_does_not_check_it(fresh: Stage) -> None:
    """Whoever it was closed for."""
    for minutes, kind, told in (*opened(), *back()):
        assert act(fresh, minutes, kind, by="Demo chief", **told).status_code == 201
    act(fresh, 60, "tested", by="Demo chief", **PROVED)
    act(fresh, 62, "permit closed", by="Demo chief", number="CW-7")
    done = fresh.close(KNIFE, done_at=stamp(AT + timedelta(minutes=62)), done_by="B. Wiper", test="none")
    assert done.status_code == 200, done.text
    browser = fresh.enter("chief-plover")
    page = browser.get(f"/vessels/demo-plover/jobs/{KNIFE}").text
    token = page.split('name="csrf" value="')[1].split('"')[0]
    signed = browser.post(f"/vessels/demo-plover/jobs/{KNIFE}/check", data={"csrf": token, "idempotency_key": "c1"})
    assert signed.status_code == 403
    assert "worked on it" in signed.text


@pytest.mark.parametrize("number", [10**400, -1, 10**9])
@pytest.mark.long
def test_an_entry_that_is_not_there_is_not_struck(fresh: Stage, number: int) -> None:
    """However large its number."""
    assert act(fresh, 1, "entry struck", number=number).status_code in (409, 422)


def test_who_asked_for_a_lower_minimum_signs_for_no_side(fresh: Stage) -> None:
    """Neither the chief engineer's nor the second: that is signed by who is what the ship names."""
    asked = {
        "from_at": stamp(AT),
        "to_at": stamp(AT + timedelta(days=1)),
        "minimum_swept_m3_per_h": 40,
        "reason": "few",
    }
    number = fresh.ask("POST", "/api/v1/plants/plover-plant/concessions", json=asked).json()["concession"]
    sign = f"/api/v1/plants/plover-plant/concessions/{number}/signature"
    assert fresh.ask("POST", sign, json={"as": "hotel"}).status_code == 403
    assert fresh.ask("POST", sign, role=Role.HOTEL, json={"as": "hotel"}).status_code == 200
    assert fresh.ask("POST", sign, role=Role.CHIEF, json={"as": "chief"}).status_code == 200


def test_points_without_roles_are_refused(fresh: Stage) -> None:
    """A supply, a suction and a discharge each: proofs hang on them."""
    document, etag = fresh.document()
    document["plants"][0]["isolation_points"] = ["main breaker", "suction cock", "delivery cock"]
    answer = fresh.ask(
        "PUT", "/api/v1/vessels/demo-plover", role=Role.OFFICE, json=document, headers={"If-Match": etag}
    )
    assert answer.status_code == 422
    assert "/plants/0/isolation_points" in [one["pointer"] for one in answer.json()["errors"]]


@pytest.mark.long
@pytest.mark.parametrize("point", ["supply breaker", "suction valve", "flushing or seal water"])
def test_an_act_told_late_is_judged_against_what_it_comes_before(fresh: Stage, point: str) -> None:
    """A lock said to be off before the pump was opened: refused, and as a fact kept with the act that rests on it."""
    worked(fresh, *opened())
    late = {"point": point}
    asked = act(fresh, 11, "tag removed", **late)
    assert asked.status_code == 409, asked.text
    kept = act(fresh, 11, "tag removed", fact=True, **late)
    assert kept.status_code == 201, kept.text
    grounds = [one for one in kept.json()["against"] if one["code"] == "takes away what a later act rests on"]
    assert {one["act"] for one in grounds} >= {"opened"}
    assert any("rests on what this takes away" in says for says in kept.json()["flags"])


@pytest.mark.long
def test_a_late_act_that_adds_to_what_was_done_is_taken(fresh: Stage) -> None:
    """Opened as a fact without gas, then the gas that was read before it: nothing is taken away."""
    worked(fresh, *isolated())
    assert act(fresh, 12, "opened", fact=True).status_code == 201
    worked(fresh, (11, "gas checked", {"place": "slackened cover", **GOOD_GAS}))
    bad = act(fresh, 11, "gas checked", place="slackened cover", fact=True, **{**GOOD_GAS, "h2s_ppm": 50})
    assert "opened" in {one.get("act") for one in bad.json()["against"]}


@pytest.mark.long
def test_a_returned_pump_is_not_isolated_again_below_the_minimum(fresh: Stage) -> None:
    """Not proved, it still carries: with the others out, the first lock of a new round is asked of the minimum."""
    worked(fresh, *opened(), *back())
    assert counts(fresh) == PROVISIONAL
    for other in ("a", "c"):
        told = {"at": stamp(fresh.clock.at), "reason": "burst"}
        assert fresh.ask("POST", f"/api/v1/pumps/plover-pump-{other}/down", json=told).status_code == 200
    worked(fresh, *isolated("CW-8", at=70)[:4])
    answer = act(fresh, 75, "tag placed", **tagged("supply breaker"))
    assert answer.status_code == 409, answer.text
    assert "below minimum" in {one["code"] for one in answer.json()["objections"]}


@pytest.mark.long
def test_a_close_names_the_opening_that_was_never_recorded(fresh: Stage) -> None:
    """All acts but that one: named, and opened as a non-conformity."""
    worked(fresh, *isolated(), (11, "gas checked", {"place": "slackened cover", **GOOD_GAS}), *back())
    worked(fresh, (60, "tested", PROVED), (62, "permit closed", {"number": "CW-7"}))
    done = fresh.close(KNIFE, done_at=stamp(AT + timedelta(minutes=62)), done_by="A. Second", test="none")
    assert done.status_code == 200, done.text
    assert "Never recorded: opened" in done.json()["flags"][0]
    listed = fresh.ask("GET", "/api/v1/vessels/demo-plover/non-conformities").json()["non_conformities"]
    assert [one["about"] for one in listed if one["job"] == KNIFE] == ["closing the job"]


@pytest.mark.long
def test_a_close_is_not_struck_once_the_pump_was_locked_in_another_job(fresh: Stage) -> None:
    """Its lock stays what it is."""
    assert fresh.close(KNIFE, from_paper=True).status_code == 200
    for minutes, kind, told in isolated(at=3)[:5]:
        assert act(fresh, minutes, kind, job=SEAL, fact=True, **told).status_code == 201
    assert fresh.ask("POST", f"/api/v1/jobs/{KNIFE}/close/strike", json={}).status_code == 409
    assert counts(fresh) == 0


@pytest.mark.long
def test_work_stops_for_its_permit_also_where_the_opening_was_struck(fresh: Stage) -> None:
    """Nobody knows then whether the pump is open: the permit that ran out and the old gas are said all the same."""
    acts = isolated()
    acts[0] = (
        0,
        "permit issued",
        {"number": "CW-7", "issued_by": "A. Chief", "valid_to": stamp(AT + timedelta(minutes=30))},
    )
    worked(fresh, *acts, *opened()[-2:])
    assert act(fresh, 13, "entry struck", number=len(acts) + 2).status_code == 201
    fresh.clock.at = AT + timedelta(minutes=31)
    told = fresh.ask("GET", f"/api/v1/jobs/{KNIFE}/work").json()
    assert any("permit" in one.casefold() for one in told["stop_work"]), told["stop_work"]
