"""The whole way: a simulated file on disk, through the command line, to the known truth."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.cli.app import app


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    result = CliRunner().invoke(app, ["demo", "--into", str(folder)])
    assert result.exit_code == 0, result.output
    return folder, result


def errors_deg(measured: dict, truth: dict) -> list[tuple[float, float]]:
    """Difference to the truth and stated uncertainty of every edge, crank degrees.

    Which revolution comes first is a matter of definition, so each edge may be off by a turn.
    """
    timing_edge = measured["crank"]["timing_edge"]
    found = []
    for cam in measured["cams"]:
        true = next(item for item in truth["cams"] if item["role"] == cam["role"])
        assert len(cam["edges"]) == len(true["edges"])
        for edge in cam["edges"]:
            differences = [
                (edge["angle_deg"] - other["angle_by_crank_edge_deg"][timing_edge] + 180) % 360
                - 180
                for other in true["edges"]
                if other["edge"] == edge["edge"]
            ]
            found.append((min(differences, key=abs), edge["uncertainty_deg"]))
    return found


def test_the_demo_leaves_its_files_and_names_them(demo):
    folder, result = demo
    assert {path.name for path in folder.iterdir()} == {
        "van.csv", "van.csv.truth.json", "van.json", "van.svg",
    }  # fmt: skip
    for name in ("van.csv", "van.json", "van.svg"):
        assert f"saved: {folder / name}" in result.output
    assert document.load(folder / "van.json").recording.name == "van.csv"


def test_the_demo_finds_the_truth_it_never_saw(demo):
    folder, _ = demo
    measured, truth = (
        json.loads((folder / name).read_text(encoding="utf-8"))
        for name in ("van.json", "van.csv.truth.json")
    )
    errors = errors_deg(measured, truth)
    assert len(errors) == 16
    # 95 % coverage: of 16 edges three outside would happen in 1 of 120 demos; none so far out
    # that the stated uncertainty would be wrong.
    assert sum(abs(error) > uncertainty for error, uncertainty in errors) <= 2
    assert all(abs(error) < 2 * uncertainty for error, uncertainty in errors)


def test_a_second_demo_uses_the_folder_again(demo):
    folder, _ = demo
    before = (folder / "van.csv").read_bytes()
    result = CliRunner().invoke(app, ["demo", "--into", str(folder), "--quiet"])
    assert (result.exit_code, result.output) == (0, "")
    assert (folder / "van.csv").read_bytes() == before


def test_a_demo_into_a_file_is_refused(tmp_path):
    (tmp_path / "taken").touch()
    result = CliRunner().invoke(app, ["demo", "--into", str(tmp_path / "taken")])
    assert result.exit_code == 2
    assert "choose another with --into" in result.stderr


def test_measure_says_the_same_as_the_demo(demo):
    folder, _ = demo
    result = CliRunner().invoke(app, ["measure", str(folder / "van.csv"), "--json"])
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout == (folder / "van.json").read_text(encoding="utf-8")


def test_roles_given_by_hand_are_taken(demo):
    folder, _ = demo
    result = CliRunner().invoke(
        app,
        [
            "measure",
            str(folder / "van.csv"),
            "--json",
            "--crank",
            "crank",
            "--cam",
            "exhaust=intake",
        ],
    )
    assert result.exit_code == 0
    cams = json.loads(result.stdout)["cams"]
    assert [(cam["role"], cam["channel"]) for cam in cams] == [("exhaust", "intake")]


def test_a_channel_that_is_not_there_is_named_with_those_that_are(demo):
    folder, _ = demo
    result = CliRunner().invoke(app, ["measure", str(folder / "van.csv"), "--crank", "CH9"])
    assert result.exit_code == 2
    assert "CH9" in result.stderr
    assert "intake" in result.stderr


@pytest.mark.parametrize(
    ("name", "content"),
    [("empty.csv", b""), ("noise.bin", bytes(range(256)) * 40), ("words.csv", b"to be\nor not\n")],
)
def test_what_is_no_recording_ends_with_3(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    result = CliRunner().invoke(app, ["measure", str(tmp_path / name)])
    assert result.exit_code == 3
    assert name in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_file_that_is_not_there_ends_with_3(tmp_path):
    result = CliRunner().invoke(app, ["measure", str(tmp_path / "gone.csv")])
    assert result.exit_code == 3
    assert "gone.csv" in result.stderr


def test_a_recording_without_a_crank_ends_with_4(tmp_path):
    rows = "\n".join(f"{k * 1e-4:.4f},{k % 2 * 0.001}" for k in range(5000))
    (tmp_path / "flat.csv").write_text(f"time (s),A (V)\n{rows}\n", encoding="utf-8")
    result = CliRunner().invoke(app, ["measure", str(tmp_path / "flat.csv")])
    assert result.exit_code == 4
    assert result.stderr.count("\n") == 1


def test_presets_are_listed_and_written_with_their_truth(tmp_path):
    runner = CliRunner()
    listed = runner.invoke(app, ["simulate", "--list"]).stdout.splitlines()
    assert "t20-worn-guide" in {line.split()[0] for line in listed}
    out = tmp_path / "logic.csv"
    result = runner.invoke(
        app, ["simulate", "--preset", "t20-logic", "-o", str(out), "--seed", "3"]
    )
    assert result.exit_code == 0
    assert out.exists()
    assert json.loads(Path(f"{out}.truth.json").read_text(encoding="utf-8"))["seed"] == 3


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "either a SPEC file or --preset"),
        (["spec.toml", "--preset", "van-1"], "either a SPEC file or --preset"),
        (["--preset", "van-1"], "--output"),
        (["--preset", "van-0", "-o", "x.csv"], "van-1"),
        (["--preset", "van-1", "-o", "x.csv", "--seed", "-1"], "--seed"),
        (["gone.toml", "-o", "x.csv"], "gone.toml"),
    ],
)
def test_what_can_not_be_simulated_is_a_usage_error(tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(app, ["simulate", *arguments])
    assert result.exit_code in (2, 3)
    assert said in result.stderr
    assert not Path("x.csv").exists()
