"""What stands in the calendar, in which words, and when it changes."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.feed.entries import CalendarContent, PumpOut, calendar_content, fleet_entry, status_entry
from scheduler.domain.feed.revision import CalendarEntry, StoredEvent, republish, revise
from scheduler.domain.feed.scope import Piece, Scope, fitting
from scheduler.domain.feed.stability import ShownFigures
from scheduler.domain.feed.words import out_entry
from scheduler.domain.vessel.job_kinds import caution_line
from scheduler.shiptime import ShipOffset
from tests.calendar_cases import (
    ALARM,
    AT,
    DAY,
    KNIVES,
    PLANT,
    VESSEL,
    alarm_job,
    done_job,
    knife_job,
    shown,
    slot,
    withdrawn_job,
)

KEY = "knives:P1:4"


def published(entries: dict[str, CalendarEntry]) -> dict[str, ShownFigures]:
    return {key: entry.quoted for key, entry in entries.items() if entry.quoted is not None}


def test_a_job_without_a_slot_stands_all_day_on_its_due_date() -> None:
    """The ship's date, with an exclusive end, tentative, taking nobody's time."""
    entry = shown([knife_job()])[KEY]
    assert (entry.starts, entry.ends) == (date(2027, 1, 4), date(2027, 1, 5))
    assert (entry.status, entry.opaque, entry.role) == ("TENTATIVE", False, "job")
    assert entry.summary == "VP1 knife"
    assert entry.categories == ("ahead", "VP1", "knife inspection")


def test_a_job_in_the_taken_plan_is_timed_and_planned() -> None:
    """Its slot gives the instants; it is confirmed and takes time; the wall time stands beside its offset."""
    entry = shown([knife_job(state=JobState.WINDOW_OPEN)], slots={KEY: slot()})[KEY]
    assert (entry.starts, entry.ends) == (AT + 30 * DAY, AT + 30 * DAY + timedelta(hours=3))
    assert (entry.status, entry.opaque) == ("CONFIRMED", True)
    assert entry.summary == "VP1 knife"
    assert "Planned 25 Dec 2026 07:00 to 25 Dec 2026 10:00 ship time (UTC+01:00)." in entry.description


@pytest.mark.parametrize(
    ("state", "title", "status"),
    [
        (JobState.AHEAD, "VP1 knife", "TENTATIVE"),
        (JobState.WINDOW_OPEN, "VP1 knife", "TENTATIVE"),
        (JobState.PAST_DUE, "VP1 knife · past due", "CONFIRMED"),
        (JobState.PAST_LIMIT, "VP1 knife · past limit", "CONFIRMED"),
        (JobState.POSTPONED, "VP1 knife", "CONFIRMED"),
        (JobState.NOT_KNOWN, "VP1 knife · last time not known", "CONFIRMED"),
    ],
)
def test_the_title_says_position_and_job_first_and_the_state_where_it_presses(
    state: JobState, title: str, status: str
) -> None:
    """The state always stands in the text and among the categories."""
    entry = shown([knife_job(state=state)])[KEY]
    assert (entry.summary, entry.status) == (title, status)
    assert entry.categories[0] == state.value
    assert entry.description.startswith(f"{state.value[:1].upper()}{state.value[1:]}, no slot.")


def test_a_past_due_job_with_a_slot_says_both() -> None:
    """A plan does not hide that the due point has passed."""
    entry = shown([knife_job(state=JobState.PAST_DUE)], slots={KEY: slot(1)})[KEY]
    assert entry.summary == "VP1 knife · past due"
    assert entry.description.startswith("Past due, planned.")


def test_a_slot_longer_than_its_work_says_why_and_one_without_cover_says_so() -> None:
    """19 hours for a job of three: the night lies in it; equal to the work nothing is said."""
    text = shown([knife_job()], slots={KEY: replace(slot(hours=19), covered=False)})[KEY].description
    assert "19 h for 3 h of work: in between are hours without hands" in text
    assert "No cover: if one more pump trips meanwhile, capacity is short." in text
    plain = shown([knife_job()], slots={KEY: slot(hours=3)})[KEY].description
    assert "h of work" not in plain
    assert "No cover" not in plain


def test_a_pump_that_is_out_stands_in_the_calendar() -> None:
    """Until plans have it back, with who said so; while nobody knows, until tomorrow; then when it was out."""
    since = AT - timedelta(hours=5)
    out = PumpOut(
        pump="P2",
        position="VP2",
        from_at=since,
        to_at=None,
        back_at=AT + 3 * DAY,
        assumed=False,
        reason="seized",
        plant="vac1",
    )

    def entry(**changed: object) -> CalendarEntry:
        return out_entry(VESSEL, PLANT, replace(out, **changed), 60, AT)  # type: ignore[arg-type]

    told = entry()
    assert (told.summary, told.starts, told.ends) == ("VP2 out, back 28 Nov", since, AT + 3 * DAY)
    assert "Reason: seized." in told.description
    assert entry(assumed=True).summary == "VP2 out, back 28 Nov?"
    assert "plans assume 14 days" in entry(assumed=True).description
    nobody = entry(back_at=None)
    assert (nobody.summary, nobody.ends) == ("VP2 out, back not known", datetime(2026, 11, 25, 23, 0, tzinfo=UTC))
    passed = entry(back_at=None, expected_at=AT - timedelta(hours=1))
    assert passed.summary == "VP2 out, back not known"
    assert "It was expected back 25 Nov 2026 06:00 ship time, which has passed" in passed.description
    over = entry(to_at=AT - timedelta(hours=1))
    assert (over.summary, over.ends) == ("VP2 was out", AT - timedelta(hours=1))
    assert entry(back_at=None, waits_for_test=True).summary == "VP2 not proved"


def test_what_is_withdrawn_or_done_of_a_kind_that_is_gone_stays_for_its_days() -> None:
    """The document has the kind, or the pump, no more; the calendar still says what became of it."""
    bare = replace(PLANT, job_kinds=(ALARM,))
    found = calendar_content(
        vessel=VESSEL,
        plants=[(bare, [])],
        slots={},
        done=[replace(done_job(), plant="vac1")],
        withdrawn=[replace(withdrawn_job(), plant="a plant that is gone")],
        offset_minutes=60,
        at=AT,
        plan_at=None,
        hours_as_of=None,
    )
    assert [entry.summary for entry in found.entries[1:]] == ["VP2 knife · done", "VP3 knife · withdrawn"]


def test_done_and_withdrawn_jobs_stay_for_their_days() -> None:
    """Done 30 days, withdrawn 14 days, cancelled; a day more and they are gone."""
    found = shown([], done=[done_job(30)], withdrawn=[withdrawn_job(14)])
    assert {(e.summary, e.status) for e in found.values()} == {
        ("VP2 knife · done", "CONFIRMED"),
        ("VP3 knife · withdrawn", "CANCELLED"),
    }
    assert shown([], done=[done_job(31)], withdrawn=[withdrawn_job(15)]) == {}


def test_open_jobs_are_shown_to_180_days_ahead() -> None:
    """By the due date, or by the slot when there is one; the past has no bound."""
    assert KEY in shown([knife_job(due_in_days=180)])
    assert KEY not in shown([knife_job(due_in_days=181)])
    assert KEY in shown([knife_job(due_in_days=190)], slots={KEY: slot(170)})
    assert KEY in shown([knife_job(due_in_days=-400, state=JobState.PAST_LIMIT)])


def test_the_description_carries_the_figures_and_the_caution() -> None:
    """Hours and their date, due, limit, rate, early to late, length, margin, caution, job number."""
    text = shown([knife_job()], slots={KEY: slot()})[KEY].description
    for line in (
        "Running hours: 1080 at Wed 25 Nov 2026; 420 running\u00a0h to go.",
        "Due: 1500 running h, about Mon 4 Jan 2027.",
        "Limit: 1550 running h, about Sat 9 Jan 2027.",
        "At 10.5 h a day (last 28 days): early Thu 31 Dec 2026, late Wed 13 Jan 2027.",
        "Takes: 3 h, 2 persons, pump out.",
        "Least margin while open: 12.4 m3/h above the minimum (calculated).",
        caution_line(KNIVES),
        "Job no. knives:P1:4.",
    ):
        assert line in text.splitlines()


def test_a_plants_job_names_the_plant_and_its_own_caution() -> None:
    """No position, no hours: due by calendar, with the caution of work that takes no pump out."""
    entry = shown([alarm_job()])["alarm:vac1:9"]
    assert entry.summary == "Alarm test"
    assert entry.location == "Demo Plover, Vacuum plant 1"
    assert "Due: Mon 7 Dec 2026 by calendar." in entry.description
    assert caution_line(ALARM) in entry.description


def test_a_margin_below_the_minimum_is_said_to_be_below() -> None:
    """The sign is a word, not a minus somebody overlooks."""
    assert "3.0 m3/h below the minimum" in shown([knife_job()], slots={KEY: slot(margin=-3.0)})[KEY].description


def test_a_long_title_is_cut_to_25_letters_on_one_line() -> None:
    """Whatever the job kind is called; the state stands behind it."""
    for name in ("very\nlong " * 40, "v" * 400):
        entry = shown([replace(knife_job(state=JobState.PAST_DUE), kind_name=name)])[KEY]
        assert len(entry.summary.partition(" · ")[0]) <= 25
        assert entry.summary.endswith(" · past due")
        assert "\n" not in entry.summary


def later(job: DueJob, days: float, **changes: object) -> dict[str, CalendarEntry]:
    """`job` as shown first, then again some days on with what was published handed back."""
    first = shown([job])
    moved = replace(job, **changes)  # type: ignore[arg-type]
    return shown([moved], at=AT + days * DAY, published=published(first))


def test_figures_that_drift_a_little_change_nothing() -> None:
    """New hours and a new rate: the entry is equal, letter for letter, for a week."""
    job = knife_job()
    drifted = knife_job(ran_hours=1140, as_of=AT + 6 * DAY, h_per_day=9.3)
    again = shown([drifted], at=AT + 6 * DAY, published=published(shown([job])))
    assert again == shown([job])


def test_figures_a_week_old_are_quoted_anew_while_the_date_stays() -> None:
    """Only the description moves."""
    job = knife_job()
    drifted = knife_job(ran_hours=1150, as_of=AT + 7 * DAY)
    first, again = shown([job])[KEY], shown([drifted], at=AT + 7 * DAY, published=published(shown([job])))[KEY]
    assert (again.starts, again.summary) == (first.starts, first.summary)
    assert "Running hours: 1150 at Wed 2 Dec 2026; 350 running\u00a0h to go." in again.description


def test_a_calendar_point_moves_at_once_and_a_clock_change_never_moves_it() -> None:
    """A change of interval is a decision, shown the same day; ship time from +14 to -12 h leaves the date."""
    job = alarm_job()
    first = shown([job], offset_minutes=180)
    for offset in (-720, -300, 0, 840):
        assert shown([job], offset_minutes=offset, published=published(first)) == first
    moved = alarm_job(due_at=AT + 14 * DAY)
    again = shown([moved], offset_minutes=180, published=published(first))["alarm:vac1:9"]
    assert again.starts == date(2026, 12, 9)


def test_a_calendar_point_that_comes_to_be_first_is_shown_to_the_day() -> None:
    """The trigger turns from hours to calendar: no 7 days of grace for a date that is certain."""
    job = replace(knife_job(), calendar_due_at=AT + 43 * DAY)
    turned = replace(job, due_at=AT + 43 * DAY, trigger=Trigger.CALENDAR)
    again = shown([turned], published=published(shown([job])))[KEY]
    assert again.starts == date(2027, 1, 7)
    assert "Due: Thu 7 Jan 2027 by calendar." in again.description


def test_a_clock_change_words_a_timed_event_anew_and_moves_nothing() -> None:
    """Its instants stay; the wall time in its words is that of the ship's clock on that day."""
    job = knife_job()
    first = shown([job], slots={KEY: slot()})
    after = shown([job], slots={KEY: slot()}, offset_minutes=-300, published=published(first))
    assert (after[KEY].starts, after[KEY].ends, after[KEY].status) == (
        first[KEY].starts,
        first[KEY].ends,
        first[KEY].status,
    )
    assert "Planned 25 Dec 2026 01:00 to 25 Dec 2026 04:00 ship time (UTC-05:00)." in after[KEY].description
    coming = ShipOffset(60, [(slot().start_at + timedelta(hours=1), -300)])
    across = shown([job], slots={KEY: slot()}, offset_minutes=coming, published=published(first))
    assert "Planned 25 Dec 2026 07:00 to 25 Dec 2026 04:00 ship time (UTC+01:00)." in across[KEY].description
    past = ShipOffset(60, [(slot().end_at + timedelta(hours=1), -300)])
    assert shown([job], slots={KEY: slot()}, offset_minutes=past, published=published(first)) == first


def test_an_unplanned_job_is_not_worded_anew_by_a_clock_change() -> None:
    """Its dates are those it was quoted with."""
    first = shown([knife_job()])
    assert shown([knife_job()], offset_minutes=-300, published=published(first)) == first


def test_a_planned_job_moved_after_a_clock_change_is_in_the_clock_of_its_day() -> None:
    """As any other."""
    job = knife_job()
    first = shown([job], slots={KEY: slot()})
    moved = shown([job], slots={KEY: slot(31)}, offset_minutes=-300, published=published(first))[KEY]
    assert "25 Dec 2026 01:00" not in moved.description
    assert "Planned 26 Dec 2026 01:00 to 26 Dec 2026 04:00 ship time (UTC-05:00)." in moved.description


@pytest.mark.parametrize(
    "change",
    [
        {"due_running_seconds": 1600 * 3600},
        {"limit_running_seconds": 1560 * 3600},
        {"postponed_to": AT + 70 * DAY},
        {"estimated": True},
        {"kind_name": "knife check"},
        {"takes_hours": 4},
        {"position": "VP7"},
        {"renewed_by": "overhaul:P1:1"},
    ],
)
def test_what_a_reader_acts_on_shows_at_once(change: dict[str, object]) -> None:
    """A due figure, a limit, a postponement, an estimate, the job's own words: no waiting for a week."""
    assert later(knife_job(), 0, **change) != shown([knife_job()])


def test_quoted_figures_survive_being_kept_as_text() -> None:
    """What was kept is the very value again."""
    for job in (knife_job(), alarm_job()):
        for entry in shown([job]).values():
            assert entry.quoted is not None
            assert ShownFigures.read(entry.quoted.text()) == entry.quoted


def test_figures_kept_by_an_older_program_are_read() -> None:
    """Members it had and this one has not are left aside; what it had not is told anew."""
    quoted = shown([knife_job()])[KEY].quoted
    assert quoted is not None
    old = quoted.text().replace('"instants":', '"due_by":"x","limit_by":"y","was":')
    assert ShownFigures.read(old) == replace(quoted, instants=())


def test_what_does_not_fit_is_left_out_from_the_far_end_and_counted() -> None:
    """999 jobs and the status; the past-due one stays though it came last; the status says how many are missing."""
    jobs = [knife_job(sequence=n, due_in_days=1 + n / 10) for n in range(1, 1200)]
    jobs.append(knife_job(pump=2, due_in_days=-90, state=JobState.PAST_LIMIT))
    found = whole(jobs)
    assert len(found.entries) == 1000
    assert found.left_out == 201
    assert any(entry.key == "knives:P2:4" for entry in found.entries)
    assert "201 more jobs did not fit" in found.entries[0].description


def whole(jobs: list[DueJob], plan_at: datetime | None = AT) -> CalendarContent:
    return calendar_content(
        vessel=VESSEL,
        plants=[(PLANT, jobs)],
        slots={},
        done=[],
        withdrawn=[],
        offset_minutes=60,
        at=AT + timedelta(hours=5),
        plan_at=plan_at,
        hours_as_of=AT - timedelta(hours=30),
    )


def test_the_plan_status_is_never_missing() -> None:
    """Without a job and without a plan there is still one entry, and it says so."""
    only = whole([], None).entries
    assert [entry.summary for entry in only] == ["No plan yet - nothing due"]


def test_the_plan_status_counts_states_and_says_how_old_the_counters_are() -> None:
    """Only open turns count; days alone are told, so it does not change by the hour, nor with every reading."""
    jobs = [
        knife_job(1, state=JobState.PAST_LIMIT),
        knife_job(2, state=JobState.WINDOW_OPEN),
        knife_job(3, state=JobState.WINDOW_OPEN),
        knife_job(4, state=JobState.WINDOW_OPEN, first=False),
    ]
    entry = whole(jobs).entries[0]
    assert entry.summary == "Plan as of 25 Nov 2026 07:00 ship time - 1 past limit - 2 in window"
    assert entry.starts == date(2026, 11, 25)
    assert "Counters: all read within the last two days." in entry.description
    assert "The calendar was last written on Wed 25 Nov 2026." in entry.description

    def later(at: datetime) -> CalendarEntry:
        as_of = AT - timedelta(hours=30)
        return status_entry(vessel=VESSEL, jobs=jobs, plan_at=AT, hours_as_of=as_of, offset_minutes=60, at=at)

    midnight = datetime(2026, 11, 25, 23, 0, tzinfo=UTC)  # aboard
    assert later(midnight - timedelta(seconds=1)) == entry
    assert "The calendar was last written on Thu 26 Nov 2026." in later(midnight).description
    assert "Counters: the oldest of the latest readings is of Tue 24 Nov 2026." in later(midnight).description


def test_the_plan_status_names_what_is_silent_out_and_uncovered() -> None:
    """And when the plan was taken, apart from when the calendar was written."""
    out = PumpOut(
        pump="P2", position="VP2", from_at=AT, to_at=None, back_at=None, assumed=False, reason="", plant="vac1"
    )
    entry = calendar_content(
        vessel=VESSEL,
        plants=[(PLANT, [knife_job()])],
        slots={KEY: replace(slot(), covered=False)},
        done=[],
        withdrawn=[],
        offset_minutes=60,
        at=AT + 3 * DAY,
        plan_at=AT,
        hours_as_of=AT,
        out=[out],
        silent=[("VP3", AT - DAY), ("VP4", None)],
        taken_at=AT + DAY,
    ).entries[0]
    assert entry.summary == "Plan as of 25 Nov 2026 07:00 ship time - 1 pump out"
    for line in (
        "No cover while these are open, should one more pump trip: VP1 knife.",
        "Silent: the counter of VP3, since 24 Nov 2026 07:00 ship time.",
        "Silent: the counter of VP4, never read.",
        "The calendar was last written on Sat 28 Nov 2026. The plan was taken 26 Nov 2026 07:00 ship time.",
    ):
        assert line in entry.description.splitlines()


def stored(entry: CalendarEntry, content: str = "a", at: datetime = AT) -> StoredEvent:
    return revise(None, entry, content, at)


def test_an_unchanged_event_is_the_very_same_object() -> None:
    """Whatever the hour."""
    entry = shown([knife_job()])[KEY]
    old = stored(entry)
    assert revise(old, entry, "a", AT + DAY) is old


def test_a_new_text_moves_only_the_time_of_change() -> None:
    """SEQUENCE stays, CREATED stays."""
    entry = shown([knife_job()])[KEY]
    new = revise(stored(entry), entry, "b", AT + DAY)
    assert (new.sequence, new.changed_at, new.created_at) == (0, AT + DAY, AT)


@pytest.mark.parametrize("change", [{"starts": date(2027, 1, 3)}, {"ends": date(2027, 1, 9)}, {"status": "CONFIRMED"}])
def test_a_new_date_or_status_raises_the_sequence_by_one(change: dict[str, object]) -> None:
    """RFC 5546 2.1.4."""
    entry = shown([knife_job()])[KEY]
    new = revise(stored(entry), replace(entry, **change), "b", AT + DAY)  # type: ignore[arg-type]
    assert new.sequence == 1


def test_the_time_of_change_never_goes_back() -> None:
    """A clock put back an hour still gives a later second."""
    entry = shown([knife_job()])[KEY]
    old = stored(entry)
    assert revise(old, entry, "b", AT - timedelta(hours=1)).changed_at == AT + timedelta(seconds=1)
    feed = republish(None, b"one", AT)
    assert republish(feed, b"one", AT + DAY) is feed
    assert republish(feed, b"two", AT - DAY).changed_at == AT + timedelta(seconds=1)


def test_an_event_survives_being_kept_in_columns() -> None:
    """Mark, text and numbers give the same event back."""
    event = replace(stored(shown([knife_job()])[KEY]), text="BEGIN:VEVENT")
    back = StoredEvent.kept(
        key=event.key,
        role=event.role,
        mark=event.mark(),
        text=event.text,
        sequence=event.sequence,
        created_at=event.created_at.astimezone(UTC),
        changed_at=event.changed_at,
    )
    assert back == event


def test_a_calendar_of_many_vessels_is_cut_by_what_matters_least_now_and_says_so() -> None:
    """By number and by size: past due first, then open jobs by date, then what was done last."""
    pieces = [Piece(state="ahead", starts_s=n, key=f"a{n}", text="x" * 10) for n in range(100)]
    pieces += [Piece(state="done", starts_s=-n, key=f"d{n}", text="x" * 10) for n in range(1, 30)]
    pieces.append(Piece(state="past limit", starts_s=500, key="late", text="x" * 10))
    kept, left_out = fitting(pieces, most=50)
    assert (len(kept), left_out) == (50, 80)
    assert {one.key for one in kept} == {"late", *(f"a{n}" for n in range(49))}
    assert list(kept) == sorted(kept, key=lambda one: one.starts_s)
    small, rest = fitting(pieces, octets=105)
    assert (len(small), rest) == (10, 120)
    assert fitting(pieces) == (tuple(sorted(pieces, key=lambda one: (one.starts_s, one.key))), 0)
    entry = fleet_entry(on=date(2026, 11, 25), vessels=3, states={"past limit": 1, "ahead": 1}, left_out=1)
    assert entry.summary == "Fleet of 3 vessels - 1 past limit - 1 left out"
    assert "1 of 2 jobs did not fit" in entry.description


def test_a_scope_keeps_the_kinds_it_names() -> None:
    """None named: all."""
    assert Scope(vessel_id="v", kinds=("a",)).takes("a:x:1")
    assert not Scope(vessel_id="v", kinds=("a",)).takes("ab:x:1")
    assert Scope(vessel_id="v").takes("ab:x:1")
