"""The policy: complete, sourced, and clear about what is wrong with a workshop's own."""

import tomllib
from importlib import resources

import pytest

from crankwise.errors import UnreadableError
from crankwise.judge.policy import load_policy, parse_policy
from crankwise.model.policy import CAUSES

SHIPPED = load_policy(None)


def entries(table, prefix=""):
    """Every table of the file that holds a value, by its full key."""
    for key, value in table.items():
        if isinstance(value, dict) and "value" in value:
            yield f"{prefix}{key}", value
        elif isinstance(value, dict):
            yield from entries(value, f"{prefix}{key}.")


def test_shipped_values_stand_where_the_code_takes_them():
    text = resources.files("crankwise.judge").joinpath("policy.toml").read_text("utf-8")
    for key, entry in entries(tomllib.loads(text)):
        group, *rest = key.split(".")
        value = getattr(SHIPPED, group)
        for name in rest:
            value = value[name] if isinstance(value, dict) else getattr(value, name)
        assert value == entry["value"]
        assert SHIPPED.sources[key] == entry["source"]


def test_every_value_has_a_source_and_every_cause_a_prior():
    assert set(SHIPPED.causes.priors) == set(CAUSES)
    assert sum(SHIPPED.causes.priors.values()) == pytest.approx(1.0)
    assert all(source.strip() for source in SHIPPED.sources.values())
    assert SHIPPED.limits.code_limit_source == SHIPPED.sources["limits.code_limit_deg"]


def test_limits_are_the_published_ones():
    # Published correlation limits run from 9° (GM 164910) to 15° (Hyundai/Kia 9043733).
    assert SHIPPED.limits.code_limit_deg == (9.0 + 15.0) / 2
    # Service advice replaces a stretched chain from 3°, looks for damage from 10°
    # (Mercedes TSB 05/093).
    worn = SHIPPED.limits.code_limit_deg * SHIPPED.limits.worn_share
    assert 3.0 <= worn <= 10.0
    # Three quantities outside their limits by chance: at most 1 %.
    assert 1.0 - SHIPPED.limits.coverage**3 <= 0.01
    # Edges of one wheel differ by about ±2° (Volvo ECM-644A): no more than three deviations.
    assert 3 * SHIPPED.spread.edge_deg == pytest.approx(2.0, abs=0.11)


def test_an_own_file_replaces_only_what_it_holds(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        '[spread.cam_deg]\nvalue = 0.9\nsource = "twenty vans of ours"\n'
        '[causes.priors.jumped]\nvalue = 2\nsource = "a bad belt series"\n',
        encoding="utf-8",
    )
    own = load_policy(path)
    assert own.spread.cam_deg == 0.9
    assert own.sources["spread.cam_deg"] == "twenty vans of ours"
    assert own.causes.priors["jumped"] == 2.0
    assert own.spread.separation_deg == SHIPPED.spread.separation_deg
    assert own.causes.priors["healthy"] == SHIPPED.causes.priors["healthy"]
    assert own.limits == SHIPPED.limits


def test_an_empty_file_is_the_shipped_policy():
    assert parse_policy("", where="own.toml") == SHIPPED


def entry(key, value, source='"ours"'):
    return f"[{key}]\nvalue = {value}\nsource = {source}\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x", "not valid TOML"),
        ('format = "other/1"', "crankwise.policy/1"),
        ("[limit.coverage]\nvalue = 1", "unknown key 'limit'; allowed are format, limits"),
        (entry("spread.cam", 1), "unknown key 'cam'; allowed are cam_deg"),
        (entry("causes.priors.rust", 1), "unknown key 'rust'; allowed are healthy"),
        ("[spread]\ncam_deg = 1", "'cam_deg' must be a table, written [spread.cam_deg]"),
        (entry("spread.cam_deg", -1), "a number above 0 and at most 30"),
        (entry("spread.cam_deg", '"wide"'), "a number above 0 and at most 30"),
        (entry("spread.cam_deg", "nan"), "a number above 0 and at most 30"),
        (entry("limits.worn_share", 1.5), "a number above 0 and at most 1"),
        ('[spread.cam_deg]\nsource = "ours"', "'value' is missing"),
        ("[spread.cam_deg]\nvalue = 1", "'source' is missing"),
        ('[spread.cam_deg]\nvalue = 1\nsource = "x"\nunit = "deg"', "unknown key 'unit'"),
        (entry("spread.separation_deg", 4), "can't spread by more than twice"),
        (entry("causes.moving_otherwise", 0.5), "must be seen to move more often"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text, says):
    with pytest.raises(UnreadableError) as error:
        parse_policy(text, where="own.toml")
    message = str(error.value)
    assert message.startswith("own.toml")
    assert says in message
    assert "\n" not in message


def test_a_file_that_cannot_be_read_is_named(tmp_path):
    with pytest.raises(UnreadableError, match=r"away\.toml: the policy can't be read"):
        load_policy(tmp_path / "away.toml")
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UnreadableError, match="UTF-8"):
        load_policy(odd)
