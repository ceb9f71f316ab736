"""The demo shows what the hours say: Demo Avocet leaks, Demo Plover does not."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from scheduler.domain.hours.air import PlantDays
from scheduler.domain.hours.sign_days import SignDays
from seed_fleet.running import Run
from seed_fleet.ships import AVOCET, PLOVER, ShipPlan

pytestmark = pytest.mark.long
DAY = timedelta(days=1)


def folded(ship: ShipPlan, now: datetime) -> SignDays:
    """Her two years as her counters tell them, without their steps."""
    run = Run(ship, 1, now)
    first, today = (int(at.timestamp() // 86_400) for at in (run.start + DAY, now))
    days = [datetime.fromtimestamp(day * 86_400, UTC) for day in range(first, today)]
    seconds = np.array(
        [[run.ran_seconds(n, day + DAY) - run.ran_seconds(n, day) for day in days] for n in range(len(ship.pumps))],
        dtype=np.float64,
    )
    for row, pump in zip(seconds, ship.pumps, strict=True):
        if pump.register.silent_days:
            row[-pump.register.silent_days - 1 :] = np.nan
    none = np.zeros(seconds.shape, dtype=np.bool_)
    rated = np.array([[pump.rated_swept_m3_per_h] * len(days) for pump in ship.pumps])
    read = PlantDays(first_day=first, seconds=seconds, interpolated=none, swept_m3_per_h=rated, out=none)
    kinds = [
        ("port" if ship.in_port(day - today) else "sea") if ship.keeps_days else None for day in range(first, today)
    ]
    return SignDays.none(first, ()).more(read, [pump.serial for pump in ship.pumps], kinds, answers={}, renewed={})


@pytest.mark.parametrize("days", [0, 43, 111])
def test_demo_avocet_has_one_sign_and_demo_plover_none(days: int) -> None:
    """A quarter more from 17 days before now, said as 20 or 30 % since about then, whenever the demo is started."""
    now = datetime(2026, 10, 20, 7, tzinfo=UTC) + days * DAY
    sign = folded(AVOCET, now).plant.open_sign
    assert sign is not None
    assert abs(sign.began_day - (int(now.timestamp() // 86_400) - 17)) <= 2
    assert sign.percent in (20, 30)
    assert folded(PLOVER, now).plant.open_sign is None
