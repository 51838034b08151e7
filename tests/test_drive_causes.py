"""Causes: the isolation table must come out of the model, and the model out of Bayes' theorem."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.drive.causes import CauseEvidence, next_check, rank_causes
from crankwise.drive.checks import checks
from crankwise.drive.engine_file import shipped
from crankwise.drive.growth import shifts_by_elongation
from crankwise.drive.hypotheses import hypotheses, kinds
from crankwise.drive.likelihood import likeliest_sizes, log_box, log_marginal
from crankwise.drive.scoring import posterior
from crankwise.drive.signature import FreeSize
from crankwise.errors import UsageError
from crankwise.judge.policy import load_policy
from crankwise.model.comparison import Cause
from crankwise.model.engine import Engine, Phaser
from crankwise.model.policy import CAUSES, FAULTS

POLICY = load_policy(None)
T20 = shipped()["tarn-t20"]
FELL = shipped()["fell-v6"]
T20_ROLES = ("exhaust", "intake")
FELL_ROLES = ("intake-1", "exhaust-1", "intake-2", "exhaust-2")


def seen(roles, shifts_deg, **changes):
    """One vehicle on two visits, measured to 0.1°, cams standing still, nothing else known."""
    count = len(roles)
    known = {
        "measurement_cov": 0.1**2 * np.eye(count),
        "build_cov": POLICY.spread.visit_deg**2 * np.eye(count),
        "scatter_ratio": np.full(count, np.nan),
        "scatter_dof": (30.0, 30.0),
        "moving_deg": np.zeros(count),
    }
    known |= {
        name: np.array(value, dtype=float) if isinstance(value, list) else value
        for name, value in changes.items()
    }
    return CauseEvidence(roles=tuple(roles), shifts_deg=np.array(shifts_deg, dtype=float), **known)


def other_vehicle(count):
    """By how much two healthy vehicles differ, as the policy has it."""
    apart = POLICY.spread.separation_deg**2 / 2
    return (POLICY.spread.cam_deg**2 - apart) * np.ones((count, count)) + apart * np.eye(count)


def rank(evidence, engine=T20):
    return rank_causes(evidence, engine, POLICY)


def chance(causes, wanted):
    """Sum the probabilities of the single causes whose key is wanted."""
    return sum(c.probability for c in causes if " + " not in c.cause and wanted(c.cause))


def only_turns(engine, cams):
    """Whether a key is a fault of those cams and no others: of their chain or their own parts."""

    def test(key):
        found = {h.key: h for h in hypotheses(engine, roles=engine.roles, policy=POLICY.causes)}
        if key not in found or not found[key].faults:
            return False
        moved = np.any(found[key].matrix(engine.roles) != 0.0, axis=1)
        return {r for r, m in zip(engine.roles, moved, strict=True) if m} == set(cams)

    return test


def moved_alike(key):
    return key == "crank-target" or "primary chain" in key or ":all cams" in key


# The isolation table: a row of published logic each (GM CTS 2007 and Acadia 2009, Suzuki XL7 2008
# "Diagnostic aids", GM 171028 and 27843, US 10,487,702).


@pytest.mark.parametrize("engine", [FELL, None], ids=["engine file", "none"])
def test_all_cams_alike_is_the_primary_chain_or_the_crank_target_and_phase_cannot_split_them(
    engine,
):
    causes = rank(seen(FELL_ROLES, [4.0] * 4), engine)
    assert chance(causes, moved_alike) > 0.9
    assert 0.1 < chance(causes, lambda key: key == "crank-target") < 0.9
    assert "phase alone can't tell" in causes[0].because


@pytest.mark.parametrize("engine", [FELL, None], ids=["engine file", "none"])
def test_the_crank_ripple_splits_what_phase_cannot(engine):
    followed = seen(FELL_ROLES, [4.0] * 4, ripple_shift_deg=4.2, ripple_standard_deg=1.0)
    stayed = seen(FELL_ROLES, [4.0] * 4, ripple_shift_deg=0.2, ripple_standard_deg=1.0)
    assert rank(followed, engine)[0].cause == "crank-target"
    assert rank(followed, engine)[0].probability > 0.9
    assert "where this gives +4.0°: it fits" in rank(followed, engine)[0].because
    causes = rank(stayed, engine)
    assert chance(causes, lambda key: key == "crank-target") < 0.02
    assert chance(causes, moved_alike) > 0.9
    assert "+0.2° ± 2.0°" in causes[0].because


@pytest.mark.parametrize("shift_deg", [2.0, 4.0, 9.0])
def test_both_cams_of_one_bank_alike_is_that_banks_drive(shift_deg):
    causes = rank(seen(FELL_ROLES, [0.0, 0.0, shift_deg, shift_deg]), FELL)
    assert chance(causes, only_turns(FELL, ("intake-2", "exhaust-2"))) > 0.9


def test_one_failed_phaser_cannot_move_a_whole_bank():
    causes = rank(seen(FELL_ROLES, [0.0, 0.0, 4.0, 4.0]), FELL)
    assert chance(causes, lambda key: kinds(key)[0] == "phaser-off-stop") < 1e-6


@pytest.mark.parametrize("percent", [0.2, 0.5, 1.2])
def test_downstream_cam_later_than_upstream_is_elongation(percent):
    shifts = shifts_by_elongation(T20, T20.drives[0], percent=percent)
    first = rank(seen(T20_ROLES, [shifts[role] for role in T20_ROLES]))[0]
    assert first.cause == "elongated:timing chain"
    assert first.probability > 0.9
    # 48 pitches of 8 mm are tight up to the intake cam
    assert first.size == (
        f"{percent:.2f} % elongation, {3.84 * percent:.1f} mm of the tight strands, "
        f"{8.64 * percent:.1f} mm of the whole chain"
    )


def test_the_order_of_the_path_decides_which_cam_may_lag_more():
    backward = replace(
        T20,
        drives=(
            replace(
                T20.drives[0],
                sprockets=tuple(T20.drives[0].sprockets[i] for i in (0, 2, 1)),
            ),
        ),
    )
    evidence = seen(T20_ROLES, [9.6, 6.0])
    assert rank(evidence, backward)[0].cause == "elongated:timing chain"
    # On the true path less lag further on is no single chain's doing.
    assert chance(rank(evidence), lambda key: key == "elongated:timing chain") < 1e-6


@pytest.mark.parametrize("role", FELL_ROLES)
def test_one_cam_only_is_that_cam(role):
    shifts = [4.0 if other == role else 0.0 for other in FELL_ROLES]
    causes = rank(seen(FELL_ROLES, shifts), FELL)
    assert chance(causes, only_turns(FELL, (role,))) > 0.9


@pytest.mark.parametrize("teeth", [-2, -1, 1, 2])
def test_whole_teeth_are_a_jump(teeth):
    # One tooth of a cam sprocket with 36 teeth is 20 crank degrees.
    first = rank(seen(T20_ROLES, [0.0, 20.0 * teeth]))[0]
    assert first.cause == "jumped:timing chain:intake"
    assert first.size == (
        f"{abs(teeth)} {'tooth' if abs(teeth) == 1 else 'teeth'} {'late' if teeth > 0 else 'early'}"
    )


def test_between_whole_teeth_is_no_jump():
    causes = rank(seen(T20_ROLES, [0.0, -13.0]))
    assert chance(causes, lambda key: kinds(key)[0] == "jumped") < 1e-6


def test_a_jump_on_the_crank_sprocket_moves_every_cam_by_whole_teeth():
    # 720 over 36 teeth of the driven sprockets is 360 over 18 of the crank's.
    causes = rank(seen(T20_ROLES, [20.0, 20.0]))
    assert causes[0].cause == "jumped:timing chain:crank"
    # For the V6 the crank's sprocket has 24 teeth: 15 crank degrees.
    assert rank(seen(FELL_ROLES, [15.0] * 4), FELL)[0].cause == "jumped:primary chain:crank"


@pytest.mark.parametrize("shifts", [(-3.0, -3.0), (-6.0, -9.6), (0.0, -5.0), (-5.0, 0.0)])
def test_early_is_never_elongation_or_a_worn_guide(shifts):
    causes = rank(seen(T20_ROLES, shifts))
    worn = ("elongated", "guide-worn")
    assert chance(causes, lambda key: kinds(key)[0] in worn) < 1e-6


def test_scatter_without_shift_is_a_loose_slack_side():
    evidence = seen(T20_ROLES, [0.05, -0.1], scatter_ratio=[3.1, 2.8])
    assert rank(evidence)[0].cause == "slack-side:timing chain"
    calm = seen(T20_ROLES, [0.05, -0.1], scatter_ratio=[1.1, 0.9])
    assert rank(calm)[0].cause == "healthy"


def test_a_late_second_cam_is_the_guide_if_it_scatters_and_its_target_if_not():
    loose = rank(seen(T20_ROLES, [0.0, 4.0], scatter_ratio=[1.0, 3.0]))
    still = rank(seen(T20_ROLES, [0.0, 4.0], scatter_ratio=[1.0, 1.0]))
    assert loose[0].cause == "guide-worn:timing chain:exhaust to intake"
    assert still[0].cause == "cam-target:intake"
    assert "3.0 times" in loose[0].because


def test_a_phaser_off_its_stop_by_one_tooth_is_never_called_elongation():
    # Volvo C30 2010: a phaser that isn't parked must be flagged; 20 degrees is also one tooth.
    moving = rank(seen(T20_ROLES, [20.0, 0.0], moving_deg=[3.0, 0.0]))
    still = rank(seen(T20_ROLES, [20.0, 0.0]))
    assert moving[0].cause == "phaser-off-stop:exhaust"
    assert "moved by 3.0°" in moving[0].because
    for causes in (moving, still):
        assert chance(causes, lambda key: "elongated" in key) < 1e-6
        loose = chance(causes, lambda key: key == "phaser-off-stop:exhaust")
        assert loose > 0.02


def test_a_phaser_cannot_leave_its_stop_the_wrong_way_or_where_none_is_fitted():
    late = rank(seen(T20_ROLES, [0.0, 8.0]))  # the intake's is parked retarded: only early
    assert chance(late, lambda key: key == "phaser-off-stop:intake") < 1e-6
    without = replace(T20, cams=tuple(replace(cam, phaser=Phaser(False)) for cam in T20.cams))
    causes = rank(seen(T20_ROLES, [0.0, -8.0]), without)
    assert not any("phaser" in cause.cause for cause in causes)


def test_shifts_that_nothing_explains_are_the_wrong_reference_or_none_of_these():
    causes = rank(seen(FELL_ROLES, [31.0, -17.0, 23.5, -9.0]), FELL)
    assert chance(causes, lambda key: key in ("wrong-reference", "none-of-these")) > 0.9


def test_two_faults_at_once_are_found():
    guide_and_phaser = seen(FELL_ROLES, [0.0, 5.0, -11.0, 0.0], scatter_ratio=[1.0, 3.0, 1.5, 1.0])
    first = rank(guide_and_phaser, FELL)[0]
    assert set(first.cause.split(" + ")) == {
        "guide-worn:bank 1 chain:intake-1 to exhaust-1",
        "phaser-off-stop:intake-2",
    }
    assert ", and " in first.size


# The model itself.


def test_probabilities_sum_to_one_and_come_in_order():
    causes = rank(seen(FELL_ROLES, [1.0, 3.0, 0.2, -0.4]), FELL)
    said = [cause.probability for cause in causes]
    assert sum(said) == pytest.approx(1.0, abs=1e-12)
    assert said == sorted(said, reverse=True)


def test_the_order_of_the_cams_does_not_matter():
    shifts = dict(zip(FELL_ROLES, (0.3, 2.2, 4.0, 4.4), strict=True))
    reference = {
        c.cause: c.probability for c in rank(seen(FELL_ROLES, list(shifts.values())), FELL)
    }
    for order in list(permutations(FELL_ROLES))[5::7]:
        causes = rank(seen(order, [shifts[role] for role in order]), FELL)
        assert {c.cause: c.probability for c in causes} == pytest.approx(reference, abs=1e-3)


def test_build_spread_common_to_both_cams_hides_less_of_their_separation():
    between = other_vehicle(2)
    alike = rank(seen(T20_ROLES, [2.0, 2.0], build_cov=between))
    apart = rank(seen(T20_ROLES, [-2.0, 2.0], build_cov=between))
    same_vehicle = rank(seen(T20_ROLES, [2.0, 2.0]))
    assert alike[0].cause == "healthy"
    assert chance(apart, lambda key: key == "healthy") < 0.05
    assert chance(same_vehicle, lambda key: key == "healthy") < 1e-6


def test_posterior_is_prior_times_likelihood_for_a_case_done_by_hand():
    # One cam of which only phaser and targets are known: everything is a line, so the marginal
    # likelihood is a normal density with the variance of the size added, cut at the range.
    engine = Engine("one cam", cams=(replace(T20.cams[0], role="cam-1", phaser=Phaser(False)),))
    priors = dict.fromkeys(CAUSES, 1e-12) | {"healthy": 0.7, "cam-target": 0.3}
    policy = replace(POLICY.causes, priors=priors, pair_factor=1e-12)
    evidence = seen(("cam-1",), [1.0])
    among = hypotheses(engine, roles=("cam-1",), policy=policy)
    found = dict(zip([h.key for h in among], posterior(evidence, among, policy), strict=True))

    def density(variance):
        return np.exp(-0.5 / variance) / np.sqrt(2 * np.pi * variance)

    noise = 0.1**2 + POLICY.spread.visit_deg**2
    healthy, target = 0.7 * density(noise), 0.3 * density(noise + 5.0**2)
    # The range of ±30° cuts off 2e-9 of a spread of 5°.
    assert found["healthy"] == pytest.approx(healthy / (healthy + target), rel=1e-6)


def test_a_cause_that_shows_on_no_cam_measured_is_left_out():
    among = hypotheses(FELL, roles=("intake-1", "exhaust-1"), policy=POLICY.causes)
    keys = {hypothesis.key for hypothesis in among}
    assert "elongated:primary chain" in keys
    assert not any("bank 2" in key or "intake-2" in key or "exhaust-2" in key for key in keys)
    singles = [h for h in among if len(h.faults) < 2]
    assert sum(np.exp(h.log_prior) for h in singles) == pytest.approx(1.0)


def lag(typical=4.0, high=20.0):
    return FreeSize("lag", "crank deg", {}, 0.0, high, typical)


def turn(reach=30.0, typical=5.0, least=0.0):
    return FreeSize("turn", "crank deg", {}, -reach, reach, typical, least)


TEETH = FreeSize("teeth", "teeth", {}, -3.0, 3.0, 1.0, least=1.0, whole=True)


@pytest.mark.parametrize(
    ("sizes", "matrix"),
    [
        ([lag(0.5, 3.0)], [[6.0], [9.6]]),
        ([turn(60.0, 20.0, 10.0)], [[1.0], [0.0]]),
        ([TEETH], [[20.0], [0.0]]),
        ([lag(1.0, 8.0), turn()], [[2.5, 1.0], [2.5, 1.0]]),
        ([lag(), lag()], [[1.0, 0.0], [0.0, 1.0]]),
        ([TEETH, turn(25.0, 12.0)], [[20.0, 0.0], [20.0, 1.0]]),
        ([turn(60.0, 20.0, 10.0), turn()], [[1.0, 0.0], [1.0, 1.0]]),
    ],
)
@pytest.mark.parametrize("shifts", [(3.9, 6.1), (-2.0, 0.5), (0.0, 0.0), (20.0, 19.0)])
def test_marginal_likelihood_agrees_with_a_dense_sum(sizes, matrix, shifts):
    matrix, shifts = np.array(matrix), np.array(shifts)
    covariance = np.array([[0.06, 0.03], [0.03, 0.09]])
    axes, weights = [], []
    for size in sizes:
        axis = np.array(size.steps()) if size.whole else _middles(size.low, size.high)
        weight = np.exp(-0.5 * (axis / size.typical) ** 2) * (np.abs(axis) >= size.least)
        axes.append(axis)
        weights.append(weight / weight.sum())
    grid = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    weight = weights[0] if len(sizes) == 1 else np.outer(*weights).ravel()
    rest = shifts - grid @ matrix.T
    distance = np.einsum("ki,ij,kj->k", rest, np.linalg.inv(covariance), rest)
    density = np.exp(-0.5 * distance) / (2 * np.pi * np.sqrt(np.linalg.det(covariance)))
    dense = float(weight @ density)
    found = log_marginal(shifts, matrix=matrix, covariance=covariance, sizes=sizes)
    if dense > 1e-100:
        assert found == pytest.approx(np.log(dense), abs=0.03)
    else:
        assert found < -225.0


def _middles(low, high):
    edges = np.linspace(low, high, 1501)
    return (edges[1:] + edges[:-1]) / 2


# Trivariate orthant: 1/8 + (asin r12 + asin r13 + asin r23) / (4 pi); W. F. Sheppard, 1899,
# Phil. Trans. R. Soc. A 192 (from memory).
@pytest.mark.parametrize("correlations", [(0.0, 0.0, 0.0), (0.5, 0.3, -0.2), (0.9, 0.8, 0.7)])
def test_share_in_an_orthant(correlations):
    one, two, three = correlations
    covariance = np.array([[1, one, two], [one, 1, three], [two, three, 1]], dtype=float)
    zero = np.zeros((1, 3))
    found = np.exp(log_box(zero, covariance, low=zero, high=zero + 99.0))[0]
    exact = 0.125 + np.arcsin(correlations).sum() / (4 * np.pi)
    assert found == pytest.approx(exact, rel=0.02)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-15, 15), min_size=2, max_size=2))
def test_no_allowed_size_beats_the_likeliest(shifts):
    sizes, matrix = [lag(1.0, 8.0), turn()], np.array([[2.5, 1.0], [2.5, 0.0]])
    covariance = np.array([[0.06, 0.03], [0.03, 0.09]])

    def cost(at):
        rest = np.array(shifts) - matrix @ at
        return rest @ np.linalg.solve(covariance, rest) + (at[0] / 1.0) ** 2 + (at[1] / 5.0) ** 2

    best = likeliest_sizes(np.array(shifts), matrix=matrix, covariance=covariance, sizes=sizes)
    assert all(size.allows(value) for size, value in zip(sizes, best.tolist(), strict=True))
    for step in np.vstack([np.eye(2), -np.eye(2)]) * 0.01:
        moved = np.clip(best + step, [0.0, -30.0], [8.0, 30.0])
        assert cost(moved) >= cost(best) - 1e-6


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"shifts_deg": [1.0]}, "shifts_deg has the shape"),
        ({"shifts_deg": [np.nan, 1.0]}, "isn't a number"),
        ({"build_cov": -np.eye(2)}, "positive definite"),
        ({"scatter_ratio": [0.0, 1.0]}, "above 0"),
        ({"scatter_dof": (0.0, 3.0)}, "above 0"),
        ({"ripple_shift_deg": 1.0}, "ripple"),
        ({"roles": ("intake", "intake")}, "each once"),
    ],
)
def test_evidence_that_does_not_fit_together_is_refused(changes, says):
    changes = {k: np.array(v) if isinstance(v, list) else v for k, v in changes.items()}
    with pytest.raises(UsageError, match=says) as error:
        replace(seen(T20_ROLES, [1.0, 2.0]), **changes)
    assert "\n" not in str(error.value)


# The next check.


def test_a_crank_target_is_told_from_a_chain_by_something_that_is_not_the_phase():
    check = next_check(rank(seen(T20_ROLES, [4.0, 4.0])), POLICY)
    assert "crank-target" in check.between
    assert "ripple" in check.text


def test_of_two_checks_that_tell_as_much_the_easier_one_is_asked_for():
    causes = rank(seen(T20_ROLES, [0.0, 4.0], scatter_ratio=[1.0, 1.7]))
    check = next_check(causes, POLICY)
    assert {kinds(key)[0] for key in check.between} == {"guide-worn", "cam-target"}
    # Looking at the guide takes the valve cover off; the sensor doesn't.
    assert "Take out the sensor of intake" in check.text
    assert "that speaks for: intake cam wheel or its sensor moved; if not" in check.text


def test_a_settled_cause_gets_the_check_that_confirms_it():
    causes = rank(seen(T20_ROLES, [3.9, 6.2], scatter_ratio=[2.0, 2.0]))
    check = next_check(causes, POLICY)
    assert check.between[0] == "elongated:timing chain"
    assert "that speaks for: timing chain elongated" in check.text


def test_a_rival_is_not_the_same_cause_with_another_beside_it():
    said = [("jumped:a:crank", 0.5), ("jumped:a:crank + slack-side:a", 0.3), ("crank-target", 0.2)]
    causes = [Cause(key, key, p, "") for key, p in said]
    assert next_check(causes, POLICY).between == ("jumped:a:crank", "crank-target")


def test_a_healthy_engine_needs_no_check():
    calm = seen(T20_ROLES, [0.05, 0.0], scatter_ratio=[1.0, 1.1])
    assert next_check(rank(calm), POLICY) is None
    assert next_check([], POLICY) is None


def test_no_cover_comes_off_while_a_healthy_engine_is_likeliest():
    said = [("healthy", 0.7), ("elongated:chain", 0.3)]
    assert next_check([Cause(key, key, p, "") for key, p in said], POLICY) is None
    said = [("healthy", 0.7), ("wrong-reference", 0.3)]
    check = next_check([Cause(key, key, p, "") for key, p in said], POLICY)
    assert "another known-good" in check.text


def test_every_two_kinds_have_a_check_and_hands_on_the_engine_come_with_a_warning():
    kinds_with_place = [f"{kind}:a" if kind in FAULTS else kind for kind in CAUSES]
    for first in kinds_with_place:
        for second in kinds_with_place:
            if first not in {second, "healthy"}:
                causes = [Cause(first, "one", 0.6, ""), Cause(second, "other", 0.4, "")]
                check = next_check(causes, POLICY)
                assert check is not None, (first, second)
                assert "{" not in check.text
    for check in checks():
        assert check.aims_at in CAUSES
        assert set(check.elsewhere) <= set(CAUSES)
        assert check.if_so > max([check.otherwise, *check.elsewhere.values()])
        assert check.source
        if check.effort > 1:
            assert "Engine off" in check.safety
            assert "key out" in check.safety
            assert "maker's procedure" in check.safety
