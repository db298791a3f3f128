"""The generator of tests and benchmarks: what it drew once, it draws on every version of Python."""

from __future__ import annotations

from support.dice import Dice


def test_a_seed_gives_what_it_gave_before() -> None:
    dice = Dice("pinned")
    assert [dice.below(10) for _ in range(5)] == [5, 3, 4, 9, 1]
    assert (dice.randint(-3, 3), dice.randrange(5, 9), dice.choice("abcdef")) == (1, 6, "e")
    assert dice.choices("abc", [1, 2, 3], k=4) == ["a", "c", "b", "c"]
    assert dice.sample(range(10), 4) == [7, 1, 0, 9] and dice.sample(range(200), 3) == [153, 4, 102]
    letters = list("abcdef")
    dice.shuffle(letters)
    assert letters == ["d", "c", "a", "e", "f", "b"]
