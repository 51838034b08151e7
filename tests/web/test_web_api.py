"""The HTTP API: what it answers is what it says it answers, and what the command line prints."""

from __future__ import annotations

import io
import json
import re
import shutil
import zipfile
from pathlib import Path
from urllib.parse import quote

import jsonschema
import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.python.asgi import shutdown_lifespans
from schemathesis.specs.openapi import checks
from typer.testing import CliRunner

from crankwise.cli.app import app as cli
from crankwise.schemas import comparison_schema, known_good_schema, measurement_schema
from crankwise.store import open_store
from crankwise.web.app import create_app
from crankwise.web.settings import Settings

GONE = [
    "../shop",
    "..%2f..%2fetc%2fpasswd",
    "..\\x",
    "x" * 300,
    "\x00",
    "%00",
    "'--",
]


def cli_json(shop, *arguments):
    done = CliRunner().invoke(cli, ["--store", str(shop), *arguments, "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


# --- the whole visit ------------------------------------------------------------------------------


def test_a_visit_from_beginning_to_end(program, finished, recordings):
    begun = program.post(
        "/api/jobs", json={"vehicle": "van 9", "family": "tarn t20", "plate": "BR26 9XY"}
    )
    assert begun.status_code == 201
    assert begun.json()["state"]["state"] == "open"
    job_id = begun.json()["job"]["id"]
    visit = program.post(
        f"/api/jobs/{job_id}/visits",
        json={"date": "2026-03-01", "mileage": 46_200, "mileage_unit": "miles"},
    ).json()
    fact = {"kind": "complaint", "text": "engine light came on once"}
    kept = program.post(f"/api/visits/{visit['id']}/facts", json={"fact": fact})
    assert kept.status_code == 201
    assert kept.json()["fact"] == {"text": fact["text"]}

    upload = program.put("/api/uploads?name=van.csv", content=recordings["new"].read_bytes())
    asked = {"uploads": [upload.json()["id"]]}
    work = program.post(f"/api/visits/{visit['id']}/recordings", json=asked)
    assert work.status_code == 202
    assert finished(work.json())["state"] == "done"

    shown = program.get(f"/api/visits/{visit['id']}").json()
    assert shown["state"]["state"] == "judged"
    assert shown["not_compared"] is None
    [measured], [compared] = shown["file"]["measurements"], shown["file"]["comparisons"]
    sha256 = shown["file"]["recordings"][0]["recording"]["sha256"]
    assert measured["recording_sha256"] == compared["recording_sha256"] == sha256
    comparison = program.get(f"/api/comparisons/{compared['id']}").json()
    assert comparison["verdict"]["level"] == compared["level"]
    assert program.get(f"/api/recordings/{sha256}").json()["measurements"] == [measured["id"]]
    [found] = program.get("/api/jobs", params={"search": "br26 9"}).json()
    assert found["job"]["id"] == job_id
    assert found["level"] == compared["level"]

    added = program.post(
        f"/api/visits/{visit['id']}/known-good", json={"warm": True, "despite_verdict": True}
    )
    assert added.status_code == 201
    assert added.json()["measurement"]["recording"]["name"].startswith("known-good-")
    rows = program.get("/api/known-goods", params={"family": "Tarn T20", "limit": 1}).json()
    assert [row["id"] for row in rows] == [added.json()["id"]]


def test_a_recording_is_measured_again_with_other_roles(program, finished):
    visit = program.get("/api/visits/2").json()["file"]
    sha256 = visit["recordings"][0]["recording"]["sha256"]
    swapped = {"crank": "crank", "cams": {"intake": "exhaust", "exhaust": "intake"}}
    address = f"/api/visits/2/recordings/{sha256}/measure"
    assert finished(program.post(address, json=swapped).json())["state"] == "done"
    after = program.get("/api/visits/2").json()["file"]
    assert len(after["measurements"]) == len(visit["measurements"]) + 1
    assert after["measurements"][-1]["settings"]["cams"] == swapped["cams"]
    assert len(after["comparisons"]) == len(visit["comparisons"]) + 1
    assert finished(program.post(address, json={"crank": "none"}).json())["state"] == "failed"
    wrong = f"/api/visits/1/recordings/{sha256}/measure"
    assert program.post(wrong, json={}).status_code == 404


def test_a_comparison_with_known_goods_asked_for(program, finished):
    [known_good] = program.get("/api/known-goods").json()
    asked = {"known_goods": [known_good["id"]], "service_limit_deg": 8.0}
    work = finished(program.post("/api/visits/2/comparisons", json=asked).json())
    assert work["state"] == "done"
    assert known_good["id"][:8] in work["step"]
    last = program.get("/api/visits/2").json()["file"]["comparisons"][-1]
    comparison = program.get(f"/api/comparisons/{last['id']}").json()
    assert comparison["limits"]["code_limit_deg"] == 8.0
    unknown = program.post("/api/visits/2/comparisons", json={"known_goods": ["0" * 16]})
    assert unknown.status_code == 404


@pytest.mark.parametrize(
    ("family", "step"),
    [
        (None, "Compared with the known-goods of Tarn T20, whose pattern this recording has"),
        ("Tarn T20", "Compared with the shelf's known-goods of Tarn T20"),
        ("Fell V6", "Not compared: no known-good of 'Fell V6' is on the shelf"),
    ],
)
def test_what_it_is_compared_with_is_said(program, finished, recordings, family, step):
    job = program.post("/api/jobs", json={"vehicle": "van 9", "family": family}).json()["job"]
    visit_id = program.post(f"/api/jobs/{job['id']}/visits", json={}).json()["id"]
    upload = program.put("/api/uploads?name=van.csv", content=recordings["new"].read_bytes())
    asked = {"uploads": [upload.json()["id"]]}
    work = finished(program.post(f"/api/visits/{visit_id}/recordings", json=asked).json())
    assert work["state"] == "done"
    assert work["step"].startswith(step)
    shown = program.get(f"/api/visits/{visit_id}").json()
    assert (shown["not_compared"] is None) is step.startswith("Compared")


def test_one_bad_file_holds_up_no_other(program, finished, recordings):
    good = program.put("/api/uploads?name=van.csv", content=recordings["new"].read_bytes()).json()
    bad = program.put("/api/uploads?name=bad.csv", content=b"time,a\n0,1\n1,2\n").json()
    asked = {"uploads": [bad["id"], good["id"]], "purpose": "check"}
    work = finished(program.post("/api/visits/1/recordings", json=asked).json())
    assert work["state"] == "failed"
    assert work["error"].startswith("bad.csv: ")
    assert work["error"].endswith("The other recordings are kept.")
    recorded = program.get("/api/visits/1").json()["file"]["recordings"]
    assert [one["purpose"] for one in recorded] == ["diagnosis", "check"]
    # The bad one stays for another try, with what it lacks.
    channels = f"/api/uploads/{bad['id']}/channels"
    assert program.get(channels).status_code == 415
    assert program.get(channels, params={"interval_s": 1e-5}).json() == ["a"]


# --- the same documents ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "schema"),
    [
        ("/api/measurements/1", measurement_schema),
        ("/api/comparisons/1", comparison_schema),
    ],
)
def test_a_document_is_that_of_the_published_format(program, path, schema):
    jsonschema.validate(program.get(path).json(), schema())


def test_a_known_good_is_that_of_the_published_format(program):
    [row] = program.get("/api/known-goods").json()
    jsonschema.validate(program.get(f"/api/known-goods/{row['id']}").json(), known_good_schema())


def test_programs_and_the_command_line_are_told_the_same(program, shop):
    assert program.get("/api/jobs/2/history").json() == cli_json(shop, "job", "history", "van-5")
    told = cli_json(shop, "reference", "population", "--family", "Tarn T20")
    answer = program.get("/api/families/statistics", params={"family": "Tarn T20"})
    assert answer.json() == told["patterns"]
    listed = cli_json(shop, "reference", "list")["known_goods"]
    [row] = program.get("/api/known-goods").json()
    same = row.keys() - {"added_at"}  # one writes Z, the other +00:00
    assert {key: row[key] for key in same} == {key: listed[0][key] for key in same}


def test_known_goods_go_to_another_workshop_and_back(program, tmp_path):
    [row] = program.get("/api/known-goods").json()
    bundle = program.get("/api/exports/known-goods")
    assert bundle.headers["content-type"] == "application/zip"
    assert bundle.headers["x-withheld"] == "0"
    assert zipfile.ZipFile(io.BytesIO(bundle.content)).namelist() == [f"{row['id']}.json"]
    single = program.get("/api/exports/known-goods", params={"id": row["id"], "kind": "json"})
    assert single.json()["id"] == row["id"]
    with TestClient(
        create_app(Settings(store=str(tmp_path / "other"))), base_url="http://localhost"
    ) as other:
        with open_store(tmp_path / "other") as store:
            other.headers["authorization"] = f"Bearer {store.shop.add_key('x')}"
        for content, report in ((bundle.content, "added"), (single.content, "present")):
            upload = other.put("/api/uploads?name=shelf.zip", content=content).json()
            answer = other.post("/api/imports/known-goods", json={"upload": upload["id"]})
            assert answer.json()[report] == [row["id"]]
        retired = other.post(f"/api/known-goods/{row['id']}/retire", json={"why": "doubtful"})
        assert retired.json()["retired"]["why"] == "doubtful"
        assert other.get("/api/known-goods").json() == []
        assert len(other.get("/api/known-goods", params={"retired": True}).json()) == 1
        assert other.post(
            f"/api/known-goods/{row['id']}/retire", json={"why": "again"}
        ).status_code == 400  # fmt: skip


def test_engines_policy_and_profile_are_kept(program):
    text = program.get("/api/engines/tarn-t20").json()["text"]
    mine = program.put("/api/engines/tarn mine", json={"text": text})
    assert mine.json()["own"] is True
    rows = {row["name"]: row["own"] for row in program.get("/api/engines").json()}
    assert rows["tarn mine"] is True
    assert rows["tarn-t20"] is False
    assert program.put("/api/engines/bad", json={"text": "cams = 3"}).status_code == 415
    assert program.delete("/api/engines/tarn mine").status_code == 204
    assert program.delete("/api/engines/tarn-t20").status_code == 404

    changed = program.put(
        "/api/policy", json={"text": "[limits.code_limit_deg]\nvalue = 9.0\nsource = 'ours'"}
    )
    assert changed.json()["policy"]["limits"]["code_limit_deg"] == 9.0
    assert program.put("/api/policy", json={"text": "[limits]\nx = 1"}).status_code == 415
    assert program.delete("/api/policy").status_code == 204
    assert program.get("/api/policy").json()["text"] is None

    asked = {"name": "Bramblegate Workshop", "currency": "GBP", "tax_percent": "17.5"}
    assert program.put("/api/profile", json=asked).json()["tax_percent"] == "17.5"
    assert program.get("/api/profile").json()["name"] == "Bramblegate Workshop"
    details = program.put("/api/jobs/1/details", json={"vin": "TARN0000000000001"})
    assert details.json()["details"] == {
        "vin": "TARN0000000000001",
        "plate": None,
        "customer": None,
    }


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/jobs", {"vehicle": ""}),
        ("/api/jobs", {"vehicle": "x\u0000y"}),
        ("/api/jobs", {"vehicle": "x\ud800y"}),
        ("/api/jobs", {"vehicle": "x", "\ud800": 1}),
        ("/api/jobs", {"vehicle": "x" * 121}),
        ("/api/jobs/1/visits", {"mileage": 1e9, "mileage_unit": "km"}),
        ("/api/jobs/1/visits", {"mileage": float("inf"), "mileage_unit": "km"}),
        ("/api/jobs/1/visits", {"date": "yesterday"}),
        ("/api/jobs/1/facts", {"fact": {"kind": "gossip", "text": "x"}}),
        ("/api/jobs/1/facts", {"fact": {"kind": "note", "text": "x"}, "replaces": 2**63}),
        ("/api/visits/1/recordings", {"uploads": []}),
        ("/api/visits/1/recordings", {"uploads": ["../../x"]}),
        ("/api/visits/1/recordings", {"uploads": ["0" * 32], "cams": {"piston": "a"}}),
    ],
    ids=str,
)
def test_what_makes_no_sense_is_refused_in_words(program, path, body):
    sent = json.dumps(body).encode()
    answer = program.post(path, content=sent, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert set(answer.json()) == {"error"}
    assert answer.json()["error"].startswith("Something in this form is missing")
    assert "\n" not in answer.json()["error"]


@pytest.mark.parametrize(
    ("path", "body", "words"),
    [
        ("/api/jobs/1/visits", {"mileage": 5}, "needs its unit"),
        ("/api/jobs/1/visits", {"date": "2026-02-30"}, "is no date"),
        ("/api/jobs", {"vehicle": "12"}, "add a word"),
        ("/api/jobs", {"vehicle": "VAN-1"}, "has a job already"),
        ("/api/visits/1/known-good", {"family": "Tarn T20", "note": "x"}, "on the shelf already"),
    ],
)
def test_what_does_not_fit_is_refused_in_words(program, path, body, words):
    answer = program.post(path, json=body)
    assert answer.status_code == 400
    assert words in answer.json()["error"]


def test_no_path_leads_out(program):
    """Every path parameter of the API with names that lead elsewhere (OWASP ASVS 12.3.1)."""
    described = program.get("/api/openapi.json").json()
    asked = 0
    for path, methods in described["paths"].items():
        names = [part for part in path.split("/") if part.startswith("{")]
        for name, wanted in ((name, wanted) for name in names for wanted in GONE):
            filled = path.replace(name, wanted if "%" in wanted else quote(wanted, safe=""))
            for other in names:
                filled = filled.replace(other, "1")
            for method in methods:
                answer = program.request(method.upper(), filled, json={"text": "x", "why": "x"})
                asked += 1
                assert answer.status_code in {400, 404, 405, 415, 422}, (method, filled)
                assert "root:" not in answer.text
    assert asked > 150


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/..%2fapp.py", "/static/%2e%2e/settings.py", "/static//x"]
)
def test_static_files_lead_nowhere_else(local, path):
    assert local.get(path).status_code == 404


# --- fuzzed ---------------------------------------------------------------------------------------

OPERATIONS = [
    (method, path)
    for path, methods in create_app(Settings()).openapi()["paths"].items()
    for method in methods
]
CHECKS = [
    schemathesis.checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
    checks.negative_data_rejection,
]


@pytest.fixture(scope="module")
def described(tmp_path_factory, filled):
    """The description as schemathesis reads it, the application behind it, and ids that exist."""
    folder = Path(shutil.copytree(filled, tmp_path_factory.mktemp("fuzzed") / "shop"))
    with open_store(folder) as store:
        key = store.shop.add_key("schemathesis")
        there = {
            "job_id": 2,
            "visit_id": 2,
            "measurement_id": 1,
            "comparison_id": 1,
            "name": "tarn-t20",
            "known_good_id": store.shelf.list()[0].id,
            "sha256": store.recordings.list()[1].sha256,
        }
    app = create_app(Settings(store=str(folder), names=("testserver",)))
    description = app.openapi()
    for operations in description["paths"].values():
        for operation in operations.values():
            operation.pop("security", None)  # the key is always sent here, and tested above
    schema = schemathesis.openapi.from_dict(description)
    schema.app = app
    yield schema, there, {"authorization": f"Bearer {key}"}
    shutdown_lifespans()


def test_every_route_wants_a_key_and_says_so(local):
    paths = local.get("/api/openapi.json").json()["paths"]
    for method, path in OPERATIONS:
        filled = re.sub(r"\{\w+\}", "1", path)
        is_open = path == "/api/health"
        assert (local.request(method.upper(), filled, json={}).status_code == 401) is not is_open
        assert (paths[path][method].get("security") == [{"key": []}]) is not is_open


@pytest.mark.parametrize(("method", "path"), OPERATIONS)
@pytest.mark.parametrize("mode", GenerationMode, ids=lambda mode: mode.value)
def test_the_api_is_what_it_says(described, method, path, mode):
    """No answer is a failure of the server, and each is one that the description declares."""
    schema, there, headers = described
    operation = schema[path][method]

    @settings(
        max_examples=30, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
    )
    @given(case=operation.as_strategy(generation_mode=mode), exists=st.booleans())
    def check(case, exists):
        if exists and mode is GenerationMode.POSITIVE:
            case.path_parameters.update(there.items() & case.path_parameters.keys())
        case.call_and_validate(headers=headers, checks=CHECKS)

    try:
        check()
    except Unsatisfiable:
        pytest.skip("nothing in this request can be wrong")
