"""Figures in Prometheus's form, with few labels, on a port of their own."""

from __future__ import annotations

import socket
import threading
import urllib.error
from urllib.request import urlopen

import pytest
from prometheus_client import REGISTRY
from prometheus_client.parser import text_string_to_metric_families

from api.metrics import BUCKETS_S, COUNTED, CountedStore, Metrics, exposed, registry_of
from domain.errors import Conflict
from domain.records.engine import run_unit
from domain.records.unit import Overtaken
from tests import makers

LABELS = {"route", "method", "status", "le", "reason", "pool"}


@pytest.fixture
def metrics():
    return Metrics()


def samples(registry):
    return {(sample.name, tuple(sorted(sample.labels.items()))): sample.value for family in registry.collect() for sample in family.samples}


def total(found, name):
    return sum(value for (sample, _), value in found.items() if sample == f"reedbed_{name}")


@pytest.mark.parametrize(
    ("took_s", "within_s"), [(0.0, 0.001), (0.001, 0.001), (0.00101, 0.0025), (0.3, 0.5), (15.0, 15.0), (15.1, float("inf"))]
)
def test_a_duration_counts_from_its_bucket_on(metrics, store, took_s, within_s):
    metrics.request("/v1/sites", "GET", 200, took_s)

    found = samples(registry_of(metrics, store, is_ready=lambda: True))
    for bound in (*BUCKETS_S, float("inf")):
        label = "+Inf" if bound == float("inf") else str(bound)
        key = "reedbed_http_request_duration_seconds_bucket", (("le", label), ("method", "GET"), ("route", "/v1/sites"))
        assert found[key] == (bound >= within_s)
    assert total(found, "http_request_duration_seconds_sum") == took_s


@pytest.mark.parametrize(("status", "kind"), [(200, "2xx"), (404, "4xx"), (503, "5xx"), (0, "other")])
def test_statuses_are_counted_by_class(metrics, store, status, kind):
    metrics.request("/x", "GET", status, 0.1)

    found = samples(registry_of(metrics, store, is_ready=lambda: True))
    assert found["reedbed_http_requests_total", (("method", "GET"), ("route", "/x"), ("status", kind))] == 1


def test_methods_that_nobody_knows_are_one(metrics, store):
    for method in ("BREW", "WHEN", "PROPFIND"):
        metrics.request("unknown", method, 405, 0.1)

    found = samples(registry_of(metrics, store, is_ready=lambda: True))
    assert found["reedbed_http_requests_total", (("method", "other"), ("route", "unknown"), ("status", "4xx"))] == 3


def test_counts_from_many_threads_are_exact(metrics):
    threads = [threading.Thread(target=lambda: [metrics.count("db_tx_retries") for _ in range(2000)]) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert metrics.counted("db_tx_retries") == 8000


def test_every_name_bears_the_prefix_and_no_label_can_be_an_id(metrics, store):
    metrics.request("/v1/sites", "GET", 200, 0.1)
    for name, (_, labels) in COUNTED.items():
        metrics.count(name, *("x" for _ in labels))

    found = samples(registry_of(metrics, store, is_ready=lambda: True))
    assert {name for name, _ in found if not name.startswith("reedbed_")} == set()
    assert {label for _, labels in found for label, _ in labels} <= LABELS
    assert all(total(found, f"{name}_total") == 1 for name in COUNTED)


def test_the_registry_is_the_services_own(metrics, store):
    registry_of(metrics, store, is_ready=lambda: True)
    registry_of(metrics, store, is_ready=lambda: True)

    assert not any(family.name.startswith("reedbed_") for family in REGISTRY.collect())


def test_the_state_of_the_database_is_read_off(metrics, store, organisation):
    counted = CountedStore(store, metrics)
    with counted.transaction(makers.origin(organisation_id=organisation)) as unit:
        makers.site(unit)

    found = samples(registry_of(metrics, counted, is_ready=lambda: False))
    assert (total(found, "journal_entries_total"), total(found, "draining")) == (1, 1)
    if store.dialect == "sqlite":
        assert total(found, "sqlite_wal_bytes") > 0
        assert total(found, "disk_free_bytes") > 1_000_000
    else:
        assert ("reedbed_db_pool_in_use", (("pool", "writing"),)) in found
        assert total(found, "db_pool_waiting") == 0


def test_a_transaction_that_another_came_between_is_counted_and_one_that_failed_leaves_no_entries(metrics, store, organisation):
    counted = CountedStore(store, metrics)
    tried = []

    def overtaken_once(unit):
        makers.site(unit)
        tried.append(1)
        if len(tried) == 1:
            raise Overtaken

    run_unit(counted, overtaken_once, origin=makers.origin(organisation_id=organisation))
    with pytest.raises(Conflict):
        run_unit(counted, makers.site, origin=makers.origin(organisation_id=organisation))

    assert (metrics.counted("db_tx_retries"), metrics.counted("journal_entries")) == (1, 1)


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def test_figures_are_served_on_a_port_of_their_own_and_only_while_the_service_runs(metrics, store):
    port = free_port()
    metrics.request("/v1/sites", "GET", 200, 0.1)

    with (
        exposed(registry_of(metrics, store, is_ready=lambda: True), host="127.0.0.1", port=port),
        urlopen(f"http://127.0.0.1:{port}/metrics", timeout=5) as answer,
    ):
        said = answer.read().decode()
    with pytest.raises(urllib.error.URLError):
        urlopen(f"http://127.0.0.1:{port}/metrics", timeout=5)

    families = {family.name for family in text_string_to_metric_families(said)}
    assert {"reedbed_http_requests", "reedbed_http_request_duration_seconds", "reedbed_process_open_fds"} <= families


def test_by_default_they_are_served_nowhere(metrics, store):
    with exposed(registry_of(metrics, store, is_ready=lambda: True), host="127.0.0.1", port=0):
        assert not [thread for thread in threading.enumerate() if "serve_forever" in thread.name]
