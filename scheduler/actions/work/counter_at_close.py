"""What a counter showed when a job was done, turned into the subject's own running hours."""

from datetime import datetime

from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState, hours_then, plant_state, plant_state_then
from scheduler.actions.vessel.fleet import Place
from scheduler.actions.work.closing_checks import most_hours
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import where
from scheduler.domain.hours.counter_figure import CounterFigure
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.errors import Refused
from scheduler.language import gettext
from scheduler.wording.hours import figure_words

MOST_COUNTS = 1e12


def counter_at_subject(now: PlantState, kind: JobKind, job_id: JobId) -> CounterFigure | None:
    """What the counter of a job's subject shows; none where none counts, or where the hours are nobody's."""
    position = where(now.plant, kind.subject, job_id.subject, now.at)[1]
    counts = (kind.subject, job_id.subject) in now.hours
    return now.counter_figure(position) if position and counts else None


def hours_by_counter(
    context: Context, place: Place, kind: JobKind, job_id: JobId, shown: float | None, at: datetime
) -> float | None:
    """The subject's own running hours at `at`, when its counter showed a figure, in the counter's own counts.

    Where no counter counted for it then, the figure is the subject's hours. None for none.

    Raises:
        Refused: it cannot have shown that.
    """
    if shown is None:
        return None
    now = plant_state(context, place.vessel_id, place.plant_id)
    then = now if at >= now.at else plant_state_then(context, place.vessel_id, place.plant_id, at)
    figure = counter_at_subject(then, kind, job_id)
    if figure is None:
        return shown
    if 0 <= shown <= MOST_COUNTS:
        seconds = _counted(context, now, kind, job_id, figure, then.at).seconds + figure.run_until(round(shown * 1000))
        most = now.hours.get((kind.subject, job_id.subject))
        if most is not None and 0 <= seconds <= most_hours(now, most) * 3600:
            return seconds / 3600
    says = gettext(
        "the counter showed {then}: this cannot be its figure when the job was done. "
        "Give what it showed, in its own counts, or leave it empty.",
        then=figure_words(figure),
    )
    raise Refused(f"running_hours: {says}", faults=[("/running_hours", says)])


def _counted(
    context: Context, now: PlantState, kind: JobKind, job_id: JobId, figure: CounterFigure, at: datetime
) -> RunningHours:
    """The subject's hours when its counter showed the figure; at `at` where it came to that counter since."""
    places = [where(now.plant, kind.subject, job_id.subject, when) for when in (figure.at, at)]
    with context.db.read() as session:
        when = figure.at if places[0] == places[1] else at
        return hours_then(session, now, kind.subject, job_id.subject, when)
