"""What `/metrics` says, in the Prometheus text format: counted here, put into words by prometheus-client, in a registry of its own.

A label is a word of the program: a method, a route's template, a status, a timer. No ship, person, address, key or path
ever stands in one.
"""

import time
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.exposition import choose_encoder
from prometheus_client.metrics_core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    InfoMetricFamily,
    Metric,
)
from prometheus_client.registry import Collector
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from scheduler.actions.care.health import Found
from scheduler.storage.hours.intake import IntakeState
from scheduler.timers import TimerState
from scheduler.version import VERSION

BOUNDS_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_SHORT_WAYS = (("/cal/", "/cal/{token}"), ("/api/v1/readings", "/api/v1/readings"), ("/static/", "/static"))
"""Doors that are answered before a route is looked for, by how their paths begin."""
Labels = tuple[str, str]


class RequestCounts:
    """Requests answered since the start, by method, route and status; how long they took, by method and route.

    Counted on the server's loop alone, so without a lock.
    """

    def __init__(self) -> None:
        self.answers: defaultdict[tuple[str, str, str], int] = defaultdict(int)
        self.durations: defaultdict[Labels, list[int]] = defaultdict(lambda: [0] * (len(BOUNDS_SECONDS) + 1))
        self.seconds: defaultdict[Labels, float] = defaultdict(float)

    def add(self, method: str, route: str, status: int, seconds: float) -> None:
        """One request was answered. route: its template, not the path."""
        labels = (method if method in METHODS else "other", route)
        self.answers[*labels, str(status)] += 1
        self.durations[labels][bisect_left(BOUNDS_SECONDS, seconds)] += 1
        self.seconds[labels] += seconds

    def families(self) -> Iterator[Metric]:
        """As metrics."""
        answers = CounterMetricFamily("leadline_requests", "Requests answered.", labels=("method", "route", "status"))
        for key, count in sorted(self.answers.items()):
            answers.add_metric(key, count)
        yield answers
        took = HistogramMetricFamily("leadline_request_seconds", "Time to the answer.", labels=("method", "route"))
        for labels, counts in sorted(self.durations.items()):
            sums = [sum(counts[: place + 1]) for place in range(len(counts))]
            bounds = [*(str(bound) for bound in BOUNDS_SECONDS), "+Inf"]
            took.add_metric(labels, list(zip(bounds, sums, strict=True)), self.seconds[labels])
        yield took


class RequestMeter:
    """Counts each request of the application it wraps."""

    def __init__(self, app: ASGIApp, counts: RequestCounts) -> None:
        self.app, self.counts = app, counts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Plain ASGI."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began = time.perf_counter()

        async def counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                self.counts.add(scope["method"], route_word(scope), message["status"], time.perf_counter() - began)
            await send(message)

        await self.app(scope, receive, counted)


def route_word(scope: Scope) -> str:
    """The template of the route that answers; a word of ours where there is none."""
    template = getattr(scope.get("route"), "path", None)
    if isinstance(template, str):
        return template
    return next((word for begin, word in _SHORT_WAYS if scope["path"].startswith(begin)), "none")


class ServerCollector(Collector):
    """What the server is at the moment somebody asks."""

    def __init__(
        self,
        counts: RequestCounts,
        found: Callable[[], Found],
        intake: Callable[[], IntakeState],
        timers: Callable[[], list[TimerState]],
    ) -> None:
        self._counts, self._found, self._intake, self._timers = counts, found, intake, timers

    def collect(self) -> Iterator[Metric]:
        """All of it."""
        yield InfoMetricFamily("leadline", "The program.", value={"version": VERSION})
        yield from self._counts.families()
        yield from self._of_intake(self._intake())
        found = self._found()
        yield GaugeMetricFamily("leadline_ready", "1 while requests can be served.", value=int(found.ready))
        failed = GaugeMetricFamily(
            "leadline_failed", "What the timers could not do and is not put right.", labels=("about",)
        )
        for about, count in sorted(found.failed_by_kind().items()):
            failed.add_metric((about,), count)
        yield failed
        if found.vessels is not None:
            yield GaugeMetricFamily("leadline_vessels", "Vessels known here.", value=found.vessels)
        if found.free_bytes is not None:
            yield GaugeMetricFamily(
                "leadline_database_free_bytes", "Room left beside the database.", value=found.free_bytes
            )
        pending = GaugeMetricFamily("leadline_pending_tasks", "Tasks asked for and not done.", labels=("task",))
        for task, count in sorted(found.pending.items()):
            pending.add_metric((task,), count)
        yield pending
        if found.workers is not None:
            yield GaugeMetricFamily("leadline_workers", "Lanes of workers that signed lately.", value=found.workers)
        yield from self._of_timers(self._timers())

    def _of_intake(self, state: IntakeState) -> Iterator[Metric]:
        yield GaugeMetricFamily(
            "leadline_intake_waiting", "Batches that wait for the writer.", value=state.waiting_requests
        )
        yield CounterMetricFamily("leadline_intake_stored", "Readings stored.", value=state.stored)
        yield CounterMetricFamily("leadline_intake_failed", "Batches that got an error.", value=state.failed)
        if state.last_commit_at is not None:
            at = state.last_commit_at.timestamp()
            yield GaugeMetricFamily("leadline_intake_last_commit_timestamp_seconds", "The last commit.", value=at)

    def _of_timers(self, states: list[TimerState]) -> Iterator[Metric]:
        done = CounterMetricFamily("leadline_timer_turns", "Turns of a timer that ended well.", labels=("timer",))
        failures = CounterMetricFamily("leadline_timer_failures", "Turns of a timer that failed.", labels=("timer",))
        failing = GaugeMetricFamily("leadline_timer_failing", "1 while its last turn failed.", labels=("timer",))
        good = GaugeMetricFamily("leadline_timer_last_good_timestamp_seconds", "Its last good turn.", labels=("timer",))
        for one in states:
            done.add_metric((one.name,), one.done)
            failures.add_metric((one.name,), one.failures)
            failing.add_metric((one.name,), int(one.failing is not None))
            if one.last_good_at is not None:
                good.add_metric((one.name,), one.last_good_at.timestamp())
        yield from (done, failures, failing, good)


def metrics_registry(collector: ServerCollector) -> CollectorRegistry:
    """A registry of this application's own, with the figures of its process."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(collector)
    ProcessCollector(registry=registry)
    return registry


def metrics_text(registry: CollectorRegistry, accept: str) -> tuple[bytes, str]:
    """(body, content type) in the form that is asked for."""
    encode, content_type = choose_encoder(accept)
    return encode(registry), content_type
