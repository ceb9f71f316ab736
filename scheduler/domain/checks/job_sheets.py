"""Whether what a job sheet asks for makes sense and goes on one printed page.

Limits are judgement, tried on paper: the longest sheet that passes here prints on one A4 page.
"""

from collections.abc import Iterator
from math import isfinite

from scheduler.domain.checks.faults import Fault, text_faults, twice_faults
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.language import gettext as _

MOST_STEPS, LONGEST_STEP, MOST_STEP_LETTERS = 12, 240, 1300
MOST_MEASURES, MOST_PARTS, MOST_TOOLS, MOST_FINDINGS = 6, 6, 8, 60
LONGEST_ITEM, LONGEST_UNIT, LONGEST_SEEN = 40, 12, 60
MOST_NEEDED = 100
_NOT = ("never", "not ", "no ")
TICKED_BY_ACT = (
    "permit issued",
    "made ready",
    "rinsed",
    "tag placed",
    "start tried",
    "no voltage",
    "vacuum let out",
    "gas checked",
    "personal lock on",
    "opened",
    "people clear",
    "tag removed",
    "people told",
    "started locally",
    "returned",
    "tested",
)
"""Acts that a step of a sheet may be: it is done when the act is told."""


def sheet_faults(at: str, kind: JobKind) -> Iterator[Fault]:
    """Of the steps, measures, parts and tools of one job kind."""
    named = f'job kind "{kind.code}"'
    for member, things, most in (
        ("steps", kind.steps, MOST_STEPS),
        ("measures", kind.measures, MOST_MEASURES),
        ("parts", kind.parts, MOST_PARTS),
        ("tools", kind.tools, MOST_TOOLS),
    ):
        if len(things) > most:
            yield (
                f"{at}/{member}",
                _(
                    "The sheet of {named} has {count} {member}: at most {most} go on one page. Put some together.",
                    named=named,
                    count=len(things),
                    member=member,
                    most=most,
                ),
            )
    texts = [step.text for step in kind.sheet]
    letters = sum(map(len, texts))
    if letters > MOST_STEP_LETTERS:
        yield (
            f"{at}/steps",
            _(
                "The steps of {named} have {letters} letters together: at most {most_step_letters} "
                "go on one page. Shorten them.",
                named=named,
                letters=letters,
                most_step_letters=MOST_STEP_LETTERS,
            ),
        )
    for i, asked in enumerate(kind.sheet):
        if asked.act and asked.act not in TICKED_BY_ACT:
            yield (
                f"{at}/steps/{i}/act",
                _(
                    'Step {i} of {named} names the act "{act}": one of {ticked_by_act} was expected.',
                    i=i + 1,
                    named=named,
                    act=asked.act,
                    ticked_by_act=", ".join(TICKED_BY_ACT),
                ),
            )
    for i, step in enumerate(texts):
        yield from text_faults(f"{at}/steps/{i}", f"Step {i + 1} of {named}", step, LONGEST_STEP)
        said = step.casefold()
        if "bilge" in said and not any(word in said for word in _NOT):
            yield (
                f"{at}/steps/{i}",
                _(
                    "Step {i} of {named} drains to the bilge: sewage goes to the sewage tank or a closed "
                    "container, never to the bilge. Write where it is drained to.",
                    i=i + 1,
                    named=named,
                ),
            )
    for i, measure in enumerate(kind.measures):
        yield from _measure(f"{at}/measures/{i}", measure, named)
    for i, part in enumerate(kind.parts):
        yield from text_faults(f"{at}/parts/{i}/name", f"The name of part {i + 1} of {named}", part.name, LONGEST_ITEM)
        if not 1 <= part.quantity <= MOST_NEEDED:
            yield (
                f"{at}/parts/{i}/quantity",
                _(
                    'The sheet of {named} needs {quantity} of "{name}": 1 to {most_needed} was expected.',
                    named=named,
                    quantity=part.quantity,
                    name=part.name,
                    most_needed=MOST_NEEDED,
                ),
            )
    for i, tool in enumerate(kind.tools):
        yield from text_faults(f"{at}/tools/{i}", f"Tool {i + 1} of {named}", tool, LONGEST_ITEM)
    yield from twice_faults([(f"{at}/steps/{i}", step) for i, step in enumerate(texts)], "Step")
    yield from twice_faults([(f"{at}/measures/{i}", one.name) for i, one in enumerate(kind.measures)], "Measure")
    yield from twice_faults([(f"{at}/parts/{i}", one.name) for i, one in enumerate(kind.parts)], "Part")


def _measure(at: str, measure: MeasureAsked, named: str) -> Iterator[Fault]:
    yield from text_faults(f"{at}/name", f"The name of a measure of {named}", measure.name, LONGEST_ITEM)
    yield from text_faults(f"{at}/unit", f'The unit of "{measure.name}"', measure.unit, LONGEST_UNIT, may_be_empty=True)
    low, high = measure.low, measure.high
    for member, limit in (("low", low), ("high", high)):
        if limit is not None and not isfinite(limit):
            yield (
                f"{at}/{member}",
                _('The limit of "{name}" is {limit}: a number, or none, was expected.', name=measure.name, limit=limit),
            )
    if low is not None and high is not None and not low <= high:
        yield (
            f"{at}/high",
            _(
                '"{name}" of {named} has limits {low} to {high}: the lower first was expected. Exchange them.',
                name=measure.name,
                named=named,
                low=f"{low:g}",
                high=f"{high:g}",
            ),
        )


def finding_faults(at: str, plant: Plant) -> Iterator[Fault]:
    """Of the pick list of what a person sees."""
    if not 1 <= len(plant.findings) <= MOST_FINDINGS:
        yield (
            f"{at}/findings",
            _(
                'Plant "{id}" has {count} findings to pick from: 1 to {most_findings} was expected. '
                "Leave findings out for the usual list.",
                id=plant.id,
                count=len(plant.findings),
                most_findings=MOST_FINDINGS,
            ),
        )
    for i, kind in enumerate(plant.findings):
        here = f"{at}/findings/{i}"
        yield from text_faults(f"{here}/seen", "What is seen", kind.seen, LONGEST_SEEN)
        for member in ("mode", "mechanism", "cause"):
            said = getattr(kind, member)
            yield from text_faults(
                f"{here}/{member}", f'The {member} behind "{kind.seen}"', said, LONGEST_SEEN, may_be_empty=True
            )
    pairs = [(f"{at}/findings/{i}", kind.seen.casefold()) for i, kind in enumerate(plant.findings)]
    yield from twice_faults(pairs, "Finding")
