"""Engine files: what is read, what is refused and how, and the page about them."""

import re
import tomllib
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.drive.engine_file import FORMAT, load_engine, shipped
from crankwise.drive.missing import missing
from crankwise.drive.path import crank_turns, problem_of
from crankwise.errors import UnreadableError
from crankwise.model.engine import Cam, Drive, Engine, Phaser, Span, Sprocket
from crankwise.wheel.catalogue import load as load_wheels

CHAIN = """
[[drive]]
name = "chain"
kind = "chain"
pitch_mm = 8
links = 108
[[drive.sprocket]]
shaft = "crank"
teeth = 18
[[drive.sprocket]]
shaft = "exhaust"
teeth = 36
[[drive.sprocket]]
shaft = "intake"
teeth = 36
[[drive.span]]
between = ["crank", "exhaust"]
length_pitches = 30
guide = "long guide"
[[drive.span]]
between = ["intake", "crank"]
length_mm = 245.6
tensioner = true
"""


def test_a_whole_file_is_read():
    engine = load_engine(
        """
        format = "crankwise.engine/1"
        family = "Tarn T20"
        cylinders = 4
        firing_order = [1, 3, 4, 2]
        interference = "no"
        code_limit_deg = 11.5
        notes = "a note"
        [crank]
        wheel = "60-2"
        tdc_after_zero_deg = 84
        [[cam]]
        role = "intake"
        wheel = "four teeth"
        wheel_teeth = 4
        phaser = { parked = "retarded", authority_deg = 50 }
        """
        + CHAIN
    )
    drive = Drive(
        name="chain",
        kind="chain",
        pitch_mm=8.0,
        links=108,
        sprockets=(
            Sprocket("crank", 18),
            Sprocket("exhaust", 36, ("exhaust",)),
            Sprocket("intake", 36, ("intake",)),
        ),
        spans=(
            Span(length_pitches=30.0, guide="long guide"),
            Span(),
            Span(length_mm=245.6, tensioner=True),
        ),
    )
    phaser = Phaser(parked="retarded", authority_deg=50.0)
    assert engine == Engine(
        family="Tarn T20",
        cylinders=4,
        firing_order=(1, 3, 4, 2),
        crank_wheel="60-2",
        tdc_after_zero_deg=84.0,
        cams=(Cam("intake", "four teeth", 4, phaser), Cam("exhaust")),
        drives=(drive,),
        code_limit_deg=11.5,
        interference="no",
        notes="a note",
    )
    assert drive.span_length_mm(0) == 240.0
    assert drive.span_length_mm(1) is None
    assert drive.span_length_mm(2) == 245.6


def test_an_empty_file_is_an_engine_of_which_nothing_is_known(tmp_path):
    path = tmp_path / "van.toml"
    path.write_text("")
    assert load_engine(path) == Engine("van")


def test_files_with_byte_order_mark_and_windows_lines_are_read(tmp_path):
    path = tmp_path / "van.toml"
    path.write_bytes(b"\xef\xbb\xbf" + CHAIN.replace("\n", "\r\n").encode())
    assert load_engine(str(path)).roles == ("exhaust", "intake")


def test_a_shipped_name_is_read_and_a_file_of_that_name_goes_first(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert load_engine("tarn-t20") is shipped()["tarn-t20"]
    (tmp_path / "tarn-t20").write_text('family = "mine"')
    assert load_engine("tarn-t20").family == "mine"


@pytest.mark.parametrize("name", sorted(shipped()))
def test_shipped_engines_are_sound(name):
    engine = shipped()[name]
    assert problem_of(engine) is None
    assert engine.notes
    assert engine.crank_wheel in {"", *load_wheels()}
    for cam in engine.cams:
        assert crank_turns(engine, cam.role) in {None, 2.0}


def test_the_two_engines_of_the_demo_lack_nothing_but_a_code_limit():
    assert missing(shipped()["tarn-t20"]) == ()
    assert missing(shipped()["fell-v6"]) == (
        "No limit from service information: the default code limit is used.",
    )


def test_generic_layouts_state_no_numbers():
    for name, engine in shipped().items():
        if name.startswith("generic-"):
            for drive in engine.drives:
                assert drive.pitch_mm is None
                assert all(sprocket.teeth is None for sprocket in drive.sprockets)
            assert not any(cam.phaser for cam in engine.cams)


# Each line of what is missing goes when the item is given.


@pytest.mark.parametrize(
    ("given_text", "word"),
    [
        ('[crank]\nwheel = "60-2"\n', "wheel isn't named"),
        ("[crank]\ntdc_after_zero_deg = 84\n", "Top dead centre"),
        ("cylinders = 1\n", "number of cylinders"),
        ("cylinders = 4\nfiring_order = [1, 3, 4, 2]\n", "firing order"),
        ("code_limit_deg = 12\n", "service information"),
        ('interference = "no"\n', "pistons can meet"),
        ('[[cam]]\nrole = "intake"\n', "Cams aren't listed"),
        (CHAIN, "No chain or belt"),
    ],
)
def test_what_is_given_is_no_longer_missing(given_text, word):
    without = Engine("x", cylinders=4) if word == "firing order" else Engine("x")
    assert any(word in text for text in missing(without))
    assert not any(word in text for text in missing(load_engine(given_text + "\n")))


@pytest.mark.parametrize(
    ("cut", "word"),
    [
        ("pitch_mm = 8\n", "the pitch isn't given"),
        ("links = 108\n", "links aren't counted"),
        ("teeth = 18\n", "teeth of crank aren't given"),
        ("length_pitches = 30\n", "lengths of tight spans are missing"),
        ('guide = "long guide"\n', "not every guide is named"),
    ],
)
def test_what_is_cut_from_a_drive_is_missing(cut, word):
    # the second tight span, not given in the text above, completed first
    whole = CHAIN.replace(
        "[[drive.span]]",
        '[[drive.span]]\nbetween = ["exhaust", "intake"]\nlength_mm = 144\nguide = "upper"\n'
        "[[drive.span]]",
        1,
    )
    assert cut in whole
    assert not any(word in text for text in missing(load_engine(whole)))
    assert any(word in text for text in missing(load_engine(whole.replace(cut, ""))))


def test_phasers_that_are_not_described_are_missing():
    def texts(phaser):
        return [text for text in missing(Engine("x", cams=(Cam("intake", phaser=phaser),)))
                if text.startswith("intake: ")]  # fmt: skip

    assert "whether it has a phaser" in texts(None)[0]
    assert len(texts(Phaser())) == 2
    assert texts(Phaser(fitted=False)) == []
    assert texts(Phaser(parked="retarded", authority_deg=40.0)) == []


# Refusals: file, table, key, what is allowed.

BAD = [
    ("cylinders = 0", "'cylinders' must be a whole number from 1 to 16, not 0"),
    ("cylinders = true", "a whole number from 1 to 16, not true"),
    ("cylinders = 4.0", "a whole number from 1 to 16, not 4.0"),
    ("cylinder = 4", "van.toml: unknown key 'cylinder'; allowed are format, cylinders"),
    ("family = 5", "'family' must be text between quotation marks, not 5"),
    ('family = " "', "'family' must be text"),
    ('format = "crankwise.engine/9"', f"this version reads {FORMAT}"),
    ("cylinders = 4\nfiring_order = [1, 3, 4]", "each of the cylinders 1 to 4 once"),
    ("firing_order = [1, 3, 3]", "each of the cylinders 1 to 3 once"),
    ('firing_order = "1-3-4-2"', "'firing_order' must be a list of whole numbers"),
    ('interference = "maybe"', "must be one of \"yes\", \"no\", \"unknown\", not 'maybe'"),
    ("code_limit_deg = -3", "a number above 0 and at most 90, not -3"),
    ("code_limit_deg = nan", "a number above 0 and at most 90, not nan"),
    ("code_limit_deg = inf", "not inf"),
    ("code_limit_deg = 1e999", "not inf"),
    ('code_limit_deg = "12"', "not '12'"),
    ("crank = 60", "'crank' must be a table, written [crank]"),
    ("[crank]\ntdc_after_zero_deg = 360", "[crank]: 'tdc_after_zero_deg' must be degrees from 0"),
    ("[crank]\nteeth = 58", "[crank]: unknown key 'teeth'; allowed are wheel, tdc_after_zero_deg"),
    ('[cam]\nrole = "intake"', "'cam' must be a list of tables, each written [[cam]]"),
    ('[[cam]]\nrole = "inlet"', "[[cam]] 1 'inlet': 'role' must be intake, exhaust, with a bank"),
    ("[[cam]]\nwheel_teeth = 4", "[[cam]] 1: 'role' must be"),
    ('[[cam]]\nrole = "intake"\n[[cam]]\nrole = "intake"', "two [[cam]] tables have the role"),
    (
        '[[cam]]\nrole = "intake"\n[cam.phaser]\nparked = "left"',
        '[[cam]] 1 \'intake\', [cam.phaser]: \'parked\' must be one of "retarded"',
    ),
    (
        '[[cam]]\nrole = "intake"\n[cam.phaser]\nfitted = false\nauthority_deg = 4',
        "'fitted' is false, so",
    ),
    ("[[drive]]\npitch_mm = 8", "[[drive]] 1: 'kind' is missing; write kind = \"chain\""),
    ('[[drive]]\nkind = "gear"', "'kind' must be one of \"chain\", \"belt\", not 'gear'"),
    ('[[drive]]\nkind = "chain"', "it needs its sprockets"),
    (CHAIN.replace("teeth = 18", "teeth = 1.8"), "[[drive.sprocket]] 1 'crank': 'teeth' must"),
    (CHAIN.replace("teeth = 18", "teeth = 19"), "turns 1.89474 times for one turn of 'exhaust'"),
    (CHAIN.replace('shaft = "crank"\n', ""), "[[drive.sprocket]] 1: 'shaft' is missing"),
    (CHAIN.replace('"exhaust"', '"exaust"'), "shaft 'exaust' is no cam and drives nothing"),
    (CHAIN.replace('"exhaust"', '"intake"'), "shaft 'intake' stands twice"),
    (CHAIN.replace('"crank"', '"idler"'), "nothing drives its first shaft 'idler'"),
    (CHAIN.replace('"crank", "exhaust"', '"exhaust", "crank"'), "'between' must be one of"),
    (CHAIN.replace('["crank", "exhaust"]', '"crank"'), "'between' must be a list of texts"),
    (CHAIN.replace('["crank", "exhaust"]', '["intake", "crank"]'), "stands twice"),
    (CHAIN.replace("length_mm", "length_pitches = 2\nlength_mm"), "not both"),
    (CHAIN.replace("length_mm = 245.6", "length_pitches = 245.6").replace(
        "[[drive.span]]", '[[drive.span]]\nbetween = ["exhaust", "intake"]\nlength_mm = 144\n'
        "[[drive.span]]", 1), "the spans add up to 293.6 pitches and the whole has only 108"),
    (CHAIN + CHAIN, "two [[drive]] tables have the name 'chain'"),
    (CHAIN + CHAIN.replace('name = "chain"', 'name = "b"'), "already driven by another drive"),
    (CHAIN.replace("teeth = 18", "teeth = 18\naccessory = 1"), "'accessory' must be true or false"),
    (
        CHAIN.replace('shaft = "exhaust"', 'shaft = "exhaust"\naccessory = true'),
        "turns cams, so accessory = true can't be right",
    ),
    (CHAIN.replace('shaft = "crank"', 'shaft = "crank"\ncams = ["cam-1"]'), "can't carry a cam"),
    (
        CHAIN.replace('shaft = "exhaust"', 'shaft = "exhaust"\ncams = ["exhaust", "intake"]'),
        "cam 'intake' is turned by two shafts, exhaust and intake",
    ),
    ("family = 'x", "not valid TOML"),
    ("a = " + "[" * 3000, "not valid TOML"),
    ("cylinders = " + "1" * 5000, "not valid TOML"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), BAD)
def test_what_is_wrong_is_said_in_one_line_with_file_table_and_key(tmp_path, text, says):
    path = tmp_path / "van.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnreadableError) as caught:
        load_engine(path)
    message = str(caught.value)
    assert message.startswith("van.toml")
    assert says in message
    assert "\n" not in message
    assert len(message) < 400


def test_drives_that_drive_each_other_are_refused():
    def drive(name, *shafts):
        listed = ", ".join(f'{{ shaft = "{shaft}" }}' for shaft in shafts)
        return f'[[drive]]\nname = "{name}"\nkind = "chain"\nsprocket = [{listed}]\n'

    with pytest.raises(UnreadableError, match="drives itself"):
        load_engine(drive("one", "a", "b") + drive("two", "b", "a"))
    with pytest.raises(UnreadableError, match="drives itself"):
        load_engine(
            drive("one", "c", "intake") + drive("two", "a", "b", "c") + drive("3", "b", "a")
        )


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("no-such-engine", "No such file"),
        (".", "can't be read"),
        ("a\0b", "can't be read"),
        ("x" * 5000, "can't be read"),
    ],
)
def test_a_file_that_cannot_be_read_is_said_with_what_there_is(source, says):
    with pytest.raises(UnreadableError, match=says) as caught:
        load_engine(source)
    assert "tarn-t20" in str(caught.value)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "van.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(UnreadableError, match="isn't UTF-8 text"):
        load_engine(path)


def refusal(text):
    """Return what is said against a text; empty if it is an engine."""
    try:
        load_engine(text)
    except UnreadableError as error:
        return str(error)
    return ""


@given(st.text(max_size=60))
def test_any_text_is_an_engine_or_an_error_of_ours(text):
    assert "\n" not in refusal("\n" + text)


VALUES = st.recursive(
    st.booleans()
    | st.integers(-5, 50)
    | st.floats()
    | st.sampled_from(["crank", "intake", "chain", "x", ""]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["shaft", "teeth", "between", "guide", "sprocket", "kind", "role"]),
            inner,
        )
    ),
    max_leaves=8,
)


@given(
    st.dictionaries(
        st.sampled_from(["cam", "drive", "crank", "firing_order", "notes", "cylinders"]), VALUES
    )
)
def test_values_of_any_kind_are_refused_and_never_crash(values):
    with patch.object(tomllib, "loads", return_value=values):
        assert "\n" not in refusal("\n")


# The page about it.

PAGE = (Path(__file__).parents[1] / "docs" / "engine-file.md").read_text(encoding="utf-8")


def test_the_example_on_the_page_is_a_whole_engine():
    (example,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    engine = load_engine(example)
    assert missing(engine) == ()
    assert engine.drives[0].sprockets == shipped()["tarn-t20"].drives[0].sprockets


@pytest.mark.parametrize(
    ("heading", "text"),
    [
        ("At the top:", "{}"),
        ("`[crank]`", "[crank]\n{}"),
        ("`[[cam]]`", '[[cam]]\nrole = "intake"\n{}'),
        ("`[cam.phaser]`", '[[cam]]\nrole = "intake"\n[cam.phaser]\n{}'),
        ("`[[drive]]`", CHAIN.replace('kind = "chain"', 'kind = "chain"\n{}')),
        ("`[[drive.sprocket]]`", CHAIN.replace("teeth = 18", "teeth = 18\n{}")),
        ("`[[drive.span]]`", CHAIN + "{}"),
    ],
)
def test_the_page_lists_each_key_and_no_other(heading, text):
    section = PAGE.split(f"\n{heading}", 1)[1].split("\n\n", 2)[1]
    listed = re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)
    allowed = refusal("\n" + text.replace("{}", "zzz = 1")).split("allowed are ")[1].split(", ")
    assert sorted(listed) == sorted(allowed)


def test_the_code_on_the_page_runs_and_prints_what_it_says(capsys):
    (code,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    exec(code, {})  # noqa: S102  our own page
    printed = capsys.readouterr().out
    exhaust, intake = re.match(r"timing chain elongated \[\[(.+?)\], \[(.+?)\]\]", printed).groups()
    assert f"{float(exhaust):.2f}° crank at the exhaust, {float(intake):.2f}° at the int" in PAGE
    assert printed.endswith("()\n")
