"""A knife inspection act by act, as the example sheets have it: from the permit to the test. Pure; everything is invented."""

from datetime import datetime, timedelta

from seed_fleet.documents import Json
from seed_fleet.sheets import SHEETS

_POINTS = (
    "supply breaker",
    "control and heater supply",
    "selector to OFF",
    "discharge valve",
    "flushing or seal water",
    "suction valve",
)
_OFF = (*reversed(_POINTS[3:5]), *_POINTS[:3], _POINTS[5])
_STEPS = tuple(one["text"] for one in SHEETS["knife_inspection"]["steps"] if not one["act"])
"""Those that are ticked one by one, at the open pump."""
_GAS: Json = {"oxygen_percent": 20.9, "lel_percent": 0, "h2s_ppm": 1, "meter": "G-2", "bump_tested": True}


def course_of(opened_at: datetime, done_at: datetime, permit: int) -> list[tuple[datetime, Json]]:
    """Its acts with their instants, in their order, from the isolation to the last one at `done_at`."""
    number = f"CW-{permit}"
    before: list[tuple[int, Json]] = [
        (0, _said("permit issued", number=number, permit_kind="cold work", issued_by="Demo chief")),
        (3, _said("made ready", standby_seen=True, told="bridge, hotel")),
        (6, _said("gas checked", place="room", **_GAS)),
        (9, _said("rinsed", drained_to="sewage tank")),
        (14, _said("tag placed", **_tag("supply breaker", permit))),
        (16, _said("start tried", control_alive=True)),
        *((17 + place, _said("tag placed", **_tag(point, permit))) for place, point in enumerate(_POINTS[1:])),
        (
            23,
            _said("no voltage", all_phases=True, meter="V-1", meter_proved_before=True, meter_proved_after=True),
        ),
        (26, _said("vacuum let out", gauge_stays_at_zero=True, drained=True)),
        (28, _said("personal lock on", lock_no="P-1")),
        (31, _said("gas checked", place="slackened cover", **_GAS)),
        (34, _said("opened")),
        (38, _said("noted", about="step", name=_STEPS[0])),
        (52, _said("noted", about="foreign object", name="cleaning cloth", text="Around two knives; edges good.")),
        (53, _said("noted", about="step", name=_STEPS[1])),
        (70, _said("noted", about="measure", name="knife gap, widest", value=0.28, unit="mm", low=0.1, high=0.5)),
        (72, _said("noted", about="measure", name="largest chip", value=0.4, unit="mm", high=2.0)),
        (73, _said("noted", about="step", name=_STEPS[2])),
        (75, _said("noted", about="part used", name="knife cover O-ring", value=1)),
        (75, _said("noted", about="step", name=_STEPS[3])),
    ]
    after: list[tuple[int, Json]] = [
        (44, _said("people clear")),
        (42, _said("personal lock off")),
        *((40 - place, _said("tag removed", point=point)) for place, point in enumerate(_OFF)),
        (33, _said("people told", names="bridge, hotel")),
        (30, _said("started locally", no_leak=True, turns_right=True, phase_ampere=[10.4, 10.5, 10.4])),
        (28, _said("noted", about="measure", name="motor current", value=10.5, unit="A", high=12.0)),
        (25, _said("returned")),
        (
            6,
            _said(
                "tested", result="passed", pull_down_seconds=46, limit_seconds=60, from_vacuum_kpa=36, to_vacuum_kpa=50
            ),
        ),
        (3, _said("permit closed", number=number)),
        (0, _said("work reported", lowest_vacuum_kpa=34.5)),
    ]
    minutes = [(opened_at + timedelta(minutes=late), step) for late, step in before]
    return minutes + [(done_at - timedelta(minutes=early), step) for early, step in after]


def _said(kind: str, **told: object) -> Json:
    return {"kind": kind, **told}


def _tag(point: str, permit: int) -> Json:
    place = _POINTS.index(point) + 1
    return {"point": point, "lock_no": f"L{place}", "tag_no": f"T-{permit}-{place}", "box_no": "2"}
