"""Figures for Prometheus, counted in plain numbers where requests pass and put into its form when somebody asks.

Labels are templates of paths, methods and classes of statuses; never an id, never an organisation.
"""

from __future__ import annotations

import shutil
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from itertools import accumulate
from pathlib import Path
from threading import Lock
from typing import Any

from prometheus_client import CollectorRegistry, ProcessCollector, start_http_server
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.registry import Collector

from domain.records.engine import Store
from domain.records.journal import Origin
from domain.records.unit import Overtaken, Unit

BUCKETS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 15.0)
METHODS = frozenset({"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"})
OTHER = "other"
PREFIX = "reedbed_"
COUNTED: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "admission_rejected": ("Requests refused because too many were at work, by reason.", ("reason",)),
    "rate_limited": ("Requests refused because their caller asks too often.", ()),
    "db_tx_retries": ("Transactions that another one came between, and that were run again or given up.", ()),
    "idempotency_replays": ("Answers given again for the same Idempotency-Key.", ()),
    "authn_failures": ("Requests without a proof of identity that holds, by reason.", ("reason",)),
    "authz_denials": ("Requests that their caller may not make.", ()),
    "tenant_guard_violations": ("Statements stopped because they would have written another organisation's rows; a fault of ours.", ()),
    "journal_entries": ("Journal entries committed.", ()),
}
"""What is counted by name: what it means, and its labels."""


class Metrics:
    """The figures of one running service."""

    def __init__(self) -> None:
        self.in_flight = 0
        self._requests: dict[tuple[str, str, str], list[float]] = {}
        self._counts: Counter[tuple[str, ...]] = Counter()
        self._lock = Lock()

    def request(self, route: str, method: str, status: int, took_s: float) -> None:
        """Count a request that has been answered, or broken off (status 0). Called on the event loop only."""
        key = (route, method if method in METHODS else OTHER, f"{status // 100}xx" if status else OTHER)
        figures = self._requests.get(key)
        if figures is None:
            figures = self._requests[key] = [0.0] * (len(BUCKETS_S) + 2)
        figures[0] += took_s
        figures[1 + bisect_left(BUCKETS_S, took_s)] += 1

    def count(self, name: str, *labels: str, times: int = 1) -> None:
        """Count something of ``COUNTED``, from any thread."""
        with self._lock:
            self._counts[name, *labels] += times

    def counted(self, name: str, *labels: str) -> int:
        """Return how often something was counted."""
        return self._counts[name, *labels]

    def families(self) -> Iterator[Metric]:
        """Yield the figures in Prometheus's form."""
        yield from self._request_families()
        yield GaugeMetricFamily(f"{PREFIX}http_requests_in_flight", "Requests that are being answered.", value=self.in_flight)
        with self._lock:
            counts = dict(self._counts)
        for name, (meaning, labels) in COUNTED.items():
            family = CounterMetricFamily(f"{PREFIX}{name}", meaning, labels=labels)
            found = {key[1:]: times for key, times in counts.items() if key[0] == name}
            for values, times in (found or ({} if labels else {(): 0})).items():
                family.add_metric(values, times)
            yield family

    def _request_families(self) -> Iterator[Metric]:
        labels = ("route", "method", "status")
        requests = CounterMetricFamily(f"{PREFIX}http_requests", "Requests answered.", labels=labels)
        durations = HistogramMetricFamily(f"{PREFIX}http_request_duration_seconds", "How long answers took.", labels=labels[:2])
        by_route: dict[tuple[str, str], list[float]] = {}
        for (route, method, status), figures in self._requests.copy().items():
            requests.add_metric((route, method, status), sum(figures[1:]))
            summed = by_route.setdefault((route, method), [0.0] * len(figures))
            by_route[route, method] = [one + other for one, other in zip(summed, figures, strict=True)]
        for place, (total_s, *counts) in by_route.items():
            bounds = [*(str(bound) for bound in BUCKETS_S), "+Inf"]
            durations.add_metric(place, [*zip(bounds, accumulate(counts), strict=True)], total_s)
        yield requests
        yield durations


class CountedStore:
    """A store whose transactions are counted; in everything else it is the store itself."""

    def __init__(self, store: Store, metrics: Metrics) -> None:
        self._store = store
        self._metrics = metrics
        self.read, self.enter = store.read, store.enter

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever the store has
        return getattr(self._store, name)

    def transaction(self, origin: Origin) -> AbstractContextManager[Unit]:
        """Open a writing transaction of the store; see there."""
        return self._counted(self._store.transaction(origin))

    @contextmanager
    def _counted(self, transaction: AbstractContextManager[Unit]) -> Iterator[Unit]:
        entries = 0
        try:
            with transaction as unit:
                yield unit
                entries = unit.unsealed
        except Overtaken:
            self._metrics.count("db_tx_retries")
            raise
        if entries:
            self._metrics.count("journal_entries", times=entries)


class Figures(Collector):
    """What is read off when somebody asks: the counts, and the state of the database and its disk at that moment."""

    def __init__(self, metrics: Metrics, store: Store, *, is_ready: Callable[[], bool]) -> None:
        self._metrics = metrics
        self._store = store
        self._is_ready = is_ready

    def collect(self) -> Iterator[Metric]:
        """Yield all figures."""
        yield from self._metrics.families()
        yield GaugeMetricFamily(f"{PREFIX}draining", "1 while the service is about to stop.", value=0 if self._is_ready() else 1)
        yield from _file_families(self._store) if self._store.dialect == "sqlite" else _pool_families(self._store)


def _file_families(store: Any) -> Iterator[Metric]:  # noqa: ANN401 - a SQLite store, counted or not
    log = Path(f"{store.path}-wal")
    yield GaugeMetricFamily(f"{PREFIX}sqlite_wal_bytes", "Size of the write-ahead log.", value=log.stat().st_size if log.exists() else 0)
    yield GaugeMetricFamily(f"{PREFIX}disk_free_bytes", "Free space beside the database.", value=free_bytes(store.path))


def _pool_families(store: Any) -> Iterator[Metric]:  # noqa: ANN401 - a PostgreSQL store, counted or not
    in_use = GaugeMetricFamily(f"{PREFIX}db_pool_in_use", "Connections in use.", labels=("pool",))
    waiting = GaugeMetricFamily(f"{PREFIX}db_pool_waiting", "Requests that wait for a connection.", labels=("pool",))
    waited = CounterMetricFamily(f"{PREFIX}db_pool_wait_seconds", "Time spent in waiting for connections.", labels=("pool",))
    for name, stats in store.pool_figures().items():
        in_use.add_metric((name,), stats.get("pool_size", 0) - stats.get("pool_available", 0))
        waiting.add_metric((name,), stats.get("requests_waiting", 0))
        waited.add_metric((name,), stats.get("requests_wait_ms", 0) / 1000)
    yield from (in_use, waiting, waited)


def free_bytes(path: Path) -> int:
    """Return how much may still be written beside a file [bytes]."""
    return shutil.disk_usage(path.absolute().parent).free


def registry_of(metrics: Metrics, store: Store, *, is_ready: Callable[[], bool]) -> CollectorRegistry:
    """Return a registry of one service's own, with what its process uses."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Figures(metrics, store, is_ready=is_ready))
    ProcessCollector(namespace=PREFIX.rstrip("_"), registry=registry)
    return registry


@contextmanager
def exposed(registry: CollectorRegistry, *, host: str, port: int) -> Iterator[None]:
    """Serve a registry on a port of its own until the block ends; port 0 serves it nowhere."""
    if not port:
        yield
        return
    server, thread = start_http_server(port, addr=host, registry=registry)
    try:
        yield
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
