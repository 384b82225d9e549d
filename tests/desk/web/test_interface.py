"""The documented interface, tried with what its own description allows and forbids."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from starlette.testclient import TestClient

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis

EXAMPLES = 6


@pytest.mark.filterwarnings("ignore")
def test_no_request_finds_a_fault(client: TestClient):
    """Every operation, with what its description allows: no fault, every refusal in words."""
    schema = schemathesis.openapi.from_dict(client.get("/api/openapi.json").json())
    tried = 0
    for found in schema.get_all_operations():
        operation = found.ok()

        @given(case=operation.as_strategy())
        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            database=None,
            derandomize=True,
            phases=(Phase.generate,),
            suppress_health_check=list(HealthCheck),
        )
        def try_it(case):
            send(client, case)

        try_it()
        tried += 1
    assert tried > 25


def send(client: TestClient, case) -> None:
    """One request, judged by its answer."""
    wanted = case.as_transport_kwargs(base_url="http://127.0.0.1:8723")
    wanted.pop("cookies", None)
    headers = {name: value for name, value in wanted.pop("headers", {}).items() if value.isascii()}
    answer = client.request(**wanted, headers=headers | {"X-Tallyglass": "1"})
    assert answer.status_code < 500, (case.method, case.path, answer.text)
    documented = case.operation.definition.raw["responses"]
    assert str(answer.status_code) in documented, (case.method, case.path, answer.status_code)
    if answer.status_code >= 400:
        assert answer.json()["problem"]


def test_every_operation_is_described_for_scripts_and_for_people(client: TestClient):
    told = client.get("/api/openapi.json").json()
    for path, methods in told["paths"].items():
        for method, about in methods.items():
            assert about["summary"], (path, method)
            assert {"401", "413", "422"} <= set(about["responses"]), (path, method)
    page = client.get("/api")
    assert page.status_code == 200
    assert all(path in page.text for path in told["paths"])
