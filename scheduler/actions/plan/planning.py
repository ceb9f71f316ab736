"""Plans: propose one, take one, read both. A plan that the judge faults is never stored."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from scheduler.actions.base.context import Answer, Context, Hand, hand_action, utc_text
from scheduler.actions.base.pending import ask_plan, plan_answers, plan_asked_at, plan_made, plan_number, plan_outcome
from scheduler.actions.plan.explaining import words_of
from scheduler.actions.plan.framing import answer_stored, problem_of, running_of
from scheduler.actions.plan.stored import keep_plan, take_up
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.plant_state.stored import StoredPlan, stored_plan
from scheduler.actions.vessel.fleet import Place
from scheduler.errors import Busy, Clash, SchedulerError, Stale
from scheduler.language import gettext
from scheduler.planning.explain.dates import PlanFact, plan_facts
from scheduler.planning.judge.check import MarginSteps, judge, margin_series
from scheduler.planning.judge.cover import cover_of
from scheduler.planning.move.taken import still_shared
from scheduler.planning.problem.digest import problem_digest
from scheduler.planning.problem.values import Plan, Problem, Shortfall
from scheduler.planning.search.passes import settle
from scheduler.shiptime import ship_time
from scheduler.storage.database import Session, bump_revision
from scheduler.storage.plan import PlanStatus, plan_row
from scheduler.storage.record import append_record
from scheduler.storage.shore.home import must_be_written_here
from scheduler.wording.names import job_words
from scheduler.wording.plan import fault_words, remark_words, shortfall_words
from scheduler.wording.reasons import cover_words, fact_words

WORKER_LOOKS, WORKER_LOOK_SECONDS = 300, 0.2
"""So often whoever asked for a plan looks whether a worker has made it, and how long after each other."""


@dataclass(frozen=True, slots=True)
class SlotDifference:
    """A difference between the taken plan and the proposed one. from_at none: new; to_at none: gone."""

    key: str
    from_at: datetime | None
    to_at: datetime | None


def propose(context: Context, vessel_id: str, plant_id: str) -> StoredPlan:
    """Plan the plant as it stands now and keep the result as the proposed plan.

    The plan is worked out in a process of its own, outside any transaction, again while its own outages move the dates it
    rests on. When the answer to this very problem is held already it is not worked out again.

    Raises:
        NotFound: no such plant. SchedulerError: the judge faulted the plan (a fault of this program): it is not stored.
    """
    with context.workers() as workers:
        return bring_up(context, vessel_id, plant_id, workers.plan)[0]


def propose_soon(context: Context, place: Place, wait_seconds: float | None = None) -> datetime | None:
    """As `propose`, made beside the caller: none once it is made, or since when it is under way where that takes longer than a moment.
    It is asked for meanwhile, so that a restart forgets nothing. wait_seconds: waited for so long, where that is longer.

    Raises:
        As `propose`, where that is known within the moment. Busy, StorageFull: nothing could be asked for.
    """

    def act() -> None:
        with context.db.read() as session:
            number = plan_number(session, place.vessel_id, place.plant_id)
        try:
            propose(context, place.vessel_id, place.plant_id)
        except Busy:
            raise  # it stays asked for
        except Exception as error:
            with context.db.write(place.vessel_id) as session:
                outcome = f"failed: {error}"[:500]
                plan_made(session, place.vessel_id, place.plant_id, number, context.now(), outcome)
            raise

    with context.db.write(place.vessel_id) as session:
        asked_at = plan_asked_at(session, place.vessel_id, place.plant_id)
        if asked_at is None:  # else whoever changed something asked for it then
            ask_plan(session, place.vessel_id, place.plant_id, context.now())
        asked = plan_number(session, place.vessel_id, place.plant_id)
    if context.settings.workers:
        act = partial(_wait_for_plan, context, place, asked)
    about = ("plan", place.plant_id)
    return context.background.answer(about, act, context.now(), anew=True, wait_seconds=wait_seconds)[1]


def _wait_for_plan(context: Context, place: Place, number: int) -> None:
    """Until a worker has answered what was asked for up to that number. Raises Busy when none does, SchedulerError with its words."""
    for _ in range(WORKER_LOOKS):
        with context.db.read() as session:
            if plan_answers(session, place.vessel_id, place.plant_id, number):
                outcome = plan_outcome(session, place.vessel_id, place.plant_id)
                if outcome:
                    raise SchedulerError(outcome)
                return
        if context.stopping.wait(WORKER_LOOK_SECONDS):
            break
    raise Busy("No worker has made the plan yet. It stays asked for; look again later.", more={"retry_after": 60})


def planning_since(context: Context, place: Place) -> datetime | None:
    """Since when a new plan of the plant is asked for and not made yet; none: no plan is."""
    with context.db.read() as session:
        return plan_asked_at(session, place.vessel_id, place.plant_id)


def bring_up(
    context: Context, vessel_id: str, plant_id: str, solve: Callable[[Problem], Plan]
) -> tuple[StoredPlan, bool]:
    """As `propose`, with a solver of the caller's. The plan, and whether it was held already. What is asked for meanwhile stays so.

    Raises:
        As `propose`. Clash: the ship is written aboard, and planned there.
    """
    with context.db.read() as session:
        must_be_written_here(session, vessel_id)
        number = plan_number(session, vessel_id, plant_id)
        asked = not plan_answers(session, vessel_id, plant_id, number)
    now = plant_state(context, vessel_id, plant_id)
    of_day = problem_digest(problem_of(now, context, of_day=True))
    stored = answer_stored(now, context, of_day)
    if stored is not None:
        with context.db.write(vessel_id) as session:
            stands = _still_aboard(session, now)
            if stands:
                plan_made(session, vessel_id, plant_id, number, context.now())
        return (stored, True) if stands else bring_up(context, vessel_id, plant_id, solve)
    begin = dict(now.taken.plan.moved_by) if now.taken is not None else {}
    problem, plan = settle(problem_of(now, context), running_of(now), solve, begin)
    plan = _by_hand(now, problem, plan)
    verdict = judge(problem, plan)
    if not verdict.lawful:
        words = words_of(now, problem)
        faults = " ".join(fault_words(fault, words) for fault in verdict.faults[:3])
        with context.db.write(vessel_id) as session:
            plan_made(session, vessel_id, plant_id, number, context.now(), f"not lawful: {faults}"[:500])
        raise SchedulerError(f"The plan for {plant_id} was faulted by the judge and is not kept: {faults}")
    with context.db.write(vessel_id) as session:
        stands = _still_aboard(session, now)
        if asked and plan_answers(session, vessel_id, plant_id, number):
            stands = False  # made by another meanwhile, who took this one for gone
        if stands:
            row = keep_plan(session, vessel_id, plant_id, problem, plan, verdict, context.now(), of_day)
            plan_made(session, vessel_id, plant_id, number, context.now())
            bump_revision(session, vessel_id)
    if not stands:  # or a slot was moved, or a plan taken, while this one was made
        return bring_up(context, vessel_id, plant_id, solve)
    kept = stored_plan(row)
    assert kept is not None
    return kept, False


def _still_aboard(session: Session, now: PlantState) -> bool:
    """Whether the plan aboard is the one of the situation still."""
    aboard = plan_row(session, now.vessel.id, now.plant.id, PlanStatus.TAKEN)
    return (None if aboard is None else aboard.id) == (None if now.taken is None else now.taken.id)


def _by_hand(now: PlantState, problem: Problem, plan: Plan) -> Plan:
    """The plan with its pinned pairs named, and with who pinned a job that cannot keep its date."""

    def told(short: Shortfall) -> Shortfall:
        pin = now.pins.get(short.key or "")
        return short if pin is None else replace(short, pinned_by=pin.by, move=pin.move)

    shared = now.taken.shared() if now.taken else {}
    named = still_shared(problem, plan, shared)
    return replace(named, shortfalls=tuple(told(short) for short in plan.shortfalls))


def take(context: Context, hand: Hand, place: Place, digest: str) -> Answer:
    """Make the proposed plan with that digest the plan aboard.

    Raises:
        Clash: this plan is the one taken already. Stale: another plan is proposed by now, or none.
    """

    def act(session: Session) -> Answer:
        proposed = plan_row(session, place.vessel_id, place.id, PlanStatus.PROPOSED)
        taken = plan_row(session, place.vessel_id, place.id, PlanStatus.TAKEN)
        if proposed is None:
            if taken is not None and taken.digest == digest:
                raise Clash(gettext("The plan {digest} is the one taken already.", digest=digest[:12]))
            raise Stale(gettext("No plan is proposed for {id} by now. Ask for one first (plan/previews).", id=place.id))
        if proposed.digest != digest:
            newer = stored_plan(proposed)
            raise Stale(
                gettext(
                    "The plan proposed by now is {digest}, not {digest_2}. Look at it, then take that one.",
                    digest=proposed.digest[:12],
                    digest_2=digest[:12],
                ),
                more={"digest": proposed.digest, "slots": newer.slots_in_order() if newer else []},
            )
        stored = take_up(session, place.vessel_id, proposed, context.now())
        payload = {
            "plant": place.id,
            "plan": digest,
            "problem": proposed.problem_digest,
            "slots": len(stored.plan.slots),
            "shortfalls": len(stored.plan.shortfalls),
            "least_margin_litres_per_h": proposed.least_margin_litres_per_h,
            "proven": stored.plan.proven,
            "by": hand.actor.name,
        }
        number, _ = append_record(session, place.vessel_id, "plan taken", context.now(), payload)
        return Answer(200, {"plant": place.id, "digest": digest, "slots": len(stored.plan.slots), "record": number})

    return hand_action(context, hand, place.vessel_id, act)


def slot_differences(now: PlantState) -> tuple[SlotDifference, ...]:
    """What taking the proposed plan would change against the taken one, by time; slots already begun are left out."""
    if now.proposed is None:
        return ()
    new = now.proposed.times()
    open_keys = now.open_keys
    old: Mapping[str, tuple[datetime, datetime]] = now.taken.times() if now.taken else {}
    found = [
        SlotDifference(key, old[key][0] if key in old else None, new[key][0] if key in new else None)
        for key in {*old, *new}
        if key in open_keys and (old.get(key, (None,))[0] != new.get(key, (None,))[0])
    ]
    return tuple(sorted(found, key=lambda m: (m.to_at or m.from_at or now.at, m.key)))


def as_now(now: PlantState, context: Context, *, of_day: bool = False) -> tuple[Problem, Plan]:
    """The taken plan's slots on the plant as it stands now: what the margin rests on today.

    Without a taken plan the proposed one is used; without either, nothing is opened. of_day: from the ship's midnight on.
    """
    stored = now.taken or now.proposed
    problem = problem_of(now, context, keep=False, of_day=of_day)
    if stored is None:
        return problem, Plan(problem_digest="", slots=(), shortfalls=())
    shift = (problem.starts_at - stored.problem.starts_at) // timedelta(hours=1)
    open_keys = now.open_keys
    slots = tuple(
        replace(slot, start=max(0, slot.start - shift), end=slot.end - shift)
        for slot in stored.plan.slots
        if slot.end - shift > 0 and slot.key in open_keys
    )
    return problem, Plan(problem_digest="", slots=slots, shortfalls=stored.plan.shortfalls)


def margins_now(now: PlantState, context: Context) -> dict[str, float]:
    """Least margin, swept m3/h, in each slot that takes a pump out, by key: of the plant as it stands now, as every page shows it."""
    return slot_margins(*as_now(now, context))


def slot_margins(problem: Problem, plan: Plan, runs: Sequence[MarginSteps] = ()) -> dict[str, float]:
    """The same of what `as_now` gave. runs: `margin_series` of both, where the caller has it."""
    runs = runs or margin_series(problem, plan)
    begins = [run.from_step for run in runs]
    found = {}
    for slot in plan.slots:
        near = runs[max(0, bisect_right(begins, slot.start) - 1) : bisect_left(begins, slot.end)]
        inside = [r.available - r.minimum for r in near if slot.start < r.to_step]
        if slot.pump is not None and inside:
            found[slot.key] = min(inside) / 1000
    return found


def dates_given(now: PlantState, stored: StoredPlan) -> list[tuple[PlanFact, str]]:
    """What a plan did with dates given before, and what rests on a return: each fact, and its sentence."""
    words = words_of(now, stored.problem)
    return [(fact, fact_words(fact, words)) for fact in plan_facts(stored.problem, stored.plan)]


def plan_as_json(now: PlantState, stored: StoredPlan | None) -> dict[str, Any] | None:
    """A stored plan for the API: slots and shortfalls with instants, and the certificate."""
    if stored is None:
        return None
    kinds = {job.job_id.key: job.kind_name for job in (*now.jobs, *now.breakdowns)}
    words = words_of(now, stored.problem)
    first = stored.problem.starts_at
    spread = dict(stored.plan.unsettled)
    cover = cover_of(stored.problem, stored.plan)
    by_hand = {(key, (pin.start_at - first) // timedelta(hours=1)): pin.by for key, pin in now.pins.items()}

    def at(step: int) -> str | None:
        return utc_text(first + timedelta(hours=step))

    return {
        "digest": stored.digest,
        "problem_digest": stored.plan.problem_digest,
        "made_at": utc_text(stored.made_at),
        "taken_at": utc_text(stored.taken_at),
        "version": stored.version,
        "from": utc_text(first),
        "to": at(stored.problem.steps),
        "lawful": stored.lawful,
        "least_margin_swept_m3_per_h": _m3(stored.least_margin_litres_per_h),
        "least_at": utc_text(stored.least_at),
        "slots": [
            {
                "job": slot.key,
                "job_name": kinds.get(slot.key),
                "name": job_words(now.plant, now.at, slot.key),
                "pump": slot.pump,
                "from": at(slot.start),
                "to": at(slot.end),
                "least_margin_swept_m3_per_h": slot.least_margin_litres_per_h / 1000,
                "isolation_of": slot.isolation_of,
                "set_by_hand_by": by_hand.get((slot.key, slot.start)),
                "plus_minus_days": spread.get(slot.key, 0),
            }
            for slot in sorted(stored.plan.slots, key=lambda slot: (slot.start, slot.key))
        ],
        "one_more_failure": {
            "hours": cover.hours,
            "hours_at_minimum": cover.at_n,
            "hours_covered": cover.at_n_less_1,
            "hours_the_plan_uncovers": cover.hours_uncovered_by_plan,
            "hours_no_date_can_help": cover.hours_uncovered_anyway,
            "when_the_plan_uncovers": [{"from": at(a), "to": at(b)} for a, b in cover.uncovered_by_plan],
            "when_no_date_can_help": [{"from": at(a), "to": at(b)} for a, b in cover.uncovered_anyway],
        },
        "shortfalls": [
            {
                "job": short.key,
                "name": None if short.key is None else job_words(now.plant, now.at, short.key),
                "pump": short.pump,
                "when": [{"from": at(a), "to": at(b)} for a, b in short.steps],
                "lacking_swept_m3_per_h": short.lacking_litres_per_h / 1000,
                "code": short.code.value,
                "says": shortfall_words(short, words),
            }
            for short in stored.plan.shortfalls
        ],
        "facts": [
            {
                "code": fact.code.value,
                "job": fact.key,
                "pump": fact.pump,
                "from": None if fact.from_step is None else at(fact.from_step),
                "to": None if fact.to_step is None else at(fact.to_step),
                "because": fact.because and fact.because.value,
                "hours": fact.hours,
                "jobs": list(fact.keys),
                "assumed": fact.assumed,
                "says": says,
            }
            for fact, says in dates_given(now, stored)
        ],
        "certificate": {
            "by": stored.plan.by,
            "solver": stored.plan.solver,
            "proven": stored.plan.proven,
            "tiers": [
                {"tier": t.tier, "name": t.name, "value": t.value, "bound": t.bound, "proven": t.proven}
                for t in stored.plan.tiers
            ],
            "remarks": [remark_words(one, words) for one in stored.plan.remarks],
        },
    }


def _m3(litres_per_h: int | None) -> float | None:
    return None if litres_per_h is None else litres_per_h / 1000


def plan_lines(now: PlantState, stored: StoredPlan) -> Iterator[str]:
    """A plan in plain lines, in ship time, for a terminal."""
    offset = now.offset_minutes
    names = {job.job_id.key: (now.position_name(job.position), job.kind_name) for job in (*now.jobs, *now.breakdowns)}
    spread, shared, words = dict(stored.plan.unsettled), stored.shared(), words_of(now, stored.problem)
    word = "taken" if stored.taken_at else "proposed" if stored.id else "as an outlook"
    least = (
        ""
        if stored.least_margin_litres_per_h is None
        else f", least margin {stored.least_margin_litres_per_h / 1000:g} m³/h"
    )
    proved = "proved best" if stored.plan.proven else "not proven"
    yield f"{now.vessel.name}, {now.plant.name}: plan {stored.digest[:12]} {word}, {proved}{least} (swept, as planned)"
    for key, (start, end) in sorted(stored.times().items(), key=lambda item: (item[1], item[0])):
        place, kind = names.get(key, ("", ""))
        margin = next(slot.least_margin_litres_per_h for slot in stored.plan.slots if slot.key == key)
        when = f"{ship_time(start, offset):%a %d %b %Y %H:%M} to {ship_time(end, offset):%a %H:%M}"
        notes = f", +-{spread[key]} days" if key in spread else ""
        notes += f", on the isolation of {job_words(now.plant, now.at, shared[key])}" if key in shared else ""
        yield f"  {when}  {place:14} {kind:20} margin {margin / 1000:7.1f}  {key}{notes}"
    for line in cover_words(cover_of(stored.problem, stored.plan), words):
        yield f"  {line}"
    for short in stored.plan.shortfalls:
        yield f"  shortfall: {shortfall_words(short, words)}"
    for _, says in dates_given(now, stored):
        yield f"  {says}"
    for remark in stored.plan.remarks:
        yield f"  {remark_words(remark, words)}"
