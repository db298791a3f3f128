"""What is asked of a layout: how much is searched, in which style, within which limits.

Budgets are in iterations, never in seconds (the table in docs/layout.md states them).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from hdl2grid.base.target import MAX_GRID_SIDE, STYLES, Weights, load_target

UNLIMITED = 1_000_000
"""Tiles: limits whose product is as large are none. Guessed: ten times the grid of any machine measured."""


@dataclass(frozen=True)
class LayoutParams:
    """`max_width` and `max_height` limit the grid, in tiles; `weights` are the prices of the style. Of the sizes that a
    machine may be tried on (`sizes.STEPS`), `first_size` and those before `last_size` are."""

    effort: str = "normal"
    seed: int = 1
    max_width: int = MAX_GRID_SIDE
    max_height: int = MAX_GRID_SIDE
    style: str = STYLES[0]
    weights: Weights | None = None
    first_size: int = 0
    last_size: int = 1_000

    @property
    def prices(self) -> Weights:
        """`weights`, or else those of the built-in target."""
        return self.weights or load_target().weights(self.style)

    @property
    def is_limited(self) -> bool:
        """Whether the limits are such that a machine may not find room."""
        return self.max_width * self.max_height < UNLIMITED


@dataclass(frozen=True)
class Effort:
    """Budgets, in iterations.

    At each size `seeds` placements are made and routed. The best of them is repaired by at most `tries` tries; where
    that does not suffice, up to `lines` rows and columns are put in. A legal layout loses rows and columns in at
    most `cuts` cuts (`cut_tries` repairs each), until `stall` cuts in a row have failed. Then restarts follow, from the
    best layout on another grid or after `stir` tries of moving cells about: `rounds` rounds of `batch` restarts that
    know nothing of each other. `polish` tries make the result better.

    With `sketches`, so many restarts are made as in effort quick. The best of them, `lines_of_descent`, are cut down
    and go on, and each round stirs the best two. `sieve` says how a cut is looked for: so many rows and columns are
    tried for so many tries, the most promising of them longer, and so on.
    """

    seeds: int
    tries: int
    lines: int
    cuts: int
    cut_tries: int
    stall: int
    rounds: int
    batch: int
    stir: int
    polish: int
    sketches: int = 0
    lines_of_descent: int = 1
    sieve: tuple[tuple[int, int], ...] = ()


EFFORTS = {
    "quick": Effort(3, 6000, lines=16, cuts=16, cut_tries=300, stall=5, rounds=0, batch=0, stir=0, polish=8000),
    "normal": Effort(4, 8000, lines=16, cuts=150, cut_tries=700, stall=25, rounds=4, batch=3, stir=0, polish=150_000),
    "long": Effort(6, 16_000, lines=16, cuts=300, cut_tries=2000, stall=50, rounds=20, batch=4, stir=0, polish=300_000),
}
"""In tidy style. Guessed, like the two tables below: what seconds, a minute and many minutes allow."""
COMPACT = {
    "quick": EFFORTS["quick"],
    "normal": replace(
        EFFORTS["normal"], cuts=300, rounds=1, batch=4, stir=3000, sketches=4, lines_of_descent=2,
        sieve=((24, 200), (5, 800), (1, 3000)),
    ),
    "long": replace(
        EFFORTS["long"], rounds=8, batch=4, stir=6000, sketches=12, lines_of_descent=4,
        sieve=((30, 250), (6, 1000), (2, 5000)),
    ),
}  # fmt: skip
"""In compact style, where most of the time goes into less area."""
OF_BROAD = {
    "quick": replace(EFFORTS["quick"], polish=2000),
    "normal": replace(EFFORTS["quick"], cuts=50, stall=15, polish=8000),
    "long": replace(EFFORTS["normal"], cuts=80, rounds=1, batch=2, polish=30_000),
}
"""For machines so large that one layout takes minutes, in both styles."""
