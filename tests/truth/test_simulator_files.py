"""Specifications from files, and simulations into files read back by the formats' own libraries."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import polars as pl
import pytest
from scipy.io import wavfile
from vcd.reader import TokenKind, tokenize

from crankwise.errors import UnreadableError, UsageError
from crankwise.model.wheel import Wheel
from crankwise.testing.simulate import (
    PRESETS,
    CamSpec,
    ChainJumped,
    CrankSpec,
    CsvDialect,
    EngineSpec,
    PhaserSpec,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
    Truth,
    load_spec,
    preset,
    simulate,
    simulate_to_file,
    write,
)
from crankwise.testing.simulate.convert import build, to_plain

SPEC_TOML = """
about = "an example"
start_angle_deg = 30

[engine]
swing = 0.12

[speed]
kind = "idle"
mean_rpm = 750

[crank]
wheel = "36-1"
channel = "CKP"
[crank.sensor]
kind = "variable-reluctance"
lag_s = 4.5e-5

[[cams]]
role = "intake"
channel = "CMP"
teeth = [[100, 200], [460, 500]]
scatter_deg = 0.1
phaser = { movement = "parked" }
[cams.sensor]
kind = "hall"

[scope]
duration_s = 0.5
rate_hz = 100000

[[faults]]
kind = "chain-jumped"
teeth = 1
sprocket_teeth = 40
"""


def small(**changes):
    hall = SensorSpec(kind="hall", rise_s=5e-6)
    spec = SimulationSpec(
        name="small",
        engine=EngineSpec(swing=0.1),
        speed=SpeedSpec("idle", 900.0),
        crank=CrankSpec("60-2", hall),
        cams=(CamSpec("intake", "cam intake", ((40.0, 140.0),), hall, scatter_deg=0.1),),
        scope=ScopeSpec(duration_s=0.3, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
    )
    return replace(spec, **changes)


SAMPLED = simulate(small(), seed=1)
LISTED = simulate(small(scope=ScopeSpec(duration_s=0.3, kind="events", resolution_s=1e-8)), seed=1)


def write_spec(folder, text, name="engine.toml"):
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_a_specification_file_is_read_in_full(tmp_path):
    spec = load_spec(write_spec(tmp_path, SPEC_TOML))
    assert spec.name == "engine"
    assert spec.speed == SpeedSpec("idle", 750.0)
    assert spec.cams[0].teeth == ((100.0, 200.0), (460.0, 500.0))
    assert spec.cams[0].phaser == PhaserSpec()
    assert spec.faults == (ChainJumped(teeth=1, sprocket_teeth=40),)
    assert simulate(spec, seed=1).truth.cam("intake").shift_deg == 18.0


def test_a_specification_can_start_from_a_preset(tmp_path):
    text = 'preset = "t20-fresh-chain"\n[scope]\nrate_hz = 50000\n[speed]\nmean_rpm = 900\n'
    spec = load_spec(write_spec(tmp_path, text, "faster.toml"))
    base = PRESETS["t20-fresh-chain"]
    assert spec.scope == replace(base.scope, interval_s=None, rate_hz=50000.0)
    assert spec.speed == replace(base.speed, mean_rpm=900.0)
    assert (spec.crank, spec.cams, spec.name) == (base.crank, base.cams, "faster")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('channel = "CKP"', 'chanel = "CKP"', r"crank\.chanel: unknown key; allowed are channel, "),
        ('kind = "idle"', 'kind = "idling"', r"speed\.kind: 'idling' is not one of 'constant'"),
        ("mean_rpm = 750", "", r"speed\.mean_rpm: is missing; it has to be given"),
        ("mean_rpm = 750", 'mean_rpm = "fast"', r"speed\.mean_rpm: must be a number, not 'fast'"),
        ("mean_rpm = 750", "mean_rpm = true", r"speed\.mean_rpm: must be a number, not True"),
        ("mean_rpm = 750", "mean_rpm = -1", r"speed\.mean_rpm: must be above 0 .* not -1"),
        ("[460, 500]]", "[460]]", r"cams\[1\]\.teeth\[2\]: must have 2 entries, not 1"),
        ("[460, 500]]", "[460, 900]]", r"tooth 460\.0\.\.900\.0 must end .* before 820"),
        ('kind = "chain-jumped"', 'kind = "broken"', r"faults\[1\]\.kind: 'broken' is not one of"),
        ("teeth = 1\n", "teeth = 1.5\n", r"faults\[1\]\.teeth: must be a whole number"),
        ("rate_hz = 100000", "", r"scope: give either interval_s or rate_hz"),
        ("rate_hz = 100000", "rate_hz = 1e12", r"scope: more than 200000000 samples"),
        ("rate_hz = 100000", "rate_hz = 1e5\nbits = 8", r"scope\.bits: .* needs range_v"),
        ('wheel = "36-1"', "wheel = 36", r"crank\.wheel: must be text, not 36"),
        ("swing = 0.12", "swing = 1.2", r"engine\.swing: must be at least 0 and below 1"),
        ("[engine]\nswing = 0.12", "engine = 4", r"specification\.engine: must be a table"),
        ('about = "an example"', 'preset = "t30"', r"no preset 't30'; there are t20-fresh-chain,"),
    ],
)
def test_what_is_wrong_in_a_specification_is_named(tmp_path, old, new, message):
    assert old in SPEC_TOML
    path = write_spec(tmp_path, SPEC_TOML.replace(old, new))
    with pytest.raises(UsageError, match=message) as caught:
        load_spec(path)
    assert str(caught.value).startswith("engine.toml: ")
    assert "\n" not in str(caught.value)


def test_a_file_that_is_no_specification_is_refused(tmp_path):
    with pytest.raises(UnreadableError, match=r"not valid TOML: .*line 2.*mend that line"):
        load_spec(write_spec(tmp_path, "[engine]\nswing = \n"))
    with pytest.raises(UnreadableError, match=r"can't be read .*check the path"):
        load_spec(tmp_path / "absent.toml")
    path = tmp_path / "image.toml"
    path.write_bytes(b"\x89PNG\xff\xfe")
    with pytest.raises(UnreadableError, match="isn't UTF-8 text"):
        load_spec(path)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"crank": CrankSpec("61-3", SensorSpec(kind="hall"))},
            r"no wheel '61-3'; known .*60-2",
        ),
        (
            {"crank": CrankSpec("60-2", SensorSpec(kind="hall"), width_deg=7.0)},
            r"crank\.width_deg: a tooth must be wider than 0 and narrower",
        ),
        (
            {"crank": CrankSpec(Wheel("odd", (6.0, 6.0), 6.0), SensorSpec(kind="hall"))},
            r"crank\.wheel: the spacing of 'odd' adds up to 12; it must close at 360",
        ),
        ({"faults": (ChainJumped(1, 40, ("exhaust",)),)}, r"no role 'exhaust' here; there are int"),
        ({"engine": EngineSpec(ripple=80.0)}, r"engine: it stops \d\.\d+ s into .*lower swing"),
        (
            {"engine": EngineSpec(starter_nm=40.0), "speed": SpeedSpec("cranking", 200.0)},
            r"engine: it stops .*raise starter_nm",
        ),
        ({"engine": EngineSpec(load_nm=-50.0)}, r"engine\.load_nm: .* leaves nothing to burn"),
    ],
)
def test_contradictions_are_refused_with_the_reason(change, message):
    with pytest.raises(UsageError, match=message):
        simulate(small(**change), seed=1)


def test_scatter_beyond_the_teeth_and_negative_seeds_are_refused():
    wild = replace(small().cams[0], teeth=((40.0, 41.0),), scatter_deg=5.0, common_share=0.0)
    with pytest.raises(UsageError, match="edges overtake each other"):
        simulate(small(cams=(wild,), scope=replace(small().scope, duration_s=2.0)), seed=1)
    with pytest.raises(UsageError, match="seed: must be 0 or greater, not -3"):
        simulate(small(), seed=-3)


def test_channels_and_roles_must_be_unique():
    cam = small().cams[0]
    with pytest.raises(UsageError, match="two have the same role among intake, intake"):
        small(cams=(cam, replace(cam, channel="other")))
    with pytest.raises(UsageError, match="two have the same name among crank, crank"):
        small(cams=(replace(cam, channel="crank"),))


def test_truth_survives_its_json_document():
    truth = simulate(PRESETS["t20-phaser-moving"], seed=2).truth
    text = json.dumps(truth.to_json(), allow_nan=False)
    assert Truth.from_json(json.loads(text)) == truth
    document = json.loads(text)
    document["crank"]["wheeel"] = "60-2"
    with pytest.raises(UsageError, match=r"truth\.crank\.wheeel: unknown key"):
        Truth.from_json(document)


def test_every_preset_is_its_own_plain_data_and_makes_a_recording():
    for name, spec in PRESETS.items():
        assert spec.name == name
        assert spec.about
        assert build(SimulationSpec, to_plain(spec), where="preset") == spec
        simulation = simulate(spec, seed=1)
        assert len(simulation.recording.channels) == len(spec.channel_names)
        assert all(len(cam.edges) == 8 for cam in simulation.truth.cams)
    with pytest.raises(UsageError, match="no preset 'van-7'; there are"):
        preset("van-7")


def test_presets_show_what_their_names_say():
    def shifts(name, seed=1):
        truth = simulate(PRESETS[name], seed=seed).truth
        return {
            cam.role: float(np.mean([e.angle_deg - e.nominal_deg for e in cam.edges]))
            for cam in truth.cams
        }

    fresh, worn = shifts("t20-fresh-chain"), shifts("t20-worn-guide", seed=2)
    assert worn["intake"] - fresh["intake"] == pytest.approx(4.2, abs=0.25)
    assert worn["exhaust"] - fresh["exhaust"] == pytest.approx(0.6, abs=0.25)
    stretched = shifts("t20-stretched", seed=5)
    assert stretched["exhaust"] - fresh["exhaust"] == pytest.approx(4.0, abs=0.2)
    assert stretched["intake"] - fresh["intake"] == pytest.approx(6.4, abs=0.2)
    jumped = shifts("t20-jumped-tooth", seed=3)
    assert jumped["intake"] - fresh["intake"] == pytest.approx(20.0, abs=0.2)
    bank, late = shifts("fell-v6"), shifts("fell-v6-bank-2-late", seed=4)
    moved = {role: late[role] - bank[role] for role in bank}
    assert moved["intake-2"] == pytest.approx(4.0, abs=0.2)
    assert moved["exhaust-2"] == pytest.approx(4.0, abs=0.2)
    assert moved["intake-1"] == pytest.approx(0.0, abs=0.2)


def test_one_vehicle_keeps_its_targets_from_visit_to_visit():
    visits = [simulate(PRESETS["van-3"], seed=seed).truth for seed in (1, 2)]
    assert visits[0].crank.tooth_error_deg == visits[1].crank.tooth_error_deg
    assert visits[0].start_angle_deg != visits[1].start_angle_deg
    other = simulate(PRESETS["van-4"], seed=1).truth
    assert other.crank.tooth_error_deg != visits[0].crank.tooth_error_deg


def rows(path, dialect):
    with path.open(encoding=dialect.encoding, newline="") as file:
        return list(csv.reader(file, delimiter=dialect.delimiter))


@pytest.mark.parametrize(
    "dialect",
    [
        CsvDialect(),
        CsvDialect(delimiter=";", decimal=",", newline="\r\n", encoding="utf-16", units_row=True),
        CsvDialect(delimiter="\t", time_unit="ms", preamble=("Recorded in the workshop", "")),
    ],
)
def test_csv_says_what_was_simulated(tmp_path, dialect):
    path = tmp_path / "van.csv"
    write(SAMPLED, path, dialect=dialect)
    table = rows(path, dialect)
    names = table[len(dialect.preamble)]
    assert [name.split(" (")[0] for name in names] == ["Time", "crank", "cam intake"]
    first = len(dialect.preamble) + 1 + dialect.units_row
    values = np.array([[float(cell.replace(",", ".")) for cell in row] for row in table[first:]])
    scale = {"s": 1.0, "ms": 1e3}[dialect.time_unit]
    channels = SAMPLED.recording.channels
    assert values[:, 0] == pytest.approx(np.arange(len(values)) * 2e-5 * scale, abs=1e-9)
    assert values[:, 1] == pytest.approx(channels[0].values.astype(float), abs=5.1e-6)
    assert values[:, 2] == pytest.approx(channels[1].values.astype(float), abs=5.1e-6)


def test_event_list_csv_has_a_row_for_each_change(tmp_path):
    path = tmp_path / "events.csv"
    write(LISTED, path)
    table = rows(path, CsvDialect())
    assert table[0] == ["Time (s)", "crank", "cam intake"]
    crank, cam = LISTED.recording.channels
    assert len(table) == 2 + len(crank.times_s) + len(cam.times_s)
    states = np.array([row[1:] for row in table[1:]], dtype=int)
    assert states[0].tolist() == [crank.initial_state, cam.initial_state]
    assert np.count_nonzero(np.diff(states[:, 0])) == len(crank.times_s)
    changed = np.flatnonzero(np.diff(states[:, 1])) + 2
    assert [float(table[row][0]) for row in changed] == pytest.approx(cam.times_s, abs=1e-9)


def test_binary_formats_hold_samples_and_time_base(tmp_path):
    expected = SAMPLED.recording.channels[0].values
    write(SAMPLED, tmp_path / "a.npz")
    with np.load(tmp_path / "a.npz", allow_pickle=False) as store:
        assert np.array_equal(store["crank (V)"], expected)
        assert (float(store["interval_s"]), float(store["start_s"])) == (2e-5, 0.0)
    write(SAMPLED, tmp_path / "a.parquet")
    assert np.array_equal(pl.read_parquet(tmp_path / "a.parquet")["crank (V)"].to_numpy(), expected)
    assert float(pl.read_parquet_metadata(tmp_path / "a.parquet")["interval_s"]) == 2e-5
    write(SAMPLED, tmp_path / "a.h5")
    with h5py.File(tmp_path / "a.h5") as store:
        assert np.array_equal(store["cam intake"][:], SAMPLED.recording.channels[1].values)
        assert (store["crank"].attrs["interval_s"], store["crank"].attrs["units"]) == (2e-5, "V")
    write(SAMPLED, tmp_path / "a.wav")
    rate, values = wavfile.read(tmp_path / "a.wav")
    assert rate == 50_000
    assert np.array_equal(values[:, 0], expected)


def test_vcd_is_read_by_its_own_library(tmp_path):
    write(LISTED, tmp_path / "a.vcd")
    times, now = [], 0
    with (tmp_path / "a.vcd").open("rb") as file:
        for token in tokenize(file):
            if token.kind is TokenKind.CHANGE_TIME:
                now = token.time_change
            elif token.kind is TokenKind.CHANGE_SCALAR and token.scalar_change.id_code == '"':
                times.append(now * 1e-12)
            elif token.kind is TokenKind.TIMESCALE:
                assert token.timescale.magnitude == 1
                assert str(token.timescale) == "1 ps"
    assert times[1:] == pytest.approx(LISTED.recording.channels[1].times_s, abs=1e-12)


@pytest.mark.parametrize("suffix", [".npz", ".parquet", ".h5"])
def test_event_lists_go_into_tables_too(tmp_path, suffix):
    path = tmp_path / f"events{suffix}"
    write(LISTED, path)
    if suffix == ".npz":
        with np.load(path) as store:
            time, states = store["time_s"], store["crank"]
    elif suffix == ".parquet":
        frame = pl.read_parquet(path)
        time, states = frame["time_s"].to_numpy(), frame["crank"].to_numpy()
    else:
        with h5py.File(path) as store:
            time, states = store["time_s"][:], store["crank"][:]
    changes = time[1:][np.diff(states) != 0]
    assert changes == pytest.approx(LISTED.recording.channels[0].times_s, abs=1e-12)


def test_truth_lies_beside_the_recording_and_nothing_else(tmp_path):
    simulation, truth_path = simulate_to_file("t20-logic", tmp_path / "one.csv", seed=4)
    assert truth_path == tmp_path / "one.csv.truth.json"
    assert Truth.from_json(json.loads(truth_path.read_text("utf-8"))) == simulation.truth
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.csv", "one.csv.truth.json"]
    spec_file = write_spec(tmp_path, SPEC_TOML)
    simulate_to_file(spec_file, tmp_path / "two.npz", seed=4)
    simulate_to_file(small(), tmp_path / "three.npz", seed=4)
    assert (tmp_path / "three.npz.truth.json").exists()


@pytest.mark.parametrize(
    ("simulation", "name", "message"),
    [
        (SAMPLED, "a.xlsx", r"a\.xlsx: unknown format; use one of \.csv, \.tsv"),
        (SAMPLED, "a.vcd", r'VCD holds state changes: set kind = "events"'),
        (LISTED, "a.wav", r"WAV holds samples"),
        (SAMPLED, "no/such/folder/a.csv", r"can't be written \(No such file.*another place"),
    ],
)
def test_what_cannot_be_written_leaves_nothing_behind(tmp_path, simulation, name, message):
    with pytest.raises(UsageError, match=message):
        write(simulation, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_survives_a_failure(tmp_path):
    path = tmp_path / "a.wav"
    path.write_bytes(b"kept")
    with pytest.raises(UsageError):
        write(LISTED, path)
    assert path.read_bytes() == b"kept"
    assert [item.name for item in tmp_path.iterdir()] == ["a.wav"]


def test_the_example_in_the_documentation_works(tmp_path):
    text = (Path(__file__).parents[2] / "docs" / "simulator.md").read_text("utf-8")
    example = text.split("```toml\n", 1)[1].split("```", 1)[0]
    spec = load_spec(write_spec(tmp_path, example, "example.toml"))
    truth = simulate(spec, seed=1).truth
    assert truth.cams
    assert [name for name in PRESETS if f"`{name}`" not in text] == []
