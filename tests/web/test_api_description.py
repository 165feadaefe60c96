"""The OpenAPI document beside the answers of a running page: requests made up by Schemathesis (PyPI, MIT).

Left out: that whatever fits the document is accepted (a job sheet has rules that no schema tells), and that whatever
does not fit is refused (fields that nobody knows are passed over).
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import schemathesis
import uvicorn
from conftest_web import BASE, CAPTURE, Visitor
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode, checks

from analysis.serve.api import openapi
from analysis.serve.app import make_app, open_site
from analysis.serve.guard import OWN_HEADER
from analysis.serve.limits import ServeLimits
from analysis.serve.run import LOOPBACK, _listen

METHODS = ("get", "post", "delete")
OPERATIONS = [(path, one) for path, item in openapi()["paths"].items() for one in item if one in METHODS]
checks.load_all_checks()
CHECKS = checks.CHECKS.get_by_names(
    ["not_a_server_error", "status_code_conformance", "content_type_conformance", "response_schema_conformance",
     "response_headers_conformance", "unsupported_method", "allow_header_conformance"]
)  # fmt: skip
OFTEN = replace(ServeLimits(), requests_per_minute=10**6, uploads_per_minute=10**6, waiting_jobs=10**6)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """Address and one job with a report; nothing more is read."""
    data = tmp_path_factory.mktemp("described") / "data"
    with Visitor(make_app(open_site(data, lan=False)), base_url=BASE) as visitor:
        job = visitor.read(("good.log", CAPTURE.read_bytes())).rpartition("/")[2]
    site = open_site(data, lan=False, limits=OFTEN)
    with _listen(LOOPBACK, 0) as listening:
        server = uvicorn.Server(uvicorn.Config(make_app(site), log_level="warning", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield f"http://{LOOPBACK}:{listening.getsockname()[1]}", job
        server.should_exit = True
        thread.join()
    site.store.close()


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_every_answer_is_described(running: tuple[str, str], path: str, method: str, mode: GenerationMode) -> None:
    base, known = running
    operation = schemathesis.openapi.from_dict(openapi())[path][method.upper()]

    @settings(max_examples=15, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(generation_mode=mode), is_known=st.booleans(), has_header=st.booleans())
    def ask(case: Any, is_known: bool, has_header: bool) -> None:
        if is_known and "{job}" in path and method != "delete":
            case.path_parameters["job"] = known
        headers = {OWN_HEADER: "1"} if has_header else {}
        case.validate_response(case.call(base_url=base, headers=headers), checks=CHECKS)

    ask()


def test_every_refusal_of_the_code_is_described() -> None:
    serve = Path(str(make_app.__code__.co_filename)).parent
    said = {code for one in ("api", "site", "guard") for code in
            re.findall(r"HTTPException\(\s*(\d{3})", (serve / f"{one}.py").read_text())}  # fmt: skip
    described = {code for path, one in OPERATIONS for code in openapi()["paths"][path][one]["responses"]}
    assert said and said <= described
