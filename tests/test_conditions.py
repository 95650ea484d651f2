"""Scans under the conditions of shops, stones and noise that nobody tuned to: is any word false?

What is judged is the printed word: a figure called good or fair whose range misses the truth.
`python tests/judge_scans.py` prints the table of the README as it goes.
"""

import pytest
from judge_scans import FIRST, NAMES, judged, lines_of, rows
from phone_scans import lumpy_stones, seeded_stones

FALSE = 0.02  # share of scans whose word may be false


@pytest.mark.parametrize("name", ["on a stand", "held in a hand", "table closed to a slab"])
def test_what_is_no_stone_is_told(name: str) -> None:
    stones = seeded_stones(1, 520) + lumpy_stones(1, 720)
    for row in rows(name, stones, 0, teach=True):
        assert not row.get("false"), row


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_word_is_false(name: str) -> None:
    table = list(judged(name, 24, FIRST, teach=False))
    print(*lines_of(name, table), sep="\n")
    for ruler in {row["ruler"] for row in table}:
        some = [row for row in table if row["ruler"] == ruler]
        assert sum(bool(row.get("false")) for row in some) <= FALSE * len(some), ruler
