"""Every request that docs/api.md shows is one that the server describes, with fields it knows."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from crankwise.web.app import create_app
from crankwise.web.settings import Settings

PAGE = (Path(__file__).parents[2] / "docs" / "api.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
REQUESTS = [
    line
    for block in BLOCKS
    for line in block.replace("\\\n", " ").splitlines()
    if re.match(r"(ask|curl) ", line)
]


@pytest.fixture(scope="module")
def described():
    return create_app(Settings()).openapi()


def request_of(line):
    """Method, address and fields of one request."""
    words = shlex.split(line, comments=True)
    [address] = [word for word in words if word.startswith("$CRANKWISE/")]
    body = json.loads(words[words.index("-d") + 1]) if "-d" in words else {}
    method = "post" if "-d" in words else "put" if "-T" in words else "get"
    parts = urlsplit(address.removeprefix("$CRANKWISE"))
    asked = dict(pair.split("=", 1) for pair in parts.query.split("&") if pair)
    return method, parts.path, asked, body


@pytest.mark.parametrize("line", REQUESTS)
def test_the_request_is_described(described, line):
    method, path, asked, body = request_of(line)
    fitting = [
        template
        for template in described["paths"]
        if re.fullmatch(re.sub(r"\{[^}]+\}", "[^/]+", template), path)
    ]
    operation = next(
        described["paths"][template][method]
        for template in sorted(fitting, key=lambda template: template.count("{"))
        if method in described["paths"][template]
    )
    known = {item["name"] for item in operation.get("parameters", ()) if item["in"] == "query"}
    assert set(asked) <= known
    if body:
        [content] = operation["requestBody"]["content"].values()
        name = content["schema"]["$ref"].rpartition("/")[2]
        schema = described["components"]["schemas"][name]
        assert set(body) <= set(schema["properties"])
        assert set(schema.get("required", ())) <= set(body)


def test_the_page_shows_requests():
    assert len(REQUESTS) > 15
