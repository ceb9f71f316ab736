"""The acts of a whole job on a pump in their order, as an API tells them: (minutes from its start, kind, particulars)."""

from typing import Any

Act = tuple[int, str, dict[str, Any]]

POINTS = (
    "supply breaker",
    "control and heater supply",
    "selector to OFF",
    "discharge valve",
    "flushing or seal water",
    "suction valve",
)
OFF = (
    "flushing or seal water",
    "discharge valve",
    "supply breaker",
    "control and heater supply",
    "selector to OFF",
    "suction valve",
)
GOOD_GAS = {"oxygen_percent": 20.9, "lel_percent": 0, "h2s_ppm": 1, "meter": "G-2", "bump_tested": True}


def tagged(point: str) -> dict[str, Any]:
    """A lock and tag of its own at a point, in the one box."""
    number = POINTS.index(point) + 1
    return {"point": point, "lock_no": f"L{number}", "tag_no": f"T-{number}", "box_no": "4"}


def isolated(permit: str = "CW-7", *, at: int = 0) -> list[Act]:
    """From the permit to the moment before the cover is slackened: everything proved."""
    return [
        (at, "permit issued", {"number": permit, "permit_kind": "cold work", "issued_by": "A. Chief"}),
        (at + 1, "made ready", {"standby_seen": True, "told": "bridge, hotel"}),
        (at + 2, "gas checked", {"place": "room", **GOOD_GAS}),
        (at + 3, "rinsed", {"drained_to": "sewage tank"}),
        (at + 5, "tag placed", tagged("supply breaker")),
        (at + 6, "start tried", {"control_alive": True}),
        *((at + 7, "tag placed", tagged(point)) for point in POINTS[1:]),
        (
            at + 8,
            "no voltage",
            {"all_phases": True, "meter": "V-1", "meter_proved_before": True, "meter_proved_after": True},
        ),
        (at + 9, "vacuum let out", {"gauge_stays_at_zero": True, "drained": True}),
        (at + 10, "personal lock on", {"lock_no": "P-1"}),
    ]


def opened(permit: str = "CW-7", *, at: int = 0) -> list[Act]:
    """As `isolated`, then gas at the cover, and opened."""
    return [
        *isolated(permit, at=at),
        (at + 11, "gas checked", {"place": "slackened cover", **GOOD_GAS}),
        (at + 12, "opened", {}),
    ]


def back(*, at: int = 50) -> list[Act]:
    """From people clear to back in AUTO."""
    return [
        (at, "people clear", {}),
        (at + 1, "personal lock off", {}),
        *((at + 2, "tag removed", {"point": point}) for point in OFF),
        (at + 3, "people told", {"names": "bridge, hotel"}),
        (at + 4, "started locally", {"no_leak": True, "turns_right": True, "phase_ampere": [8.1, 8.2, 8.1]}),
        (at + 5, "returned", {}),
    ]


PROVED = {
    "result": "passed",
    "pull_down_seconds": 45,
    "limit_seconds": 60,
    "from_vacuum_kpa": 36,
    "to_vacuum_kpa": 50,
    "quiet_hour": True,
    "others_stopped": True,
}
