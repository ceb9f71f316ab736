"""What a sheet on paper shows of work done already: acts with their times as written, and what they say against themselves.

An act that the sheet does not show was not seen there; that is no breach. One that it shows, out of its limits or before an act
it rests on, is one. Order: common practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from scheduler.domain.work.against import Against, Objection
from scheduler.domain.work.closing import ASKED
from scheduler.domain.work.gas import gas_faults

_RESTS_ON: Mapping[str, tuple[str, ...]] = {
    "opened": ("permit issued", "tag placed", "start tried", "no voltage", "vacuum let out", "gas at the cover"),
    "no voltage": ("tag placed",),
    "returned": ("people clear", "started locally"),
    "tested": ("returned",),
}
"""An act, and those that come before it wherever a sheet shows both with their times."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperAct:
    """An act as the sheet shows it.

    act: of ASKED, or step: all of the sheet's are ticked. at: none where only particulars are written.
    particulars: as written, by name.
    """

    act: str
    at: datetime | None = None
    particulars: Mapping[str, str] = field(default_factory=dict)
    gas: tuple[float | None, float | None, float | None] | None = None
    """O2 %, LEL %, H2S ppm."""


def seen_on_paper(acts: Sequence[PaperAct]) -> frozenset[str]:
    """The acts of ASKED that the sheet shows, and "step" where its steps are ticked."""
    return frozenset(one.act for one in acts if one.act in (*ASKED, "step"))


def paper_objections(acts: Sequence[PaperAct], h2s_limit_ppm: float | None) -> Iterator[Objection]:
    """What the sheet itself tells against the work: gas out of its limits, an act before one it rests on."""
    times = {one.act: one.at for one in acts if one.at is not None}
    for one in acts:
        for fault in gas_faults(*one.gas, h2s_limit_ppm) if one.gas else ():
            yield Objection(
                Against.GAS,
                {"what": fault.code.value, "value": fault.value, "limit": fault.limit, "names": fault.names},
            )
        for before in _RESTS_ON.get(one.act, ()):
            if one.at is not None and before in times and one.at < times[before]:
                yield Objection(Against.PAPER_ORDER, {"act": one.act, "before": before})
