"""Forms: what people type, and engine files as a form and back."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

pytest.importorskip("fastapi", reason="the screens are an extra: install crankwise[web]")

from crankwise.drive.engine_file import parse_engine, shipped
from crankwise.drive.engine_writer import to_toml
from crankwise.errors import UnreadableError, UsageError
from crankwise.judge.policy import parse_policy, policy_toml, shipped_entries
from crankwise.language import told, using
from crankwise.web import forms
from crankwise.web.engine_form import changed, filled, place_of, text_of
from crankwise.web.views.workshop import policy_changes


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("240", "240.00"), ("89.5", "89.50"), ("89,50", "89.50"), ("1,234.50", "1234.50"),
        ("1.234,50", "1234.50"), ("1 234,50", "1234.50"), ("1’234.50".replace("’", "'"), "1234.50"),
        ("1,234", "1234.00"), ("0", "0.00"),
    ],
)  # fmt: skip
def test_amounts_are_read_as_people_write_them(typed, amount):
    assert forms.amount(typed, what="price") == Decimal(amount)


@pytest.mark.parametrize("typed", ["", "a lot", "-5", "1e9", "1.2345", "99999999", "1..2", "١٢"])
def test_what_is_no_amount_is_refused_with_its_field(typed):
    with pytest.raises(UsageError, match="price"):
        forms.amount(typed, what="price")


@given(st.decimals(min_value=0, max_value=9_999_999, places=2))
def test_an_amount_survives_english_and_german_writing(value):
    english = f"{value:,.2f}"
    german = english.translate(str.maketrans(",.", ".,"))
    assert forms.amount(english, what="x") == forms.amount(german, what="x") == value


def test_a_mileage_may_be_grouped_or_left_open():
    assert forms.mileage("58,900", "miles") == (58900.0, "miles")
    for grouped in ("58.900", "58’900", "58'900", "58\u202f900", "58 900"):
        assert forms.mileage(grouped, "km") == (58900.0, "km")
    assert forms.mileage(" ", "km") == (None, None)
    with pytest.raises(UsageError, match="mileage"):
        forms.mileage("about 50", "km")


def as_typed(table) -> dict[str, str]:
    """Return the fields of a form as a browser sends them."""
    sent = {table.place + key: value for key, value in table.values.items()}
    for inner in table.below:
        sent |= as_typed(inner)
    return sent


@pytest.mark.parametrize("name", sorted(shipped()))
def test_an_engine_file_comes_back_from_its_form_as_it_was(name):
    engine = shipped()[name]
    sent = as_typed(filled(to_toml(engine)))
    assert parse_engine(text_of(sent), where=name, family=name) == engine


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("cylinders", "four"), ("firing_order", "1, x"),
        ("code_limit_deg", "-3"), ("interference", "maybe"), ("crank.tdc_after_zero_deg", "400"),
        ("cam.1.wheel_teeth", "2.5"), ("cam.2.phaser.parked", "home"),
        ("drive.1.sprocket.2.teeth", "many"), ("drive.1.span.1.length_pitches", "0"),
    ],
)  # fmt: skip
def test_an_error_is_told_at_the_field_it_is_about(field, typed):
    sent = as_typed(filled(to_toml(shipped()["tarn-t20"]))) | {field: typed}
    with pytest.raises(UnreadableError) as refused:
        parse_engine(text_of(sent), where="x", family="x")
    assert place_of(str(refused.value)) == field


def test_quotation_marks_and_backslashes_stay_inside_their_field():
    sent = as_typed(filled(to_toml(shipped()["tarn-t20"])))
    hostile = 'a" \\ ]] [[cam]] role = "crank'
    engine = parse_engine(text_of(sent | {"family": hostile}), where="x", family="x")
    assert (engine.family, len(engine.cams)) == (hostile, 2)


def test_parts_are_added_at_the_end_and_removed_whole():
    sent = as_typed(filled(to_toml(shipped()["tarn-t20"])))
    more = filled(text_of(changed(sent, "add drive.1.sprocket")))
    drive = next(inner for inner in more.below if inner.part.key == "drive")
    assert [i.place for i in drive.below if i.part.key == "sprocket"][-1] == "drive.1.sprocket.4."
    fewer = filled(text_of(changed(sent, "remove cam.1")))
    cams = [inner for inner in fewer.below if inner.part.key == "cam"]
    assert [cam.values["role"] for cam in cams] == ["intake"]
    assert changed(sent, "nonsense") == sent


@given(st.dictionaries(st.from_regex(r"[a-z.\d]{1,20}", fullmatch=True), st.text(max_size=20)))
def test_whatever_a_form_holds_becomes_valid_toml(form):
    filled(text_of(form))


def test_a_policy_keeps_only_what_differs_and_wants_a_source():
    shipped_ones = shipped_entries()
    untouched = {key: f"{value:g}" for key, (value, _) in shipped_ones.items()}
    assert policy_changes(untouched, shipped_ones) == {}
    typed = untouched | {"limits.code_limit_deg": "9,5"}
    with pytest.raises(UsageError, match=r"^Code limit, crank degrees: say where"):
        policy_changes(typed, shipped_ones)
    source = shipped_ones["limits.code_limit_deg"][1]
    with using("de"):
        for shown in (source, told(source)):
            with pytest.raises(UsageError, match="woher der eigene Wert stammt"):
                policy_changes(typed | {"limits.code_limit_deg source": shown}, shipped_ones)
    changes = policy_changes(typed | {"limits.code_limit_deg source": 'bulletin "7"'}, shipped_ones)
    policy = parse_policy(policy_toml(changes), where="policy")
    assert policy.limits.code_limit_deg == 9.5
    assert policy.sources["limits.code_limit_deg"] == 'bulletin "7"'
    with pytest.raises(UsageError, match="is no number"):
        policy_changes({"limits.coverage": "high"}, shipped_ones)
