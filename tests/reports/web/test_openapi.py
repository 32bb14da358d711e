"""Whatever a program sends, the API answers in words and never breaks: schemathesis on its own document."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from tests.reports.web.site import Phone

BOUNDED = settings(
    max_examples=25, database=None, derandomize=True,
    suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate],
)  # fmt: skip


@pytest.mark.slow
def test_no_request_made_from_the_openapi_document_breaks_it(phone: Phone) -> None:
    schemathesis = pytest.importorskip("schemathesis", reason="needs schemathesis")
    schema = schemathesis.openapi.from_dict(phone.client.get("/api/openapi.json").json())
    tried: dict[str, int] = {}

    def holds(case: Any) -> None:
        body = {} if case.method == "GET" else {"json": case.body}
        answer = phone.client.request(case.method, f"/api{case.path}", **body)
        assert answer.status_code < 500, (case.body, answer.text)
        assert str(answer.status_code) in case.operation.definition.raw["responses"]
        tried[case.path] = tried.get(case.path, 0) + 1

    for found in schema.get_all_operations():
        BOUNDED(given(case=found.ok().as_strategy())(holds))()
    assert set(tried) == {"/agenda", "/forecast", "/look", "/work", "/undo"} and tried["/look"] > 10
