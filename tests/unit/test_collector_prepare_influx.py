"""What is asked of a server before it is fed, on answers in the shape of its published API.

A 1.8 server is prepared for real in tests/integration/test_influx.py. These tests hold what is sent to a 2.x, not what
it does with it.
"""

from collections.abc import Sequence
from typing import Any

import pytest

from collector.line_protocol import AccessRefused
from collector.prepare_influx import forget, prepare, version
from collector.readings_influx import InfluxArchive, Place
from collector.storage import StoreFailed

Call = tuple[str, str, dict[str, str], Any]


class Two(InfluxArchive):
    """A place whose calls are kept and answered as the published API of 2.x describes."""

    def __init__(self, orgs: Sequence[str] = ("smokehouse",)) -> None:
        super().__init__(Place("http://influx.example", "curevigil/readings", "t", "smokehouse"))
        self.orgs, self.calls = orgs, list[Call]()
        self.there: dict[str, list[dict[str, Any]]] = {"buckets": [], "dbrps": [], "tasks": []}

    def call(self, method: str, path: str, query: Sequence[tuple[str, str]], body: object = None) -> Any:
        given = dict(query)
        self.calls.append((method, path, given, body))
        if path == "/health":
            return {"name": "influxdb", "version": "v2.7.12"}
        if path == "/api/v2/orgs":
            return {"orgs": [{"id": "o1", "name": name} for name in self.orgs if name == given["org"]]}
        kind = path.split("/")[3]
        if method == "POST":
            assert isinstance(body, dict)
            made = {**body, "id": f"{kind}{len(self.there[kind])}"}
            self.there[kind].append(made)
            return made
        if method == "GET":
            found = [each for each in self.there[kind] if given.get("name") in (None, each.get("name"))]
            if kind == "buckets" and not found:
                raise AccessRefused(f'answers 404: bucket "{given["name"]}" not found')
            return {kind: found, "content": found}
        return {}


class Unknown(InfluxArchive):
    """A 1.8 built from its module, which tells no version."""

    def __init__(self) -> None:
        super().__init__(Place("http://influx.example", "curevigil/readings", "t"))

    def call(self, method: str, path: str, query: Sequence[tuple[str, str]], body: object = None) -> Any:
        if path == "/health":
            return {"name": "influxdb", "version": "unknown"}
        raise AccessRefused("404 page not found")


def test_the_version_is_told_or_found_out() -> None:
    assert version(Two()) == "2.7.12"
    assert version(Unknown()) == "1.x"


def test_two_gets_both_buckets_a_mapping_and_a_task() -> None:
    archive = Two()
    said = prepare(archive, 400)
    kept, long = archive.there["buckets"]
    assert (kept["name"], kept["retentionRules"]) == (
        "curevigil/readings",
        [{"type": "expire", "everySeconds": 34_560_000}],
    )
    assert (long["name"], long["retentionRules"]) == ("curevigil/long", [])
    (mapped,) = archive.there["dbrps"]
    assert (mapped["database"], mapped["retention_policy"], mapped["bucketID"]) == ("curevigil", "readings", kept["id"])
    (task,) = archive.there["tasks"]
    assert task["orgID"] == "o1"
    assert 'name: "reading_30m curevigil/readings", every: 30m' in task["flux"]
    assert 'to(bucket: "curevigil/long")' in task["flux"]
    assert said[0] == "InfluxDB 2.7.12 at http://influx.example"


def test_an_organisation_that_is_not_there_is_named() -> None:
    with pytest.raises(StoreFailed, match=r"no organisation 'smokehouse'; mend \[influx\] org"):
        prepare(Two(orgs=()), 0)


def test_preparing_two_again_makes_no_second_bucket() -> None:
    archive = Two()
    prepare(archive, 0)
    prepare(archive, 30)
    assert [bucket["name"] for bucket in archive.there["buckets"]] == ["curevigil/readings", "curevigil/long"]
    changed = [(path, body) for method, path, _, body in archive.calls if method == "PATCH"]
    assert ("/api/v2/buckets/buckets0", {"retentionRules": [{"type": "expire", "everySeconds": 2_592_000}]}) in changed


def test_forgetting_in_two_removes_the_one_bucket() -> None:
    archive = Two()
    prepare(archive, 0)
    forget(archive)
    assert [path for method, path, *_ in archive.calls if method == "DELETE"] == ["/api/v2/buckets/buckets0"]
