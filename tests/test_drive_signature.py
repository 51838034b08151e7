"""What each fault does to the cams of the shipped engines, and laws that must hold for any."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.drive.engine_file import load_engine, shipped
from crankwise.drive.faults import WIDEST_AUTHORITY_DEG, signatures
from crankwise.drive.growth import (
    cams_behind,
    shifts_by_elongation,
    shifts_by_growth,
    shifts_by_jump,
    smallest_tooth_step_deg,
)
from crankwise.errors import UsageError
from crankwise.model.engine import Cam, Drive, Engine, Phaser, Span, Sprocket

T20 = shipped()["tarn-t20"]
FELL = shipped()["fell-v6"]
T20_ROLES = ("exhaust", "intake")
FELL_ROLES = ("intake-1", "exhaust-1", "intake-2", "exhaust-2")


def by_key(engine, roles=()):
    return {signature.key: signature for signature in signatures(engine, roles=roles)}


def drive_of(engine, name):
    return next(drive for drive in engine.drives if drive.name == name)


def column(signature, roles):
    """Take the one column of a signature with one free size."""
    matrix = signature.matrix(roles)
    assert matrix.shape == (len(roles), 1)
    return matrix[:, 0]


@st.composite
def cam_drives(draw):
    """One chain from the crank over one to four cams, everything known."""
    crank_teeth = draw(st.integers(14, 30))
    roles = [f"cam-{n}" for n in range(1, draw(st.integers(1, 4)) + 1)]
    spans = draw(st.lists(st.floats(20, 400), min_size=len(roles) + 1, max_size=len(roles) + 1))
    drive = Drive(
        name="chain",
        kind=draw(st.sampled_from(["chain", "belt"])),
        pitch_mm=draw(st.sampled_from([6.35, 7.0, 8.0, 9.525])),
        sprockets=(
            Sprocket("crank", crank_teeth),
            *(Sprocket(role, 2 * crank_teeth, (role,)) for role in roles),
        ),
        spans=tuple(Span(length_mm=length) for length in spans),
    )
    return Engine("drawn", cams=tuple(Cam(role) for role in roles), drives=(drive,))


# The pattern table: what each fault must look like.


def test_a_long_chain_retards_both_cams_and_the_later_one_more():
    exhaust, intake = column(by_key(T20)["elongated:timing chain"], T20_ROLES)
    assert 0 < exhaust < intake
    # 30 and 18 pitches of tight strand, equal sprockets: 48/30
    assert intake / exhaust == pytest.approx(1.6, rel=1e-12)


def test_a_worn_guide_between_the_cams_leaves_the_first_and_retards_the_second():
    signature = by_key(T20)["guide-worn:timing chain:exhaust to intake"]
    assert column(signature, T20_ROLES) == pytest.approx([0.0, 2.497], abs=0.001)
    assert "guide between the cams" in signature.name
    assert signature.scatter_factor["intake"] > 1
    assert "exhaust" not in signature.scatter_factor


def test_a_worn_guide_before_the_first_cam_retards_both_alike():
    signature = by_key(T20)["guide-worn:timing chain:crank to exhaust"]
    assert column(signature, T20_ROLES) == pytest.approx([2.497, 2.497], abs=0.001)


def test_the_slack_side_shifts_nothing_and_lets_the_cams_scatter():
    signature = by_key(T20)["slack-side:timing chain"]
    assert signature.matrix(T20_ROLES).shape == (2, 0)
    assert signature.shifts_deg(T20_ROLES, sizes=()) == {"exhaust": 0.0, "intake": 0.0}
    assert min(signature.scatter_factor.values()) > 1
    assert not any("intake to crank" in key for key in by_key(T20))


def test_growth_of_the_slack_side_turns_nothing():
    shifts = shifts_by_growth(T20, T20.drives[0], growth_mm=(0.0, 0.0, 9.0))
    assert set(shifts.values()) == {0.0}


@pytest.mark.parametrize(
    ("shaft", "moved"),
    [("crank", {"exhaust", "intake"}), ("exhaust", {"exhaust"}), ("intake", {"intake"})],
)
def test_a_jump_moves_its_own_cams_by_whole_steps(shaft, moved):
    (size,) = by_key(T20)[f"jumped:timing chain:{shaft}"].sizes
    assert size.shift_deg == dict.fromkeys(moved, 20.0)  # 720/36 = 360/18
    assert size.steps() == (-3, -2, -1, 1, 2, 3)
    assert size.allows(-2)
    assert not size.allows(0)
    assert not size.allows(0.5)
    assert not size.allows(4)


def test_the_crank_target_moves_every_cam_alike_either_way():
    signature = by_key(FELL)["crank-target"]
    assert column(signature, FELL_ROLES) == pytest.approx([1.0] * 4)
    assert signature.sizes[0].low == -signature.sizes[0].high
    assert not signature.never_advances


def test_all_four_cams_alike_can_be_the_primary_chain_or_the_crank_target():
    # GM CTS/Acadia and Suzuki XL7 service information: primary chain or moved crank reluctor
    alike = {
        key
        for key, signature in by_key(FELL).items()
        if signature.sizes and np.ptp(signature.matrix(FELL_ROLES)[:, 0]) < 1e-9
    }
    assert alike == {
        "elongated:primary chain",
        "guide-worn:primary chain:crank to intermediate",
        "jumped:primary chain:crank",
        "crank-target",
    }


def test_both_cams_of_bank_2_and_no_other_means_the_drive_of_bank_2():
    # GM CTS/Acadia: both cams of one bank the same way is that bank's own drive
    moving = {
        key
        for key, signature in by_key(FELL).items()
        if len(signature.sizes) == 1
        and set(np.flatnonzero(signature.matrix(FELL_ROLES)[:, 0])) == {2, 3}
    }
    assert moving == {
        "elongated:bank 2 chain",
        "guide-worn:bank 2 chain:intermediate to exhaust-2",
        "jumped:bank 2 chain:intermediate",
    }


def test_the_path_runs_the_other_way_round_on_the_other_bank():
    bank_1 = column(by_key(FELL)["elongated:bank 1 chain"], FELL_ROLES)
    bank_2 = column(by_key(FELL)["elongated:bank 2 chain"], FELL_ROLES)
    assert bank_1[0] < bank_1[1]
    assert bank_2[3] < bank_2[2]
    assert bank_1[[2, 3]].tolist() == bank_2[[0, 1]].tolist() == [0.0, 0.0]


def test_one_cam_alone_can_be_its_jump_its_phaser_its_target_or_the_guide_before_it():
    alone = {
        key
        for key, signature in by_key(T20).items()
        if len(signature.sizes) == 1 and set(signature.sizes[0].shift_deg) == {"intake"}
    }
    assert alone == {
        "guide-worn:timing chain:exhaust to intake",
        "jumped:timing chain:intake",
        "phaser-off-stop:intake",
        "cam-target:intake",
    }


@pytest.mark.parametrize(
    ("phaser", "low", "high"),
    [
        (Phaser(parked="retarded", authority_deg=40), -40, 0),
        (Phaser(parked="advanced", authority_deg=40), 0, 40),
        (Phaser(parked="middle", authority_deg=40), -20, 20),
        (Phaser(authority_deg=40), -40, 40),
        (Phaser(parked="retarded"), -WIDEST_AUTHORITY_DEG, 0),
        (None, -WIDEST_AUTHORITY_DEG, WIDEST_AUTHORITY_DEG),
    ],
)
def test_a_phaser_moves_its_cam_away_from_where_it_parks(phaser, low, high):
    engine = Engine("one cam", cams=(Cam("intake", phaser=phaser),))
    signature = by_key(engine)["phaser-off-stop:intake"]
    (size,) = signature.sizes
    assert (size.low, size.high) == (low, high)
    assert signature.is_moving


def test_a_cam_known_to_have_no_phaser_has_no_phaser_fault():
    engine = Engine("one cam", cams=(Cam("intake", phaser=Phaser(fitted=False)),))
    assert "phaser-off-stop:intake" not in by_key(engine)


# What missing knowledge does.


def test_without_lengths_each_tight_span_grows_by_itself_in_millimetres():
    drive = replace(T20.drives[0], spans=())
    signature = by_key(replace(T20, drives=(drive,)))["elongated:timing chain"]
    assert [size.unit for size in signature.sizes] == ["mm", "mm"]
    assert signature.matrix(T20_ROLES) == pytest.approx(
        np.array([[2.497, 0.0], [2.497, 2.497]]), abs=0.001
    )


def test_without_pitch_the_spans_grow_in_degrees():
    drive = replace(T20.drives[0], pitch_mm=None)
    signature = by_key(replace(T20, drives=(drive,)))["elongated:timing chain"]
    assert [size.unit for size in signature.sizes] == ["crank deg", "crank deg"]
    assert signature.matrix(T20_ROLES).tolist() == [[1.0, 0.0], [1.0, 1.0]]
    assert signature.never_advances


def test_without_the_tight_side_each_cam_lags_by_itself_and_no_guide_is_blamed():
    drive = replace(T20.drives[0], path_known=False)
    found = by_key(replace(T20, drives=(drive,)))
    assert found["elongated:timing chain"].matrix(T20_ROLES).tolist() == [[1.0, 0.0], [0.0, 1.0]]
    assert found["elongated:timing chain"].never_advances
    assert not any(key.startswith("guide-worn") for key in found)


def test_without_teeth_a_jump_is_at_least_a_small_tooth():
    found = by_key(shipped()["generic-twin-cam-chain"])
    (size,) = found["jumped:timing chain:crank"].sizes
    # one sprocket tooth is 10 to 20 crank degrees
    assert size.unit == "crank deg"
    assert size.allows(18.0)
    assert size.allows(-18.0)
    assert not size.allows(9.0)


def test_without_any_engine_file_the_measured_cams_are_enough():
    found = by_key(Engine("unknown"), roles=FELL_ROLES)
    assert found["elongated:unknown drive"].matrix(FELL_ROLES).tolist() == np.eye(4).tolist()
    assert set(found["jumped:unknown drive:bank 2"].sizes[0].shift_deg) == {"intake-2", "exhaust-2"}
    assert set(found["jumped:unknown drive:all cams"].sizes[0].shift_deg) == set(FELL_ROLES)
    assert "crank-target" in found


def test_a_measured_cam_that_the_engine_does_not_list_joins_it():
    engine = load_engine('family = "x"\n[[cam]]\nrole = "intake"\n')
    assert "cam-target:exhaust" in by_key(engine, roles=("exhaust", "intake"))


def test_a_pump_between_crank_and_cam_is_no_place_of_its_own():
    engine = load_engine(
        """
        [[drive]]
        kind = "belt"
        pitch_mm = 8
        sprocket = [
            { shaft = "crank", teeth = 20 }, { shaft = "pump", teeth = 18, accessory = true },
            { shaft = "cam-1", teeth = 40 },
        ]
        span = [
            { between = ["crank", "pump"], length_mm = 100 },
            { between = ["pump", "cam-1"], length_mm = 200 },
        ]
        """
    )
    found = by_key(engine)
    assert [key for key in found if key.startswith(("guide-worn", "jumped"))] == [
        "guide-worn:belt 1:crank to cam-1",
        "jumped:belt 1:crank",
    ]
    # belt pulley: r = p z / 2 pi; 3 mm over 300 mm at 1 %
    expected = 2 * np.degrees(3.0 / (8 * 40 / (2 * np.pi)))
    assert column(found["elongated:belt 1"], ("cam-1",)) == pytest.approx([expected], rel=1e-12)


# Laws.


@given(cam_drives(), st.floats(0.01, 3.0))
def test_elongation_never_advances_and_later_cams_retard_more(engine, percent):
    shifts = list(shifts_by_elongation(engine, engine.drives[0], percent=percent).values())
    assert shifts[0] > 0
    assert all(first < second for first, second in pairwise(shifts))


@given(cam_drives(), st.floats(0.0, 2.0), st.floats(0.01, 1.0))
def test_more_elongation_retards_every_cam_more(engine, percent, more):
    drive = engine.drives[0]
    less = shifts_by_elongation(engine, drive, percent=percent)
    greater = shifts_by_elongation(engine, drive, percent=percent + more)
    assert all(less[role] < greater[role] for role in engine.roles)


@given(cam_drives())
def test_uniform_elongation_is_the_sum_of_its_spans(engine):
    drive = engine.drives[0]
    lengths = [span.length_mm for span in drive.spans]
    whole = shifts_by_elongation(engine, drive, percent=1.0)
    parts = np.zeros(len(engine.roles))
    for place, length in enumerate(lengths[:-1]):
        growth = [0.01 * length if n == place else 0.0 for n in range(len(lengths))]
        parts += list(shifts_by_growth(engine, drive, growth_mm=growth).values())
    assert list(whole.values()) == pytest.approx(list(parts), rel=1e-9)


@given(cam_drives(), st.integers(-3, 3))
def test_jumps_are_exact_steps(engine, teeth):
    drive = engine.drives[0]
    z_cam = drive.sprockets[1].teeth
    for shaft in ("crank", *engine.roles):
        moved = set(engine.roles) if shaft == "crank" else {shaft}
        shifts = shifts_by_jump(engine, drive, shaft=shaft, teeth=teeth)
        for role, shift in shifts.items():
            assert shift == pytest.approx(teeth * 720 / z_cam if role in moved else 0, abs=1e-9)


@given(cam_drives())
def test_signatures_agree_with_the_forward_functions(engine):
    drive = engine.drives[0]
    found = by_key(engine)
    assert found["elongated:chain"].shifts_deg(engine.roles, sizes=[0.7]) == pytest.approx(
        shifts_by_elongation(engine, drive, percent=0.7)
    )
    for place, sprocket in enumerate(drive.sprockets[1:]):
        names = [key for key in found if key.startswith("guide-worn")]
        growth = [2.0 if n == place else 0.0 for n in range(len(drive.sprockets))]
        assert found[names[place]].shifts_deg(engine.roles, sizes=[2.0]) == pytest.approx(
            shifts_by_growth(engine, drive, growth_mm=growth)
        )
        assert cams_behind(engine, drive, place)[0] == sprocket.shaft


@pytest.mark.parametrize("name", sorted(shipped()))
def test_every_signature_is_whole_and_only_a_longer_strand_never_advances(name):
    engine = shipped()[name]
    found = signatures(engine)
    assert len({signature.key for signature in found}) == len(found)
    for signature in found:
        assert signature.name
        assert signature.about
        for size in signature.sizes:
            assert size.low <= 0 <= size.high
            assert 0 < size.typical <= size.high - size.low
            assert set(size.shift_deg) <= set(engine.roles)
            assert any(size.shift_deg.values())
        if signature.fault in {"elongated", "guide-worn"}:
            assert signature.never_advances
        if signature.fault in {"jumped", "crank-target", "cam-target"}:
            assert not signature.never_advances


# Two stages.


def test_a_primary_chain_moves_everything_behind_it_by_one_ratio():
    primary = drive_of(FELL, "primary chain")
    shifts = shifts_by_growth(FELL, primary, growth_mm=(1.0, 0.0))
    # 1.5 crank turns for one of the intermediate shaft, 36 teeth of 8 mm: 1.5 x 1.2484
    assert list(shifts.values()) == pytest.approx([1.5 * 2.49686 / 2] * 4, abs=1e-4)
    assert set(shifts_by_jump(FELL, primary, shaft="crank", teeth=1).values()) == {15.0}
    assert shifts_by_jump(FELL, primary, shaft="intermediate", teeth=1) == pytest.approx(
        shifts_by_jump(FELL, primary, shaft="crank", teeth=1)
    )


def test_a_chain_from_cam_to_cam_leaves_the_cam_it_starts_from():
    engine = load_engine(
        """
        [[drive]]
        name = "main"
        kind = "chain"
        pitch_mm = 8
        sprocket = [{ shaft = "crank", teeth = 20 }, { shaft = "intake", teeth = 40 }]
        [[drive]]
        name = "short"
        kind = "chain"
        pitch_mm = 6.35
        sprocket = [{ shaft = "intake", teeth = 24 }, { shaft = "exhaust", teeth = 24 }]
        """
    )
    found = by_key(engine)
    roles = ("intake", "exhaust")
    assert column(found["jumped:main:crank"], roles).tolist() == [18.0, 18.0]
    assert column(found["jumped:short:intake"], roles).tolist() == [0.0, 30.0]


def test_the_smallest_tooth_sets_the_smallest_step():
    assert smallest_tooth_step_deg(T20) == 20.0
    assert smallest_tooth_step_deg(FELL) == 15.0
    assert smallest_tooth_step_deg(shipped()["generic-pushrod"]) is None


# Refusals.


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda d: shifts_by_growth(T20, d, growth_mm=[1.0]), "3 spans"),
        (
            lambda d: shifts_by_growth(
                T20, replace(d, path_known=False), growth_mm=[1.0, 1.0, 0.0]
            ),
            "which strand is tight",
        ),
        (
            lambda d: shifts_by_elongation(T20, replace(d, spans=()), percent=1.0),
            "crank to exhaust",
        ),
        (lambda d: shifts_by_jump(T20, d, shaft="pump", teeth=1), "no sprocket on 'pump'"),
        (
            lambda d: shifts_by_growth(
                replace(T20, drives=(replace(d, pitch_mm=None),)),
                replace(d, pitch_mm=None),
                growth_mm=[1.0, 1.0, 0.0],
            ),
            "pitch_mm",
        ),
        (lambda d: replace(d, spans=(Span(),)), "1 spans for 3 sprockets"),
    ],
)
def test_what_cannot_be_worked_out_is_refused_in_one_line(call, says):
    with pytest.raises(UsageError, match=says) as caught:
        call(T20.drives[0])
    assert "\n" not in str(caught.value)
