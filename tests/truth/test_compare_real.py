"""Two parts of one real recording against each other: nothing has worn in between.

The recordings lie outside the project.
"""

from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from crankwise.errors import NotMeasurableError
from crankwise.model.recording import EventChannel
from crankwise.pipeline import compare, measure
from crankwise.readers import read

FOLDER = Path(__file__).parents[3] / "shared" / "recordings"

pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the folder of real recordings is not beside the project"
)


def part(recording, start_s, end_s):
    """The changes from ``start_s`` on and before ``end_s``, with the states at their start."""
    channels = []
    for channel in recording.channels:
        inside = (channel.times_s >= start_s) & (channel.times_s < end_s)
        before = np.flatnonzero(channel.times_s < start_s)
        state = bool(channel.states[before[-1]]) if len(before) else channel.initial_state
        channels.append(
            EventChannel(channel.name, channel.times_s[inside], channel.states[inside], state)
        )
    return replace(
        recording,
        name=f"{recording.name} from {start_s:.2f} s",
        sha256=f"{round(start_s * 1e6):064}",
        channels=tuple(channels),
        start_s=start_s,
        duration_s=end_s - start_s,
    )


@cache
def parts(name, *cuts, crank=None):
    """Measurements of the parts between the cuts, seconds after the start of the recording.

    ``crank`` names the channel where what is tested is not how it is found.
    """
    path = FOLDER / name
    if not path.exists():
        pytest.skip(f"{name} is not in the folder of real recordings")
    recording = read(path)
    ends = [recording.start_s + cut for cut in cuts]
    return [measure(part(recording, *pair), crank=crank) for pair in pairwise(ends)]


def both_ways(first, second):
    return [
        compare(subject, [known_good], same_vehicle=True)
        for subject, known_good in ((first, second), (second, first))
    ]


@pytest.mark.parametrize("cuts", [(0.0, 0.426, 0.852), (0.0, 0.3, 0.852), (0.0, 0.55, 0.852)])
def test_a_running_engine_is_in_time_with_itself(cuts):
    # 36-2, three cam teeth, steady at about 1564 rpm.
    for result in both_ways(*parts("toyota_3_tooth_cam.csv", *cuts)):
        assert result.verdict.level == "in-time"
        (cam,) = result.cams
        assert abs(cam.shift_deg) < 0.3
        assert abs(cam.shift_deg) <= cam.uncertainty_deg
        assert cam.direction == "unchanged"
        assert 0.0 < cam.uncertainty_deg < 0.5


def test_a_shift_put_into_a_real_recording_is_found():
    first, second = parts("toyota_3_tooth_cam.csv", 0.0, 0.426, 0.852)
    (cam,) = second.cams
    edges = tuple(replace(edge, angle_deg=(edge.angle_deg + 3.0) % 720.0) for edge in cam.edges)
    edges = tuple(sorted(edges, key=lambda edge: edge.angle_deg))
    late = replace(second, cams=(replace(cam, edges=edges),))
    result = compare(late, [first], same_vehicle=True)
    assert abs(result.cams[0].shift_deg - 3.0) <= result.cams[0].uncertainty_deg
    assert result.verdict.level == "drifting"


def test_an_engine_after_start_up_is_in_time_with_itself():
    # 60-2, one cam tooth; the last 0.6 s, at 1460 and 1660 rpm: the steadiest of this recording.
    for result in both_ways(*parts("nick_1.csv", 6.4, 6.7, 7.012)):
        assert result.verdict.level == "in-time"
        (cam,) = result.cams
        assert abs(cam.shift_deg) <= cam.uncertainty_deg


@pytest.mark.parametrize("cuts", [(6.0, 6.5, 7.012), (6.2, 6.6, 7.012), (4.0, 5.5, 7.012)])
def test_what_runs_up_and_scatters_is_never_called_worn(cuts):
    # The same engine running up from 500 to 1700 rpm: its cam edges scatter by four degrees.
    for result in both_ways(*parts("nick_1.csv", *cuts)):
        assert result.verdict.level in {"in-time", "not-judged"}


def test_few_irregular_teeth_are_never_called_worn():
    # Four teeth a turn, cranking and running up: measured, but not well.
    for cuts in ((9.0, 9.4, 9.83), (8.8, 9.3, 9.83)):
        for result in both_ways(*parts("nb2-cranking-good.csv", *cuts)):
            assert result.verdict.level in {"in-time", "not-judged"}
            (cam,) = result.cams
            assert abs(cam.shift_deg) <= cam.uncertainty_deg
            # What is not known to four degrees (from where a shift counts as worn) is no health.
            if cam.uncertainty_deg >= result.limits.worn_from_deg:
                assert result.verdict.level == "not-judged"


def test_what_is_hardly_known_is_not_called_in_time():
    # Two teeth a turn: angles are known to twenty degrees.
    for result in both_ways(*parts("4g93-cranking.csv", 0.0, 5.243, 10.486, crank="crank")):
        assert result.cams[0].uncertainty_deg > 10.0
        assert result.verdict.level == "not-judged"


def test_two_real_engines_are_refused():
    (mine,) = parts("toyota_3_tooth_cam.csv", 0.0, 0.852)
    (other,) = parts("nick_1.csv", 6.4, 7.012)
    with pytest.raises(NotMeasurableError, match="crank wheels differ") as caught:
        compare(mine, [other])
    assert caught.value.exit_code == 4
