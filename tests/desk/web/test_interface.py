"""The documented interface, tried with what its own description allows and forbids."""

from __future__ import annotations

import warnings

import pytest
from starlette.testclient import TestClient

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis
    from hypothesis import HealthCheck, Phase, settings


@pytest.fixture
def interface(client: TestClient):
    return schemathesis.openapi.from_dict(client.get("/api/openapi.json").json())


schema = schemathesis.pytest.from_fixture("interface")


@schema.parametrize()
@settings(
    max_examples=6,
    deadline=None,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@pytest.mark.filterwarnings("ignore")
def test_no_request_finds_a_fault(case, client: TestClient):
    sent = case.as_transport_kwargs(base_url="http://127.0.0.1:8723")
    sent.pop("cookies", None)
    headers = {k: v for k, v in sent.pop("headers", {}).items() if v.isascii()}
    answer = client.request(**sent, headers=headers | {"X-Tallyglass": "1"})
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        assert answer.json()["problem"]


def test_every_operation_is_described(client: TestClient):
    told = client.get("/api/openapi.json").json()
    for path, methods in told["paths"].items():
        for method, about in methods.items():
            assert about["summary"], (path, method)
            assert {"401", "413", "422"} <= set(about["responses"]), (path, method)
    page = client.get("/api").text
    assert all(path.replace("{", "{") in page for path in told["paths"])
