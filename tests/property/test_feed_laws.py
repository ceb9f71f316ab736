"""Laws of the calendar feed over any run of days: what may change, when, and what never does."""

import re
from dataclasses import replace
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from api.ics.http import calendar_answer, etag_of
from api.ics.text import calendar_body, published_event, uid_for
from scheduler.domain.base.enums import JobState
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.publishing import as_published as as_shown
from scheduler.domain.feed.revision import Feed, StoredEvent, republish
from scheduler.domain.feed.stability import PlannedSlot
from tests.calendar_cases import AT, DAY, alarm_job, done_job, knife_job, posted, shown, slot, withdrawn_job

BASE = "http://plover.example"
OPEN = (JobState.AHEAD, JobState.WINDOW_OPEN, JobState.PAST_DUE, JobState.PAST_LIMIT, JobState.POSTPONED)
offsets = st.integers(-720, 840)


@st.composite
def knives(draw: st.DrawFn, pump: int) -> DueJob:
    return knife_job(
        pump,
        due_in_days=draw(st.integers(-40, 200)),
        state=draw(st.sampled_from(OPEN)),
        ran_hours=draw(st.integers(0, 1700)),
        h_per_day=draw(st.floats(0.5, 24)),
    )


@st.composite
def situations(draw: st.DrawFn) -> dict[str, object]:
    """What is due, planned, done and withdrawn on one day."""
    jobs = [draw(knives(pump)) for pump in draw(st.sets(st.integers(1, 4)))]
    if draw(st.booleans()):
        jobs.append(alarm_job(due_at=AT + draw(st.integers(-5, 60)) * DAY))
    slots: dict[str, PlannedSlot] = {}
    for job in jobs:
        if draw(st.booleans()):
            slots[job.job_id.key] = slot(draw(st.integers(0, 90)), margin=draw(st.floats(-50, 50)))
    return {
        "jobs": jobs,
        "slots": slots,
        "done": [done_job(pump=5)] if draw(st.booleans()) else [],
        "withdrawn": [withdrawn_job(pump=6)] if draw(st.booleans()) else [],
        "offset_minutes": draw(offsets),
    }


def step(
    old: dict[str, StoredEvent], situation: dict[str, object], days: float, back: timedelta = timedelta(0)
) -> dict[str, StoredEvent]:
    published = {key: event.quoted for key, event in old.items() if event.quoted is not None}
    at = AT + days * DAY
    found = shown(**situation, at=at, published=published)  # type: ignore[arg-type]
    return {
        key: published_event(old.get(key), entry, vessel_id="plover", base_url=BASE, at=at - back)
        for key, entry in found.items()
    }


def without_revision(text: str) -> str:
    return re.sub(r"(DTSTAMP|LAST-MODIFIED|SEQUENCE):[^\r]*\r\n", "", text)


def shape(text: str) -> list[str]:
    return re.findall(r"(?:DTSTART|DTEND|STATUS)[^\r]*", text)


@given(st.lists(situations(), min_size=1, max_size=5), st.timedeltas(timedelta(0), timedelta(days=2)))
def test_revisions_move_exactly_with_what_is_seen(run: list[dict[str, object]], back: timedelta) -> None:
    """Same text, same object; new date or status, SEQUENCE + 1; any change, a later LAST-MODIFIED, even if the clock
    goes back."""
    old: dict[str, StoredEvent] = {}
    for day, situation in enumerate(run):
        new = step(old, situation, day, back if day % 2 else timedelta(0))
        for key in new.keys() & old.keys():
            before, after = old[key], new[key]
            if without_revision(before.text) == without_revision(after.text):
                assert after.text == before.text
                assert after.changed_at == before.changed_at
            else:
                assert after.changed_at > before.changed_at
                assert after.sequence == before.sequence + (shape(before.text) != shape(after.text))
            assert after.created_at == before.created_at
        old = new


@given(situations(), offsets, st.floats(0, 6.9))
def test_the_same_situation_is_the_same_bytes_for_a_week_at_any_hour_and_ship_time(
    situation: dict[str, object], offset: int, days: float
) -> None:
    """Nothing in an event depends on now, and on the ship's clock alone only the words of a slot; what is done or withdrawn
    ages out whole."""
    first = step({}, situation, 0)
    assert all(one is first[key] for key, one in step(first, situation, days).items() if key in first)
    later = step(first, {**situation, "offset_minutes": offset}, days)
    slots = situation["slots"]
    assert isinstance(slots, dict)
    for key in later.keys() & first.keys():
        assert later[key] is first[key] or key in slots
        assert (later[key].sequence, later[key].starts) == (first[key].sequence, first[key].starts)


@given(st.lists(st.floats(-3, 3), min_size=1, max_size=20), st.integers(41, 150))
def test_a_forecast_that_only_trembles_moves_no_date(drifts: list[float], days_to_go: int) -> None:
    """Night after night within 3 days of the first date: the date and SEQUENCE stay, and texts change once a week."""
    kept = posted(knife_job(due_in_days=days_to_go)).new
    old = step({}, {"jobs": [knife_job(due_in_days=days_to_go)]}, 0)
    first = old["knives:P1:4"]
    texts = {first.text}
    for night, drift in enumerate(drifts, 1):
        job = knife_job(due_in_days=days_to_go + drift, ran_hours=1080 + 10 * night, as_of=AT + night * DAY)
        kept = posted(job, kept, at=AT + night * DAY).new
        old = step(old, {"jobs": [as_shown(job, kept)]}, night)
        texts.add(old["knives:P1:4"].text)
    assert (old["knives:P1:4"].starts, old["knives:P1:4"].sequence) == (first.starts, 0)
    assert len(texts) <= 1 + len(drifts) // 7


@given(situations(), situations())
def test_uids_are_unique_and_belong_to_their_occurrence_for_good(
    one: dict[str, object], other: dict[str, object]
) -> None:
    """Two occurrences never share one; a replan keeps it."""
    first = step({}, one, 0)
    for events in (first, step(first, other, 1)):
        uids = [re.search(r"\r\nUID:([^\r]*)", event.text) for event in events.values()]
        assert [uid and uid[1] for uid in uids] == [uid_for("plover", key, "job") for key in events]
        assert len({uid and uid[1] for uid in uids}) == len(events)


@given(st.lists(situations(), min_size=2, max_size=4), st.timedeltas(timedelta(days=-3), timedelta(days=3)))
def test_last_modified_of_the_feed_goes_up_with_every_new_body_and_never_back(
    run: list[dict[str, object]], skew: timedelta
) -> None:
    """Events deleted or aged out count as well; who holds the newest gets 304 and who holds another gets 200."""
    old: dict[str, StoredEvent] = {}
    feed: Feed | None = None
    for day, situation in enumerate(run):
        old = step(old, situation, day)
        if not old:
            continue
        body = calendar_body("Demo Plover", [event.text for event in old.values()])
        new = republish(feed, body, AT + day * DAY + (skew if day % 2 else timedelta(0)))
        if feed is not None:
            assert (new is feed) == (feed.body == body)
            assert new is feed or new.changed_at > feed.changed_at
            held = {"if-none-match": etag_of(feed.body)}
            assert calendar_answer(held, new.body, new.changed_at).status == (304 if feed.body == body else 200)
        feed = new


@given(situations())
def test_one_changed_job_changes_one_event(situation: dict[str, object]) -> None:
    """Every other event keeps its object, so nothing else is rendered."""
    jobs = situation["jobs"]
    assert isinstance(jobs, list)
    first = step({}, situation, 0)
    changed = [replace(job, takes_hours=9) if place == 0 else job for place, job in enumerate(jobs)]
    second = step(first, {**situation, "jobs": changed}, 0)
    moved = {key for key in second if second[key] is not first.get(key)}
    shown_keys = {jobs[0].job_id.key} & first.keys() if jobs else set()
    assert moved == shown_keys
