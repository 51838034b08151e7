"""Channel names in the usual abbreviations of several languages."""

import pytest

from crankwise.roles.names import hint
from crankwise.roles.naming import name_cams

CRANKS = [
    "CKP",
    "ckp",
    "Crank",
    "crankshaft position",
    "CRANK_SENSOR",
    "Crank [V]",
    "CKP (V)",
    "crank 1",
    "Kurbelwelle",
    "Kurbelwellensensor",
    "KW-Geber",
    "vilebrequin",
    "PMH",
    "cigüeñal",
    "Ciguenal",
    "virabrequim",
    "wał korbowy",
    "vevaxel",
    "NE+",
]
CAMS = {
    "CMP": ("", None),
    "Cam": ("", None),
    "camshaft": ("", None),
    "Cam intake": ("intake", None),
    "intake cam": ("intake", None),
    "inlet": ("intake", None),
    "CMP in": ("intake", None),
    "CMP_EX": ("exhaust", None),
    "Exhaust camshaft [V]": ("exhaust", None),
    "Nockenwelle Einlass": ("intake", None),
    "NW Auslass": ("exhaust", None),
    "AAC admission": ("intake", None),
    "AAC échappement": ("exhaust", None),
    "arbol de levas admisión": ("intake", None),
    "levas escape": ("exhaust", None),
    "albero a camme scarico": ("exhaust", None),
    "camme aspirazione": ("intake", None),
    "CMP in B1": ("intake", 1),
    "CMP Ein B2": ("intake", 2),
    "intake cam bank 2": ("intake", 2),
    "exhaust bank1": ("exhaust", 1),
    "Exhaust B2": ("exhaust", 2),
}
OTHERS = [
    "Coil 1",
    "INJ",
    "injector 3",
    "Zündspule",
    "ignition",
    "bobine",
    "inyector",
    "MAP",
    "OCV",
]
SILENT = ["A", "Channel 0", "CH1", "D2", "Trace 4", "", "1", "signal", "V", "wheel"]


@pytest.mark.parametrize("name", CRANKS)
def test_crank(name):
    assert hint(name).kind == "crank"


@pytest.mark.parametrize("name", CAMS)
def test_cam(name):
    found = hint(name)
    assert (found.kind, found.side, found.bank) == ("cam", *CAMS[name])


@pytest.mark.parametrize("name", OTHERS)
def test_other(name):
    assert hint(name).kind == "other"


@pytest.mark.parametrize("name", SILENT)
def test_no_hint(name):
    assert hint(name).kind == ""


def roles_of(names, fixed=None):
    return name_cams(names, fixed or {}, {name: hint(name) for name in names})


def test_sides_become_roles():
    assert roles_of(["cam intake", "cam exhaust"]) == {
        "cam intake": "intake",
        "cam exhaust": "exhaust",
    }


def test_banks_are_named_where_there_are_two():
    names = ["in b1", "ex b1", "in b2", "ex b2"]
    assert list(roles_of(names).values()) == ["intake-1", "exhaust-1", "intake-2", "exhaust-2"]


def test_unknown_cams_are_numbered_in_channel_order():
    assert roles_of(["B", "A"]) == {"B": "cam-1", "A": "cam-2"}


def test_two_of_a_side_without_bank_are_numbered():
    assert list(roles_of(["intake left", "intake right"]).values()) == ["cam-1", "cam-2"]


def test_roles_of_the_user_stand():
    roles = roles_of(["A", "B", "cam intake"], {"intake": "A", "cam-1": "B"})
    assert roles["A"] == "intake"
    assert roles["B"] == "cam-1"
    assert roles["cam intake"] not in {"intake", "cam-1"}
    assert len(set(roles.values())) == 3


def test_order_of_the_roles_is_order_of_the_channels():
    names = ["exhaust", "intake"]
    assert list(roles_of(names)) == names
