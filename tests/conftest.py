"""What tests share: pictures read back, a language of longer words, and no clock in a test."""

from __future__ import annotations

import importlib
import itertools
import pkgutil
import xml.etree.ElementTree as ET

import pytest
from hypothesis import settings

import crankwise.picture
from crankwise.language import say
from crankwise.picture.layout import text_width

# How long an example takes depends on what else the machine is doing.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

SVG = "{http://www.w3.org/2000/svg}"


class ReadPicture:
    """A picture read back from its SVG."""

    def __init__(self, drawn):
        self.root = ET.fromstring(drawn)  # noqa: S314  our own output
        self.width, self.height = (float(self.root.get(key)) for key in ("width", "height"))

    def all(self, name, **wanted):
        """Elements of one name; ``stroke_width`` asks for ``stroke-width``."""
        asked = {key.rstrip("_").replace("_", "-"): value for key, value in wanted.items()}
        return [
            node
            for node in self.root.iter(f"{SVG}{name}")
            if all(node.get(key) == value for key, value in asked.items())
        ]

    @property
    def title(self):
        return self.root.find(f"{SVG}title").text

    @property
    def description(self):
        return self.root.find(f"{SVG}desc").text

    @property
    def words(self):
        """Every text, in the order drawn."""
        return [node.text for node in self.all("text")]

    def text(self, words):
        """The one text with these words."""
        [found] = [node for node in self.all("text") if node.text == words]
        return found

    def boxes(self):
        """Every text with its box: words, left, right, top, bottom."""
        for node in self.all("text"):
            size, x, y = (float(node.get(key)) for key in ("font-size", "x", "y"))
            width = text_width(node.text, size=size)
            left = x - {"start": 0.0, "middle": width / 2, "end": width}[node.get("text-anchor")]
            yield node.text, left, left + width, y - 0.75 * size, y + 0.2 * size

    def assert_tidy(self):
        """No text runs into another one or out of the sheet."""
        boxes = list(self.boxes())
        for (a, l1, r1, t1, b1), (b, l2, r2, t2, b2) in itertools.combinations(boxes, 2):
            apart = r1 <= l2 + 1 or r2 <= l1 + 1 or b1 <= t2 + 0.5 or b2 <= t1 + 0.5
            assert apart, f"{a!r} runs into {b!r}"
        for words, left, right, top, bottom in boxes:
            assert left >= 0, words
            assert right <= self.width, words
            assert top >= 0, words
            assert bottom <= self.height, words

    def points(self, node):
        return [tuple(map(float, pair.split(","))) for pair in node.get("points").split()]


@pytest.fixture(scope="session")
def read_picture():
    return ReadPicture


@pytest.fixture
def long_words(monkeypatch):
    """Make every text of the pictures 40 % longer: German takes about so much more room."""

    def longer(text, **values):
        words = say(text, **values)
        return words + " " + "läng" * round(0.1 * len(words)) if len(words) > 3 else words

    for found in pkgutil.iter_modules(crankwise.picture.__path__, "crankwise.picture."):
        module = importlib.import_module(found.name)
        if hasattr(module, "say"):
            monkeypatch.setattr(module, "say", longer)
