"""The description of the service: complete, with an example for each operation, and answers that keep to it.

OpenAPI Specification 3.1.0; JSON Schema 2020-12 (by `jsonschema_rs`, which comes with schemathesis); schemathesis sends
what its authors know to break services.
"""

from __future__ import annotations

import contextlib
import re
import uuid
from pathlib import Path

import jsonschema_rs
import pytest

import api.steps
from api.app import create_app
from api.models.examples import examples
from api.settings import Settings

METHODS = {"get", "post", "put", "patch", "delete"}


@pytest.fixture(scope="module")
def told(reading):
    return reading.app.openapi()


def operations(told):
    return [
        (path, method, operation)
        for path, entry in told["paths"].items()
        for method, operation in entry.items()
        if method in METHODS
    ]


def validator(told, schema):
    return jsonschema_rs.validator_for(
        {**schema, "components": told["components"], "$schema": "https://json-schema.org/draft/2020-12/schema"}
    )


def test_every_operation_has_an_example_that_keeps_to_its_schema(told):
    seen = set()
    for path, method, operation in operations(told):
        name = operation["operationId"]
        assert operation["summary"], name
        assert operation["description"], name
        contents = list(operation.get("requestBody", {}).get("content", {}).items())
        contents += [
            item
            for status, answer in operation["responses"].items()
            if status.startswith("2")
            for item in answer.get("content", {}).items()
            if item[0].endswith("json") and item[1].get("schema") != {"type": "object"}
        ]
        for media, content in contents:
            assert "example" in content, (name, media)
            if media != "multipart/form-data":
                errors = [
                    str(error)[:300] for error in validator(told, content["schema"]).iter_errors(content["example"])
                ]
                assert errors == [], (method, path, media)
        seen.add(name)
    assert set(examples()) <= seen


def test_every_problem_has_its_media_type(told):
    for _, _, operation in operations(told):
        for status, answer in operation["responses"].items():
            if status.startswith(("4", "5")):
                assert list(answer["content"]) == ["application/problem+json"]


def test_every_edit_asks_for_its_version(told):
    for path, method, operation in operations(told):
        # Shutting a device out twice is the same as once: it overwrites nothing
        if method in ("patch", "delete") and "device" not in path:
            assert "428" in operation["responses"], path
            assert any(parameter["name"] == "if-match" for parameter in operation["parameters"]), path


def test_every_figure_with_a_unit_says_so(told):
    """A number that stands for a length, an area or a rate ends in its unit; no published example."""
    units = ("_m", "_m2", "_ha", "_deg", "_l", "_per_beat", "_taps")
    for name, schema in told["components"]["schemas"].items():
        for field in schema.get("properties", {}):
            if re.search(r"spacing|headland|bearing|setback_|area|distance|upslope|elevation|canopy", field):
                assert field.endswith(units), (name, field)


def test_every_answer_of_the_demo_keeps_to_its_schema(told, reading):
    base = "/api/groves/{grove}"
    trees = reading.client.get(f"{reading.base}/trees").json()["columns"]["tree"]
    walk = reading.client.get(f"{reading.base}/walks").json()["walks"][0]["walk"]
    block = reading.client.get(f"{reading.base}/blocks").json()["features"][0]["id"]
    keep_out = reading.client.get(f"{reading.base}/keep-outs").json()["features"][0]["id"]
    filled = {"{tree}": trees[0], "{walk}": walk, "{block}": block, "{keep_out}": keep_out, "{name}": "label"}
    asked = 0
    for path, method, operation in operations(told):
        url = path.replace(base, reading.base)
        for key, value in filled.items():
            url = url.replace(key, value)
        content = operation["responses"].get("200", {}).get("content", {})
        if method != "get" or "{" in url or not any(media.endswith("json") for media in content):
            continue
        answer = reading.client.get(url, params={"label": "East Gate/1/1"} if url.endswith("/labels") else {})
        assert answer.status_code == 200, (url, answer.text)
        media = answer.headers["content-type"]
        assert [
            str(error)[:300] for error in validator(told, content[media]["schema"]).iter_errors(answer.json())
        ] == [], url
        asked += 1
    assert asked >= 15


def test_every_step_is_reached_by_the_service_or_stands_behind_one_that_is():
    """The rooms that a router leans on, by what it imports: a step that no door reaches is dead."""
    folder = Path(api.steps.__file__).parent
    text = "\n".join(
        path.read_text() for room in ("routes", "commands", "steps") for path in (folder.parent / room).glob("*.py")
    )
    for step in folder.glob("*.py"):
        if step.stem != "__init__":
            assert re.search(rf"\b{step.stem}\b", text), step.stem


def fuzzed(examples_number):
    import schemathesis
    from hypothesis import HealthCheck, settings
    from schemathesis.checks import CHECKS, load_all_checks

    load_all_checks()
    wanted = {
        "not_a_server_error",
        "content_type_conformance",
        "response_schema_conformance",
        "status_code_conformance",
    }
    checks = [check for name, check in ((check.__name__, check) for check in CHECKS.get_all()) if name in wanted]
    assert len(checks) == len(wanted)
    kept = settings(
        max_examples=examples_number,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        database=None,
        derandomize=True,
    )
    return schemathesis, kept, checks


@pytest.mark.slow
def test_whatever_is_sent_is_answered_as_described(demo, tmp_path):
    """At least 500 requests made up from the description: no 5xx, and every answer as described (schemathesis)."""
    per_operation = 11
    sent = run_fuzz(demo, per_operation)
    assert sent >= 500


def real_things(demo):
    """Return ids of things that are in the demo grove, and their versions, so that requests get past the first door."""
    ask = demo.client.get
    block = ask(f"{demo.base}/blocks").json()["features"][0]
    keep_out = ask(f"{demo.base}/keep-outs").json()["features"][0]
    ids = {
        "grove": demo.base.rpartition("/")[2],
        "block": block["id"],
        "keep_out": keep_out["id"],
        "walk": ask(f"{demo.base}/walks").json()["walks"][0]["walk"],
        "tree": ask(f"{demo.base}/trees").json()["columns"]["tree"][0],
        "zone": demo.client.post(f"{demo.base}/zones", json={"zone": str(uuid.uuid4()), "replaces": None}).json()[
            "zone"
        ],
    }

    def version(path):
        thing = next((name for name in ("block", "keep_out", "zone", "name") if f"{{{name}}}" in path), "grove")
        url = {"block": f"blocks/{ids['block']}", "keep_out": f"keep-outs/{ids['keep_out']}",
               "zone": f"zones/{ids['zone']}", "name": "facts/label", "grove": ""}[thing]  # fmt: skip
        told = ask(f"{demo.base}/{url}".rstrip("/")).json()
        return told.get("version") or told.get("properties", {}).get("version", "0")

    return ids, version


def run_fuzz(demo, per_operation):
    from hypothesis import Phase, given, settings
    from hypothesis.errors import Unsatisfiable

    schemathesis, kept, checks = fuzzed(per_operation)
    schema = schemathesis.openapi.from_asgi("/openapi.json", demo.app)
    ids, version = real_things(demo)
    found = [result.ok() for result in schema.get_all_operations()]
    # a grove can be started once only; undo comes last, since it takes everything away
    left_out = (("/api/demo", "post"), ("/api/groves", "post"))
    chosen = [operation for operation in found if (operation.path, operation.method.lower()) not in left_out]
    counted = [0]

    def asking(operation):
        """Make the test of one operation."""
        with_version = operation.method.upper() in ("PATCH", "DELETE", "POST")

        @given(case=operation.as_strategy())
        @settings(kept, phases=[Phase.generate])
        def ask(case):
            counted[0] += 1
            case.path_parameters = {**(case.path_parameters or {}), "grove": ids["grove"]}
            if counted[0] % 4:
                case.path_parameters |= {name: value for name, value in ids.items() if name in case.path_parameters}
            case.headers = {**(case.headers or {}), "Host": "testserver"}
            case.headers.pop("Origin", None)
            if counted[0] % 5 and with_version and "{" in case.path:
                others = {name: value for name, value in case.headers.items() if name.lower() != "if-match"}
                case.headers = {**others, "If-Match": f'"{version(case.path)}"'}
            case.call_and_validate(checks=checks, timeout=120)

        return ask

    for operation in sorted(chosen, key=lambda operation: operation.path.endswith("/undo")):
        # what no request can be made up for is passed over
        with contextlib.suppress(Unsatisfiable):
            asking(operation)()
    return counted[0]


def test_the_app_is_made_without_a_grove(tmp_path):
    assert create_app(Settings()).openapi()["info"]["title"] == "gridmap"
