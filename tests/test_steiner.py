"""Trees with branching points against published optima, and against what must hold for any."""

from __future__ import annotations

import csv
import os
import random
from pathlib import Path

import numpy as np
import pytest

from hdl2grid.plan.measure import spanning_tree
from hdl2grid.steiner import steiner_length, steiner_tree

DATA = Path(os.environ.get("HDL2GRID_CHECK_DATA", ""), "steiner")
needs_data = pytest.mark.skipif(not DATA.joinpath("estein10.txt").is_file(), reason="HDL2GRID_CHECK_DATA is not set")
SCALE = 10**7


def problems(file: str) -> list[list[tuple[int, int]]]:
    words = iter((DATA / file).read_text().split())
    found = []
    for _ in range(int(next(words))):
        count = int(next(words))
        found.append([(round(float(next(words)) * SCALE), round(float(next(words)) * SCALE)) for _ in range(count)])
    return found


def optima(file: str) -> dict[int, float]:
    lines = (line for line in (DATA / "estein_rectilinear_opt.csv").open() if not line.startswith("#"))
    return {int(r["problem"]): float(r["steiner_length"]) for r in csv.DictReader(lines) if r["file"] == file}


def ratios(file: str, exact: int) -> list[float]:
    known = optima(file)
    points = problems(file)
    return [steiner_length(points[number - 1], exact) / SCALE / best for number, best in sorted(known.items())]


@needs_data
@pytest.mark.parametrize(("file", "exact", "count"), [("estein1.txt", 9, 41), ("estein10.txt", 10, 15)])
def test_within_one_percent_of_the_published_optima(file: str, exact: int, count: int) -> None:
    """estein1: J. Soukup, W. F. Chow 1973; estein10: J. E. Beasley, OR-Library, EJOR 58, 1992; optima of the latter by
    D. M. Warme, P. Winter, M. Zachariasen."""
    found = ratios(file, exact)
    assert len(found) == count
    assert min(found) > 1 - 1e-6
    assert max(found) < 1.01


@needs_data
def test_the_heuristic_alone_on_ten_to_thirty_points() -> None:
    """Without exact search as a whole: each problem within 2 %, the mean of a file within 0.5 %."""
    for file in ("estein10.txt", "estein20.txt", "estein30.txt"):
        found = ratios(file, 2)
        assert 1 - 1e-6 < min(found) and max(found) < 1.02 and sum(found) / len(found) < 1.005, file


def test_a_cross_has_its_middle() -> None:
    xs, ys = np.array([0, 4, 2, 2]), np.array([3, 3, 0, 6])
    assert [tuple(row.tolist()) for row in steiner_tree(xs, ys)] == [(2,), (3,)]
    assert steiner_length([(0, 3), (4, 3), (2, 0), (2, 6)]) == 10
    assert steiner_length([]) == steiner_length([(3, 3)]) == steiner_length([(3, 3), (3, 3)]) == 0


def test_no_tree_is_longer_than_a_spanning_tree_or_shorter_than_may_be() -> None:
    """A spanning tree is at most half as long again (F. K. Hwang, SIAM J. Applied Mathematics 30, 1976)."""
    dice = random.Random(11)
    for turn in range(60):
        count = 2 + turn % 24
        tiles = [(dice.randrange(25), dice.randrange(18)) for _ in range(count)]
        least, most = steiner_length(tiles, 8), spanning_tree(sorted(set(tiles)))
        xs, ys = zip(*tiles, strict=True)
        assert max(2 * most / 3, max(xs) - min(xs) + max(ys) - min(ys)) <= least <= most


def test_exact_and_heuristic_on_the_same_tiles() -> None:
    dice = random.Random(5)
    equal = 0
    for _ in range(40):
        tiles = [(dice.randrange(20), dice.randrange(20)) for _ in range(8)]
        exact, heuristic = steiner_length(tiles, 8), steiner_length(tiles, 2)
        assert exact <= heuristic
        assert exact == steiner_length([(y, -x) for x, y in tiles], 8)
        equal += exact == heuristic
    assert equal >= 36
