"""The medians that signs rest on against published figures."""

from statistics import NormalDist

import numpy as np
import pytest

from scheduler.domain.hours.air import PlantDays, plant_values
from scheduler.domain.hours.signs import MAD_TO_SIGMA
from scheduler.domain.hours.usual import WEEK, polish

DEATHS = [[14, 15, 14], [7, 4, 7], [8, 2, 10], [15, 9, 10], [0, 2, 0]]


def test_median_polish_of_a_published_table():
    """Table: deaths from sport parachuting by experience and year, Velleman and Hoaglin, Applications, Basics, and Computing
    of Exploratory Data Analysis (1981), page 224; answer as the manual of R's medpolish prints it (from memory): overall 8, rows
    6, -1, 0, 2, -8, columns 0, -1, 0. Rows are our kinds of day, columns the first three weekdays, the level one number."""
    table = np.array(DEATHS, dtype=np.float64)
    weeks = np.full((len(table), WEEK), np.nan)
    weeks[:, :3] = table
    kinds = np.repeat(np.arange(len(table)), WEEK)[None]
    rows, columns = polish(
        weeks.reshape(1, -1),
        kinds,
        np.array([0]),
        len(table),
        level=lambda rest: np.full_like(rest, np.nanmedian(rest)),
        least=1,
        trust=0,
        weekdays=np.array([True]),
    )
    assert (rows[0] - 8).tolist() == [6, -1, 0, 2, -8]
    assert columns[0, :3].tolist() == [0, -1, 0]
    residuals = table - rows[0][:, None] - columns[0, :3]
    assert residuals.tolist() == [[0, 2, 0], [0, -2, 0], [0, -5, 2], [5, 0, 0], [0, 3, 0]]


def test_the_constant_of_the_median_absolute_deviation():
    """Source: P. J. Rousseeuw and C. Croux, Alternatives to the Median Absolute Deviation, JASA 88 (1993): b = 1.4826, which
    is one over the upper quartile of the standard normal."""
    assert pytest.approx(1 / NormalDist().inv_cdf(0.75), abs=5e-5) == MAD_TO_SIGMA


def test_air_handled_is_swept_capacity_times_running_time():
    """Common practice, no source: 40 m³/h for 3 h and 60 m³/h for 2 h are 240 m³."""
    one = PlantDays(
        first_day=0,
        seconds=np.array([[3 * 3600.0], [2 * 3600.0]]),
        interpolated=np.zeros((2, 1), dtype=np.bool_),
        swept_m3_per_h=np.array([[40.0], [60.0]]),
        out=np.zeros((2, 1), dtype=np.bool_),
    )
    assert np.exp(plant_values(one)) == pytest.approx([240.0], rel=1e-5)
