"""Problems and plans as canonical JSON text: the same value gives the same text, whatever order its parts had."""

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from scheduler.planning.problem.facts import Bar, BarCode, Blocker
from scheduler.planning.problem.values import (
    ClosedStretch,
    CrewStretch,
    Derated,
    MinimumStretch,
    NotTogether,
    Occasion,
    Plan,
    PlanJob,
    Problem,
    PumpCapacity,
    QuietStretch,
    Remark,
    RemarkCode,
    ShortCode,
    Shortfall,
    Slot,
    TierResult,
)

Plain = dict[str, Any]
VERSION = 2
"""Of a plan's text; the first kept a sentence with each shortfall."""


def problem_to_text(problem: Problem) -> str:
    """The problem as canonical JSON: parts sorted, repeated start steps dropped, the instant in UTC."""
    starts_at = problem.starts_at.astimezone(UTC).isoformat()
    return _object(
        {
            "starts_at": _text(starts_at),
            "steps": _text(problem.steps),
            "pumps": _sorted({**_flat(p), "derated": sorted(map(_flat, p.derated), key=_text)} for p in problem.pumps),
            "minimum": _sorted(map(_flat, problem.minimum)),
            "crew": _sorted(map(_flat, problem.crew)),
            "start_steps": _text(sorted(set(problem.start_steps))),
            "jobs": _sorted({**_flat(j), "needs": sorted(set(j.needs))} for j in problem.jobs),
            "person_hours": _text(problem.person_hours),
            "first_midnight": _text(problem.first_midnight),
            "occasions": _sorted(map(_flat, problem.occasions)),
            "quiet": _sorted(map(_flat, problem.quiet)),
            "not_together": _sorted({**_flat(n), "pumps": sorted(set(n.pumps))} for n in problem.not_together),
            "closed": _sorted(map(_flat, problem.closed)),
            "day_starts": _text(sorted(set(problem.day_starts))),
            "avoid_nights": _text(problem.avoid_nights),
            **(
                {"even_margin": "true"} if problem.even_margin else {}
            ),  # else the text is as it was before there was such a thing
        }
    )


def problem_from_text(text: str) -> Problem:
    """The problem that `problem_to_text` wrote, its parts in canonical order.

    Raises ValueError, KeyError or TypeError when the text is not such a problem.
    """
    plain: Plain = json.loads(text)
    return Problem(
        starts_at=datetime.fromisoformat(plain["starts_at"]),
        steps=int(plain["steps"]),
        pumps=tuple(
            PumpCapacity(**{**p, "derated": tuple(Derated(**d) for d in p["derated"])}) for p in plain["pumps"]
        ),
        minimum=tuple(MinimumStretch(**m) for m in plain["minimum"]),
        crew=tuple(CrewStretch(**c) for c in plain["crew"]),
        start_steps=tuple(int(s) for s in plain["start_steps"]),
        jobs=tuple(_job(j) for j in plain["jobs"]),
        person_hours=int(plain.get("person_hours", 24)),
        first_midnight=int(plain.get("first_midnight", 0)),
        occasions=tuple(Occasion(**o) for o in plain.get("occasions", ())),
        quiet=tuple(QuietStretch(**q) for q in plain.get("quiet", ())),
        not_together=tuple(
            NotTogether(pumps=tuple(n["pumps"]), most_out=n["most_out"]) for n in plain.get("not_together", ())
        ),
        closed=tuple(ClosedStretch(**c) for c in plain.get("closed", ())),
        day_starts=tuple(int(s) for s in plain.get("day_starts", ())),
        avoid_nights=plain.get("avoid_nights", False) is True,
        even_margin=plain.get("even_margin", False) is True,
    )


def plan_to_text(plan: Plan) -> str:
    """The plan as canonical JSON: slots sorted, shortfalls by job, tiers and remarks in their own order."""
    shortfalls = sorted(map(_plain_shortfall, plan.shortfalls), key=lambda short: (_text(short["key"]), _text(short)))
    parts = {
        "slots": _sorted(map(_flat, plan.slots)),
        "shortfalls": _text(shortfalls),
        "remarks": _text([_plain_remark(one) for one in plan.remarks]),
    }
    plain = _flat(plan) | {"tiers": [_flat(tier) for tier in plan.tiers], "version": VERSION}
    return _object({name: parts.get(name) or _text(value) for name, value in plain.items()})


def plan_from_text(text: str) -> Plan:
    """The plan that `plan_to_text` wrote, now or when shortfalls and remarks were sentences still.

    Raises ValueError, KeyError or TypeError when the text is not such a plan.
    """
    plain: Plain = json.loads(text)
    if plain.get("version", 1) not in (1, VERSION):
        raise ValueError(f"a plan of version 1 or {VERSION} was expected, {plain['version']} came")
    return Plan(
        problem_digest=_str(plain["problem_digest"]),
        slots=tuple(_slot(s) for s in plain["slots"]),
        shortfalls=tuple(_shortfall(s) for s in plain["shortfalls"]),
        tiers=tuple(TierResult(**t) for t in plain["tiers"]),
        by=_str(plain["by"]),
        proven=plain["proven"] is True,
        solver=_str(plain["solver"]),
        remarks=tuple(map(_remark, plain["remarks"])),
        moved_by=tuple((_str(key), int(steps)) for key, steps in plain.get("moved_by", ())),
        unsettled=tuple((_str(key), int(days)) for key, days in plain.get("unsettled", ())),
        asked=_str(plain.get("asked", "")),
    )


def _job(plain: Mapping[str, Any]) -> PlanJob:
    lists = {name: tuple(plain.get(name, ())) for name in ("needs", "hands_by_step")}
    return PlanJob(**{**plain, **lists})


def _slot(plain: Mapping[str, Any]) -> Slot:
    slot = Slot(**plain)
    if not all(isinstance(n, int) for n in (slot.start, slot.end, slot.least_margin_litres_per_h)):
        raise TypeError("a slot's steps and margin are whole numbers")
    return slot


def _plain_remark(remark: Remark) -> Plain | str:
    """What a remark has to say; a sentence of old stays one, and with it the digest of its plan."""
    if remark.code is RemarkCode.AS_STORED:
        return remark.text
    return {name: value for name, value in _flat(remark).items() if value or name == "code"}


def _remark(plain: Plain | str) -> Remark:
    if isinstance(plain, str):
        return Remark(code=RemarkCode.AS_STORED, text=plain)
    return Remark(**{**plain, "code": RemarkCode(plain["code"])})


def _plain_shortfall(short: Shortfall) -> Plain:
    return {**_flat(short), "blockers": [{**_flat(one), "bar": _flat(one.bar)} for one in short.blockers]}


def _shortfall(plain: Plain) -> Shortfall:
    steps = tuple((int(first), int(last)) for first, last in plain["steps"])
    if "says" in plain:
        rest = {name: plain[name] for name in ("key", "pump", "lacking_litres_per_h")}
        return Shortfall(**rest, steps=steps, code=ShortCode.AS_STORED, text=_str(plain["says"]))
    read = {"steps": steps, "code": ShortCode(plain["code"]), "causes": tuple(plain["causes"])}
    return Shortfall(**{**plain, **read, "blockers": tuple(_blocker(one) for one in plain["blockers"])})


def _blocker(plain: Plain) -> Blocker:
    bar = plain["bar"]
    read = {"code": BarCode(bar["code"]), "keys": tuple(bar["keys"]), "pumps": tuple(bar["pumps"])}
    return Blocker(**{**plain, "bar": Bar(**{**bar, **read})})


def _str(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"expected text, got {type(value).__name__}")
    return value


def _flat(value: Any) -> Plain:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


_text = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode


def _sorted(parts: Iterable[Plain]) -> str:
    """The parts as a JSON list, in the order of their texts."""
    return f"[{','.join(sorted(map(_text, parts)))}]"


def _object(members: Mapping[str, str]) -> str:
    """A JSON object of members that are JSON already, in the order of their names."""
    return f"{{{','.join(f'{_text(name)}:{members[name]}' for name in sorted(members))}}}"
