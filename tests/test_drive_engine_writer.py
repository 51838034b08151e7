"""Engine files: what is written reads back the same."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.drive.engine_file import FORMAT, load_engine, shipped
from crankwise.drive.engine_writer import to_toml
from crankwise.model.engine import Cam, Drive, Engine, Phaser, Span, Sprocket

WORDS = st.text(
    st.characters(codec="utf-8", exclude_characters="\r"), min_size=1, max_size=12
).map(str.strip).filter(bool)  # fmt: skip
SIZES = st.none() | st.floats(0.001, 59, allow_subnormal=False)


@st.composite
def engines(draw):
    """Any engine a file can hold, with one drive over intake and exhaust."""
    teeth = draw(st.none() | st.integers(10, 40))
    driven = None if teeth is None else 2 * teeth
    sprockets = (
        Sprocket("crank", teeth),
        Sprocket("intake", driven, ("intake",)),
        Sprocket("own shaft", driven, ("exhaust",)),
        Sprocket(f"pump {draw(WORDS)}".strip(), draw(st.none() | st.just(20)), (), True),
    )
    spans = [
        Span(length_mm=length, guide=draw(st.just("") | WORDS), tensioner=draw(st.booleans()))
        if draw(st.booleans())
        else Span(length_pitches=length)
        for length in draw(st.lists(SIZES, min_size=4, max_size=4))
    ]
    drive = Drive(
        name=draw(WORDS),
        kind=draw(st.sampled_from(["chain", "belt"])),
        pitch_mm=draw(SIZES),
        sprockets=sprockets,
        spans=tuple(spans),
        path_known=draw(st.booleans()),
    )
    parked = draw(st.sampled_from([None, "retarded", "advanced", "middle"]))
    phasers = [None, Phaser(fitted=False), Phaser(parked=parked, authority_deg=draw(SIZES))]
    order = draw(st.just(()) | st.permutations([1, 2, 3, 4]).map(tuple))
    return Engine(
        family=draw(WORDS),
        cylinders=draw(st.just(4) | st.none()),
        firing_order=order,
        crank_wheel=draw(st.just("") | WORDS),
        tdc_after_zero_deg=draw(st.none() | st.floats(0, 359.9)),
        cams=(
            Cam("exhaust", draw(st.just("") | WORDS), draw(st.none() | st.just(4)),
                draw(st.sampled_from(phasers))),
            Cam("intake", phaser=draw(st.sampled_from(phasers))),
        ),
        drives=draw(st.sampled_from([(), (drive,)])),
        code_limit_deg=draw(SIZES),
        interference=draw(st.sampled_from(["yes", "no", "unknown"])),
        notes=draw(st.just("") | WORDS),
    )  # fmt: skip


@given(engines())
def test_what_is_written_reads_back_the_same(engine):
    text = to_toml(engine)
    assert load_engine(text) == engine
    assert to_toml(load_engine(text)) == text


@pytest.mark.parametrize("name", sorted(shipped()))
def test_shipped_engines_are_written_and_read_back(name):
    engine = shipped()[name]
    assert load_engine(to_toml(engine)) == engine


def test_nothing_unknown_is_written():
    assert to_toml(Engine("x")) == f'format = "{FORMAT}"\nfamily = "x"\ninterference = "unknown"\n'
