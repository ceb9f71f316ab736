"""Every fact has its sentence, and no sentence that a ship's person reads has an id, a job's key or UTC in it."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.commands.hours.signs import CAUSES as COMMAND_CAUSES
from api.routes.bodies.hours import SignAnswerBody
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.domain.due.explain_date import explain_date
from scheduler.domain.due.forecast import Forecast
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.publishing import Cause
from scheduler.domain.hours.ledger_values import Code, Flag
from scheduler.domain.hours.sign_facts import SignFacts
from scheduler.domain.hours.sign_values import Quiet, QuietReason, SignEnd
from scheduler.domain.record.walking import ChainFault
from scheduler.domain.shore.line_state import ShoreState
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.domain.vessel.crew import CrewBlock, MinimumBlock, QuietHours
from scheduler.storage.hours.counters import FlagRow
from scheduler.wording.care import diagnosis_words
from scheduler.wording.due import cause_words, date_words, to_go_words
from scheduler.wording.hours import flag_words
from scheduler.wording.shore import REFUSED
from scheduler.wording.signs import CAUSES, end_words, quiet_words

NAMES = ("VP1", "Pump 2, port", "Aft plant")
COUNTER, JOB = "plover-vp1-hours", "knife_inspection:plover-pump-a-knives:3"
AT_SEA = datetime(2026, 11, 27, 8, 5, tzinfo=UTC)
SHIP = {About.SETTING, About.DATABASE, About.TABLES, About.TIMER, About.SPACE, About.JOURNAL, About.SQLITE}
SHIP |= {About.BACKUP, About.BACKUP_DISK, About.PENDING, About.NO_WORKER, About.QUEUE}
"""What only the command says: of the installation, not of a ship."""

instants = st.integers(1_700_000_000, 1_900_000_000)
values = st.integers(0, 10**11)
offsets = st.integers(-720, 840)
yes = st.booleans()
STEP = {"from": values, "from_s": instants, "to": values, "per": st.sampled_from((1, 7, 36, 60, 360, 3600))}
FACTS = {
    Code.HELD: [
        STEP | {"by_hand": yes},
        STEP | {"by_hand": yes, "as_per": st.sampled_from((1, 60, 3600)), "as_value": values},
        STEP | {"by_hand": yes, "swapped": values},
    ],
    Code.ERRATIC: [{"values": st.integers(2, 9), "by_hand": yes}],
    Code.FUTURE: [{}],
    Code.CLOCK: [{"skew_s": st.integers(-90_000, 90_000)}],
    Code.CLOCK_RIGHT: [{"skew_s": st.integers(-90_000, 90_000)}],
    Code.SPIKE: [{"ended_s": instants, "by_hand": yes}],
    Code.RESET: [STEP],
    Code.GLITCH: [{"ended_s": instants, "by_hand": yes}],
    Code.REPLACEMENT: [
        STEP | {"rescaled": yes},
        {name: STEP[name] for name in ("from", "from_s", "per")} | {"rescaled": yes},
    ],
    Code.DECISION: [{"decided_s": instants}],
    Code.SILENT: [{"quiet_h": st.integers(1, 200)}],
    Code.STANDING: [{}],
    Code.SOURCES: [{"from_s": instants, "until_s": instants, "ran_s": values, "checked_s": values}],
    Code.CONFLICT: [{"times": st.integers(1, 99), "newest_s": instants}],
}
BLOCKS = (
    MinimumBlock(minimum_swept_m3_per_h=94.0, label="full ship"),
    CrewBlock(hands=2, label="port"),
    QuietHours(most_stop_minutes=20, consent="hotel"),
)


def flags(code: Code) -> st.SearchStrategy[Flag]:
    """Flags of a code with every set of facts that it comes with."""
    facts = st.one_of([st.fixed_dictionaries(one) for one in FACTS[code]])
    return st.builds(Flag, st.just(code), instants, st.integers(0, 10**9), facts)


def plain(said: str) -> None:
    """Sentences of a person: begun, ended, and nothing in them that only machines say."""
    assert said[0].isupper() or said[0].isdigit(), said
    assert said.endswith("."), said
    assert "UTC" not in said, said
    assert not re.search(r"\d{4}-\d\d-\d\d|\d:\d\d:\d\d|\d\dZ", said), said
    assert not re.search(r"\b[a-z_]+:[\w-]+:\d+\b|[a-z]\w*-(vp|pump)|leadline|--\w|\bNone\b|\{|\bturn\b", said), said


@pytest.mark.parametrize("code", list(Code))
@given(data=st.data())
def test_every_flag_is_said(code: Code, data: st.DataObject) -> None:
    """With each set of facts, in any ship time; stored and read again it says the same."""
    flag, offset = data.draw(flags(code)), data.draw(offsets)
    said = flag_words(flag, data.draw(st.sampled_from(NAMES)), offset)
    plain(said)
    assert said.startswith("The counter of ")
    assert FlagRow.of("plover", 1, flag).flag() == flag


def test_a_flag_stored_before_there_were_facts_says_what_it_said() -> None:
    """Its row has a sentence and no facts."""
    row = FlagRow(vessel_id="plover", counter_no=1, code="held", at_s=5, says="It rose.", seconds=None)
    assert flag_words(row.flag(), "VP1", 60) == "It rose."


@st.composite
def sign_facts(draw: st.DrawFn) -> SignFacts:
    """Any sign of a plant or a pump."""
    on = AT_SEA.date()
    position = draw(st.sampled_from((None, COUNTER)))
    return SignFacts(
        number=1,
        position=position,
        up=position is None or draw(yes),
        began_on=on,
        to_the_week=draw(yes),
        seen_on=on,
        rise_percent=draw(st.integers(1, 30)) * 10,
        rise=0.2,
        hours_a_day=draw(st.sampled_from((None, 0.0, 0.4, 6.2))),
        kind=draw(st.sampled_from((None, "sea", "port", "tow"))),
        names=draw(st.sampled_from((None, COUNTER))),
        usual_until_on=on,
        days_used=56,
        end=None,
        ended_on=on,
        back_on=draw(st.sampled_from((None, on))),
        asked_again=draw(yes),
    )


@given(sign_facts(), st.sampled_from(SignEnd))
def test_how_a_sign_ended_is_said(one: SignFacts, end: SignEnd) -> None:
    """Every end has its words."""
    said = end_words(replace(one, end=end, back_on=AT_SEA.date()))
    assert said
    plain(said)


@pytest.mark.parametrize("reason", QuietReason)
def test_why_the_hours_say_nothing_is_said(reason: QuietReason) -> None:
    """Every reason has its words, with and without a day."""
    for day in (None, 20_700):
        plain(quiet_words(Quiet(reason=reason, speaks_day=day)))


def test_every_answer_that_is_taken_means_something_for_what_is_usual() -> None:
    """The same list at every door, each an end that a person may give."""
    assert tuple(CAUSES) == COMMAND_CAUSES == get_args(SignAnswerBody.model_fields["cause"].annotation)
    assert {end for end, _ in CAUSES.values()} == {SignEnd.MENDED, SignEnd.KNOWN, SignEnd.NOTHING_FOUND}


LINE = st.fixed_dictionaries(
    {"state": st.sampled_from(ShoreState), "joining": st.booleans(), "waits": st.integers(0, 2**40)},
    optional={
        "code": st.sampled_from([*REFUSED, "parted", "no key file", "not known"]),
        "number": st.integers(0, 2**62),
        "status": st.integers(100, 599),
        "why": st.sampled_from(["ConnectError", "ReadTimeout", "whatever"]),
    },
)


@pytest.mark.parametrize("about", sorted(set(About) - SHIP))
@given(data=st.data())
def test_everything_to_look_at_on_a_ship_is_said(about: About, data: st.DataObject) -> None:
    """What is wrong and what to do, by the names people use."""
    code = next((code for code in Code if code.value == about.value), Code.HELD)
    block, over = data.draw(st.tuples(st.sampled_from(BLOCKS), st.sampled_from(BLOCKS)))
    one = Diagnosis(
        about=about,
        which=JOB if about is About.NOT_KNOWN else COUNTER,
        name=data.draw(st.sampled_from(NAMES)),
        facts={
            "flag": data.draw(flags(code)),
            "earlier": data.draw(yes),
            "block": replace(block, from_on=AT_SEA.date()),
            "over": over,
            "fault": data.draw(st.sampled_from(ChainFault)),
            "number": 12,
            "count": 3,
            "days": 7,
            "newest_at": AT_SEA,
            "sign": data.draw(sign_facts()),
            **data.draw(LINE if about is About.OFFICE else st.just({})),
            "names": {COUNTER: "VP1"},
            "pumps_speak": data.draw(yes),
            "why": data.draw(st.sampled_from(AgainstTaking)),
            "figures": {"number": 12, "record": 3, "ids": ["Plover VP1"], "held": 15, "other": "b"},
            "ships": {"b": "Demo Avocet"},
            "skew_s": data.draw(st.integers(-(2**40), 2**40)),
            "heard_at": AT_SEA,
        },
        offset_minutes=data.draw(offsets),
    )
    for said in diagnosis_words(one):
        plain(said)


INSTALLATION = {
    About.SETTING: {"says": "No base_url is set.", "frozen_days": 40, "horizon_days": 30},
    About.DATABASE: {"error": "It does not answer."},
    About.TABLES: {"step": None, "expected": "v0016"},
    About.BACKUP: {"ever": False, "set": True},
    About.BACKUP_DISK: {},
    About.TIMER: {"outcome": "failed: it is busy"},
    About.PENDING: {"count": 3},
    About.NO_WORKER: {},
    About.QUEUE: {"count": 3},
    About.SPACE: {"free_bytes": 2**20, "floor_bytes": 2**25},
    About.JOURNAL: {"mode": "delete", "synchronous": 1},
    About.SQLITE: {"version": "SQLite 3.40.1"},
}


@pytest.mark.parametrize("about", sorted(SHIP))
@pytest.mark.parametrize("setting", ["base_url", "insecure_cookie", "open network", "frozen_days"])
def test_everything_to_look_at_in_an_installation_is_said(about: About, setting: str) -> None:
    """What the command alone shows; it may name settings and commands."""
    says, do = diagnosis_words(Diagnosis(about=about, which=setting, name=setting, facts=INSTALLATION[about]))
    assert says
    assert do
    assert "{" not in says


moments = st.datetimes(datetime(2026, 1, 1), datetime(2028, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
forecasts = st.builds(
    Forecast,
    early_at=moments,
    likely_at=moments,
    late_at=moments,
    h_per_day=st.floats(0.1, 24),
    h_per_sea_day=st.none() | st.floats(0.1, 24),
    look_back_days=st.integers(1, 365),
    runs=st.integers(0, 40),
    idle=yes,
)
left = st.none() | st.integers(-(10**7), 10**7)
jobs = st.builds(
    DueJob,
    job_id=st.just(JobId(kind="knife_inspection", subject="plover-pump-a-knives", sequence=3)),
    kind_name=st.just("Knife inspection"),
    pump=st.just("plover-pump-a"),
    position=st.just("plover-vp1"),
    takes_hours=st.just(4),
    hands=st.just(2),
    takes_pump_out=st.just(True),
    trigger=st.sampled_from(Trigger),
    state=st.sampled_from(JobState),
    due_at=moments,
    window_opens_at=moments,
    limit_at=st.none() | moments,
    calendar_due_at=st.none() | moments,
    calendar_start_at=st.none() | moments,
    running_seconds_left=left,
    projected_seconds_left=left,
    hours_as_of=st.none() | moments,
    forecast=st.none() | forecasts,
    first=yes,
    first_set_at=st.none() | moments,
    estimated=yes,
    may_miss_seconds=st.integers(0, 10**6),
    postponed_to=st.none() | moments,
)


@given(job=jobs, at=moments, offset=offsets)
def test_every_date_is_explained(job: DueJob, at: datetime, offset: int) -> None:
    """Whatever it rests on; what there is to go stands in the sentence as every list has it."""
    facts = explain_date(job, at)
    said, to_go = date_words(facts, offset), to_go_words(facts, offset)
    plain(said)
    plain(f"{to_go[0].upper()}{to_go[1:]}.")
    ahead = not facts.projected and (facts.seconds_to_go or 0) > 0
    if job.state is not JobState.NOT_KNOWN and (ahead or job.trigger is Trigger.CALENDAR):
        assert to_go in said
    assert facts.days_left == (job.due_at - at) / timedelta(days=1)


@pytest.mark.parametrize("cause", list(Cause))
def test_every_cause_of_a_moved_date_is_said(cause: Cause) -> None:
    """In a few words, without one that nobody aboard uses."""
    plain(f"{cause_words(cause).capitalize()}.")
