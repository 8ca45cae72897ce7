"""A few damaged files of each kind; `python -m tests.attacks` tries many more."""

from pathlib import Path
from random import Random

import pytest

from tests.attacks.files import attack


@pytest.mark.parametrize("start", range(0, 60, 20))
def test_damaged_files(start: int, tmp_path: Path) -> None:
    wrong = [(seed, attack(Random(seed), tmp_path)) for seed in range(start, start + 20)]
    assert [each for each in wrong if each[1] is not None] == []
