"""An example for each operation of the service: what is sent, and what comes back. The grove in them is invented."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

#: By operation: ``sent`` (body or form) and ``told`` (answer, long lists cut); written by tests/api/make_examples.py.
FILE: Final = Path(__file__).with_name("examples.json")


def examples() -> dict[str, dict[str, Any]]:
    """Return the examples by the name of their operation."""
    return dict(json.loads(FILE.read_text("utf-8")))


def add_examples(told: dict[str, Any]) -> None:
    """Put the examples into an OpenAPI description, in place."""
    known = examples()
    for path in told["paths"].values():
        for operation in path.values():
            example = known.get(operation["operationId"], {})
            for content in operation.get("requestBody", {}).get("content", {}).values():
                if "sent" in example:
                    content["example"] = example["sent"]
            for status, response in operation["responses"].items():
                for media_type, content in response.get("content", {}).items():
                    if status.startswith("2") and media_type.endswith("json") and "told" in example:
                        content["example"] = example["told"]
