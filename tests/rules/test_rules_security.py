"""The table of docs/security.md: every line has a status, and its evidence exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")
TABLE = PAGE.split("<!-- asvs: begin -->")[1].split("<!-- asvs: end -->")[0]
LINES = [
    [cell.strip() for cell in line.strip("|").split(" | ")]
    for line in TABLE.splitlines()
    if re.match(r"\| \d", line)
]
STATUS = re.compile(
    r"met\b.*|not applicable: .+|open, (?:low|moderate|serious)(?:: .+| over plain HTTP.+)"
)


@pytest.mark.parametrize("line", LINES, ids=lambda line: line[0])
def test_a_line_has_a_status_and_evidence_that_exists(line):
    _, _, status, evidence = line
    assert STATUS.fullmatch(status)
    named = re.findall(r"`([^`]+)`", evidence)
    assert named
    for name in named:
        path, _, test = name.partition("::")
        text = (ROOT / path).read_text(encoding="utf-8")
        assert not test or re.search(rf"^def {test}\(", text, re.MULTILINE), name


def test_every_chapter_is_there_and_nothing_serious_is_open():
    chapters = {line[0].partition(".")[0] for line in LINES}
    assert chapters == {str(number) for number in range(2, 15)}
    assert len({line[0] for line in LINES}) == len(LINES)
    assert not any("serious" in line[2] for line in LINES)
