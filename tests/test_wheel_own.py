"""A technician's own wheels are known without touching the program."""

import numpy as np
import pytest

from crankwise.errors import UnreadableError
from crankwise.model.recording import EventChannel, Recording
from crankwise.pipeline import measure
from crankwise.wheel import catalogue

OWN = '[[wheel]]\nname = "shop 50-3"\npattern = "46x7.2 28.8"\npitch_deg = 7.2\n'


def recording():
    """An even 700 rpm on a wheel of 50 pitches, 3 missing, with a cam."""
    places = np.concatenate([7.2 * np.arange(47) + 360.0 * turn for turn in range(24)])
    cam = np.concatenate([np.array([100.0, 190.0]) + 720.0 * cycle for cycle in range(12)])

    def channel(name, starts, width_deg):
        angle = np.sort(np.concatenate([starts, starts + width_deg]))
        states = np.arange(len(angle)) % 2 == 0
        return EventChannel(name, angle / 4200.0, states, initial_state=False)

    crank = channel("crank", places, 3.0)
    lobe = EventChannel("intake", cam / 4200.0, np.arange(len(cam)) % 2 == 0, initial_state=False)
    return Recording("own.csv", "0" * 64, (crank, lobe), 0.0, 24 * 360 / 4200.0, None)


def test_own_wheels_are_taken_from_the_file_that_the_environment_names(tmp_path, monkeypatch):
    assert measure(recording()).crank.wheel == "learned, 47 teeth"
    file = tmp_path / "wheels.toml"
    file.write_text(OWN, encoding="utf-8")
    monkeypatch.setenv("CRANKWISE_WHEELS", str(file))
    assert catalogue.own_file() == file
    assert measure(recording()).crank.wheel == "shop 50-3"


def test_a_named_file_that_is_not_there_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("CRANKWISE_WHEELS", str(tmp_path / "none.toml"))
    with pytest.raises(UnreadableError, match=r"none\.toml.*check the path"):
        measure(recording())


def test_the_usual_place_counts_only_if_the_file_is_there(tmp_path, monkeypatch):
    monkeypatch.delenv("CRANKWISE_WHEELS", raising=False)
    monkeypatch.setattr(catalogue.platformdirs, "user_config_path", lambda _name: tmp_path)
    assert catalogue.own_file() is None
    (tmp_path / "wheels.toml").write_text(OWN, encoding="utf-8")
    assert catalogue.own_file() == tmp_path / "wheels.toml"
