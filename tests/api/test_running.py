"""What the server says of itself: readiness to anybody and with names, and figures without any."""

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from scheduler.actions.base.pending import PLAN, ask_plan, plan_made, plan_number
from scheduler.actions.feed import refresh
from scheduler.storage.hours.intake import Intake
from scheduler.timers import TimerState
from tests.api.stage import Stage

PLANT = "plover-plant"


def ready(stage: Stage, verbose: bool = False) -> dict:
    """What readiness says, to somebody with a key where it is asked for names."""
    answer = stage.ask("GET", "/readyz?verbose" if verbose else "/readyz", role="engineer" if verbose else None)
    assert answer.status_code == 200
    return dict(answer.json())


def test_names_and_figures_of_readiness_need_a_key(stage: Stage) -> None:
    """Nobody learns how many ships there are, or which database; a counter's key is not enough."""
    assert ready(stage) == {"ready": True, "checks": {}, "remarks": []}
    assert ready(stage, verbose=True)["checks"]["vessels"] >= 1
    assert stage.ask("GET", "/readyz?verbose", role=None).status_code == 401
    assert stage.ask("GET", "/readyz?verbose=0", role="counter").status_code == 403
    assert stage.ask("GET", "/metrics", role=None).status_code == 401


def test_a_calendar_that_cannot_be_written_is_said_until_it_can(fresh: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """To anybody that there is one, with a key whose; still ready, since the last good one is served."""
    renew = fresh.client.app.state.refresh  # type: ignore[attr-defined]
    with monkeypatch.context() as patch:
        patch.setattr(refresh, "write_vessel", lambda *_: 1 / 0)
        assert not renew("demo-plover")
    assert ready(fresh)["remarks"] == ["One calendar could not be written; the last good one is served."]
    (named,) = ready(fresh, verbose=True)["remarks"]
    assert named.startswith("The calendar of Demo Plover could not be written; the last good one is served. ")
    assert 'leadline_failed{about="calendar failed"} 1.0' in metrics(fresh).text
    assert renew("demo-plover")
    assert ready(fresh)["remarks"] == []


def test_a_plan_that_cannot_be_made_is_said_until_one_is(fresh: Stage) -> None:
    """The newest attempt of a plant counts: made since, nothing is said any more; twice failed is one thing."""
    context = fresh.client.app.state.context  # type: ignore[attr-defined]

    def attempt(outcome: str) -> None:
        with context.db.write("demo-plover") as session:
            ask_plan(session, "demo-plover", PLANT, context.now())
            number = plan_number(session, "demo-plover", PLANT)
            plan_made(session, "demo-plover", PLANT, number, context.now(), outcome)

    attempt("failed: no memory")
    attempt("failed: no memory")
    assert ready(fresh)["remarks"] == ["The plan of one plant could not be made; the one before it stays."]
    (named,) = ready(fresh, verbose=True)["remarks"]
    assert "The plan of " in named
    assert PLANT not in named
    assert "no memory" not in named
    attempt("done")
    assert ready(fresh)["remarks"] == []
    assert f"{PLAN} {PLANT}" not in named


def metrics(stage: Stage) -> httpx.Response:
    """The figures, as an engineer's key gets them."""
    answer = stage.ask("GET", "/metrics", role="engineer")
    assert answer.status_code == 200
    return answer


def test_figures_count_requests_by_route_and_never_by_path(fresh: Stage) -> None:
    """A route's template, a status, a method of HTTP; an unknown address and an odd method are one word each."""
    for path in (
        "/livez",
        "/livez",
        f"/plants/{PLANT}",
        "/cal/ll-secret-address/plan.ics",
        "/no/such/ll_secret",
        "/static/app.css",
    ):
        fresh.ask("GET", path, role=None)
    fresh.client.request("BREW", "/livez")
    answer = metrics(fresh)
    assert answer.headers["content-type"].startswith("text/plain; version=")
    found = {one.name: one for one in text_string_to_metric_families(answer.text)}
    counted = {
        tuple(one.labels.values()): one.value
        for one in found["leadline_requests"].samples
        if one.name.endswith("_total")
    }
    assert counted["GET", "/livez", "200"] == 2
    assert counted["other", "/livez", "405"] == 1
    assert counted["GET", "/plants/{plant_id}", "401"] == 1
    assert counted["GET", "none", "404"] >= 1
    assert counted["GET", "/static", "200"] == 1
    assert any(route.startswith("/cal/{token}") for _, route, _ in counted)
    (whole,) = [
        one.value
        for one in found["leadline_request_seconds"].samples
        if one.labels == {"method": "GET", "route": "/livez", "le": "+Inf"}
    ]
    assert whole == 2
    for name in (
        "process_resident_memory_bytes",
        "leadline_intake_stored",
        "leadline_database_free_bytes",
        "leadline_ready",
    ):
        assert name in found
    for secret in ("secret", PLANT, "plover", "Plover", "ll_"):
        assert secret not in answer.text


def test_each_application_counts_for_itself(fresh: Stage, stage: Stage) -> None:
    """No figure of one server stands in another's of the same process."""
    before = metrics(stage).text.count("/livez")
    fresh.ask("GET", "/livez", role=None)
    assert metrics(stage).text.count("/livez") == before


def test_the_other_form_is_given_where_it_is_asked_for(fresh: Stage) -> None:
    """OpenMetrics by Accept; it ends with its own last line."""
    answer = fresh.ask("GET", "/metrics", role="engineer", headers={"Accept": "application/openmetrics-text"})
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    assert answer.text.endswith("# EOF\n")


def test_timers_stand_among_the_figures(fresh: Stage) -> None:
    """Turns that ended well and that failed, by the timer's name; whether the last one failed."""

    class Ticks:
        """Two timers, one of which fails."""

        def state(self) -> list[TimerState]:
            """As a server's own."""
            return [
                TimerState("keep up", done=3, last_good_at=fresh.clock.at),
                TimerState("nightly round", failures=2, failing="x"),
            ]

        def trouble(self) -> dict[str, str]:
            """As a server's own."""
            return {"nightly round": "RuntimeError: no"}

    app = fresh.client.app
    app.state.timers, before = Ticks(), app.state.timers  # type: ignore[attr-defined]
    try:
        text = metrics(fresh).text
        assert 'leadline_timer_turns_total{timer="keep up"} 3.0' in text
        assert 'leadline_timer_failures_total{timer="nightly round"} 2.0' in text
        assert 'leadline_timer_failing{timer="nightly round"} 1.0' in text
        assert 'leadline_timer_failing{timer="keep up"} 0.0' in text
        assert ready(fresh)["remarks"] == ["One timer of the server failed at its last turn."]
        assert "“nightly round”" in ready(fresh, verbose=True)["remarks"][0]
    finally:
        app.state.timers = before  # type: ignore[attr-defined]


def test_the_writer_is_alive_while_it_has_something_to_do(fresh: Stage) -> None:
    """Started or stopped it is well; before its start, or had its thread ended, the watchdog would get no sign."""
    context = fresh.client.app.state.context  # type: ignore[attr-defined]
    intake = Intake(context.db, context.clock)
    assert not intake.alive()
    with intake:
        assert intake.alive()
    assert intake.alive()
