"""Panels: art, digits, dials, bars and lamps, putting them together, and whether wire can get at each pixel."""

import math
import random

import pytest

from hdl2grid.base.errors import InputError
from hdl2grid.panel import (
    Panel,
    above,
    bar,
    beside,
    colon,
    dial,
    framed,
    lamp,
    lamps,
    leading_one,
    seven_segment,
    spread,
)
from hdl2grid.panel.model import PanelLayout, PanelPixel
from hdl2grid.panel.wirable import check_wirable, find_walled
from hdl2grid.parts import SEGMENTS


def drawn(panel, letters=None):
    """The panel in characters: `letters` maps signals to characters, and dots are no pixels."""
    rows = [["."] * panel.width for _ in range(panel.height)]
    for pixel in panel.pixels:
        rows[pixel.y][pixel.x] = (letters or {}).get(pixel.signal, "#")
    return "\n".join("".join(row) for row in rows)


def picture(text):
    return "\n".join(line.strip() for line in text.strip().splitlines())


def fails(code, function, *args, **kwargs):
    with pytest.raises(InputError) as caught:
        function(*args, **kwargs)
    assert caught.value.code == code, str(caught.value)
    assert "test_panel.py:" in caught.value.where
    return str(caught.value)


SEGMENT_LETTERS = {f"ones[{i}]": letter for i, letter in enumerate("abcdefg")}
ART = """
    .aa.
    f..b
    f..b
    .gg.
"""
LEGEND = {"a": "ones[0]", "b": "ones[1]", "f": "ones[5]", "g": "ones[6]", ".": None}


def test_art_stands_as_drawn():
    panel = Panel.from_art(ART, legend=LEGEND)
    assert (panel.width, panel.height) == (4, 4)
    assert drawn(panel, SEGMENT_LETTERS) == picture(ART)
    assert panel.layout() == PanelLayout(4, 4, panel.pixels)
    assert panel.signals == ("ones[0]", "ones[5]", "ones[1]", "ones[6]")


def test_art_is_spread_by_its_pitch():
    panel = Panel.from_art(ART, legend=LEGEND, pitch=3)
    single = Panel.from_art(ART, legend=LEGEND)
    assert (panel.width, panel.height) == (10, 10)
    assert {(p.x, p.y, p.signal) for p in panel.pixels} == {(3 * p.x, 3 * p.y, p.signal) for p in single.pixels}
    assert spread(single, 3) == panel


def test_art_keeps_what_is_inside():
    panel = Panel.from_art("\n\n   a  a\n\n  a\n   \n", {"a": "x"})
    assert drawn(panel) == picture(".#..#\n.....\n#....")
    assert drawn(Panel.from_art("a a", {"a": "x", " ": "x"})) == "###"
    assert Panel.from_art("...", {}).pixels == ()


@pytest.mark.parametrize(
    "art, legend, words",
    [
        ("ab", {"a": "x"}, "line 1, column 2"),
        ("a\n..b", {"a": "x"}, "line 2, column 3"),
        ("", {}, "at least one line"),
        (None, {}, "at least one line"),
        (["aa"], {"a": "x"}, "at least one line"),
        ("a\tb", {"a": "x", "b": "x"}, "tab"),
        ("a", {"ab": "x"}, "one character"),
        ("a", {1: "x"}, "one character"),
        ("a", {"a": 3}, "flat name"),
        ("a", ["x"], "maps characters"),
    ],
)
def test_art_that_cannot_be_read(art, legend, words):
    assert words in fails("M031", Panel.from_art, art, legend)


def test_pitches_that_cannot_be():
    for pitch in (0, -1, 1.5, True, "2"):
        fails("M033", Panel.from_art, "a", {"a": "x"}, pitch=pitch)
        fails("M033", spread, lamp("x"), pitch)


def test_panels_made_of_pixels():
    fails("M030", Panel, 2, 2, (PanelPixel(2, 0, "x"),))
    fails("M030", Panel, 2, 2, (PanelPixel(0, -1, "x"),))
    assert "both x and y" in fails("M030", Panel, 2, 2, (PanelPixel(0, 0, "x"), PanelPixel(0, 0, "y")))
    fails("M030", Panel, 2, 2, (), ((0, 0, 2, 1),))
    for size in (0, -3, 1.0, True, 10**9, None):
        fails("M030", Panel, size, 1)


def test_a_digit_of_the_default_size():
    assert drawn(seven_segment("ones"), SEGMENT_LETTERS) == picture("""
        .aa.
        f..b
        f..b
        .gg.
        e..c
        e..c
        .dd.
    """)


@pytest.mark.parametrize("size", range(1, 8))
def test_digits_of_any_size(size):
    panel = seven_segment("d", size)
    assert (panel.width, panel.height) == (size + 2, 2 * size + 3)
    assert [sum(p.signal == f"d[{i}]" for p in panel.pixels) for i in range(7)] == [size] * 7
    check_wirable(panel)


def test_the_digits_can_be_read():
    # Common practice, no source: what people read as 0 .. 9 on seven segments.
    readable = {
        0: ".##. #..# #..# .... #..# #..# .##.",
        1: ".... ...# ...# .... ...# ...# ....",
        2: ".##. ...# ...# .##. #... #... .##.",
        3: ".##. ...# ...# .##. ...# ...# .##.",
        4: ".... #..# #..# .##. ...# ...# ....",
        5: ".##. #... #... .##. ...# ...# .##.",
        6: ".##. #... #... .##. #..# #..# .##.",
        7: ".##. ...# ...# .... ...# ...# ....",
        8: ".##. #..# #..# .##. #..# #..# .##.",
        9: ".##. #..# #..# .##. ...# ...# .##.",
    }
    panel = seven_segment("d")
    for digit, rows in readable.items():
        lit = [p for p in panel.pixels if SEGMENTS[digit] >> int(p.signal[2:-1]) & 1]
        shown = Panel(panel.width, panel.height, tuple(lit))
        assert drawn(shown).split() == rows.split(), digit


def test_what_stands_between_digits():
    assert drawn(leading_one("one")).split() == list(".##.##.")
    assert drawn(colon("dots")).split() == list("..#.#..")
    for size in range(1, 6):
        digit = seven_segment("d", size)
        rows = {p.y for p in digit.pixels if p.signal in ("d[1]", "d[2]")}
        assert {p.y for p in leading_one("one", size).pixels} == rows
        dots = [p.y for p in colon("dots", size).pixels]
        assert len(dots) == 2 and sum(dots) == digit.height - 1
        assert leading_one("one", size).height == colon("dots", size).height == digit.height


def test_lamps_and_bars():
    assert drawn(lamp("pm", 3, 2)).split() == ["###", "###"]
    row = lamps("level", 3, gap=1, size=2)
    assert drawn(row, {f"level[{i}]": str(i) for i in range(3)}).split() == ["00.11.22", "00.11.22"]
    assert drawn(lamps("x", 2, gap=0, vertical=True), {"x[0]": "0", "x[1]": "1"}).split() == ["0", "1"]
    assert [p.signal for p in lamps("pm", 1).pixels] == ["pm"]
    assert drawn(bar("x", 3), {f"x[{i}]": str(i) for i in range(3)}) == "012"
    upright = bar("x", 3, thickness=2, vertical=True)
    assert drawn(upright, {f"x[{i}]": str(i) for i in range(3)}).split() == ["22", "11", "00"]


def test_numbers_that_shape_nothing():
    for wrong in (0, -1, 1.5, True, "3", 10**6):
        for function in (seven_segment, leading_one, colon, lamp, lamps, bar):
            fails("M033", function, "x", wrong)
    fails("M033", lamps, "x", 3, gap=-1)
    fails("M033", dial, "x", rays=0)
    fails("M033", dial)
    fails("M033", dial, 3)
    fails("M033", dial, "x", lengths=(1, 2))
    fails("M033", dial, "x", lengths=(0,))
    assert "same tile" in fails("M033", dial, "x", start=1)


def test_a_dial_of_twelve_rays():
    letters = {f"in[{i}]": "i" for i in range(12)} | {f"out[{i}]": "o" for i in range(12)}
    assert drawn(dial("in", "out", lengths=(2, 1)), letters) == picture("""
        ..o..o..o..
        ...i.i.i...
        o..i.i.i..o
        .ii.....ii.
        ...........
        oii.....iio
        ...........
        .ii.....ii.
        o..i.i.i..o
        ...i.i.i...
        ..o..o..o..
    """)


@pytest.mark.parametrize("rays", [1, 2, 3, 4, 5, 6, 8, 10, 12, 24, 60])
def test_hands_point_where_the_clock_does(rays):
    panel = dial("in", "out", rays=rays, lengths=(2, 3))
    centre = (panel.width - 1) // 2
    for ray in range(rays):
        inner = [
            (p.x - centre, p.y - centre) for p in panel.pixels if p.signal == ("in" if rays == 1 else f"in[{ray}]")
        ]
        outer = [
            (p.x - centre, p.y - centre) for p in panel.pixels if p.signal == ("out" if rays == 1 else f"out[{ray}]")
        ]
        assert len(inner) == 2 and len(outer) == 3
        assert max(math.hypot(*t) for t in inner) < min(math.hypot(*t) for t in outer)
        for x, y in inner + outer:
            # Clockwise from straight up, as on every clock (common practice, no source); a tile is a tile wide.
            angle = 2 * math.pi * ray / rays
            away = abs(x * math.cos(angle) + y * math.sin(angle))
            assert away <= 0.75 and x * math.sin(angle) - y * math.cos(angle) > 0
    check_wirable(panel)


def test_arranging():
    a, b = lamp("a", 1, 3), lamp("b", 2, 1)
    letters = {"a": "a", "b": "b"}
    assert drawn(beside(a, b), letters).split() == ["a..bb", "a....", "a...."]
    assert drawn(beside(a, b, gap=1, align="middle"), letters).split() == ["a...", "a.bb", "a..."]
    assert drawn(beside(a, b, gap=0, align="bottom"), letters).split() == ["a..", "a..", "abb"]
    assert drawn(above(b, a, gap=0), letters).split() == ["bb", "a.", "a.", "a."]
    assert drawn(above(b, a, align="right"), letters).split() == ["bb", "..", "..", ".a", ".a", ".a"]
    assert beside(a) == a and above(a) == a


def test_frames():
    panel = framed(lamp("a"), margin=2)
    assert (panel.width, panel.height) == (5, 5) and panel.pixels == (PanelPixel(2, 2, "a"),)
    assert panel.backdrop == ((0, 0, 4, 4),)
    assert framed(lamp("a"), backdrop=False).backdrop == ()
    nested = beside(panel, framed(lamp("b")), gap=1)
    assert nested.backdrop == ((0, 0, 4, 4), (6, 0, 8, 2))
    assert framed(nested, margin=0).backdrop == ((0, 0, 8, 4), (0, 0, 4, 4), (6, 0, 8, 2))


def test_arranging_what_cannot_be():
    for wrong in ([lamp("a")], "a", None):
        for function in (beside, above, framed):
            fails("M034", function, wrong)
    fails("M034", beside)
    fails("M033", beside, lamp("a"), gap=-1)
    assert "Did you mean 'middle'?" in fails("M034", beside, lamp("a"), align="midle")
    fails("M034", above, lamp("a"), align="top")


# -- wirable ------------------------------------------------------------------------------------------------------


def art(text, pitch=1):
    return Panel.from_art(text, {c: c for c in set(text) - set(". \n")}, pitch)


def reachable(panel):
    """By flood from outside the panel, for each bit on its own: the pixels that its wire can get to."""
    at = {(p.x, p.y): p.signal for p in panel.pixels}
    found = set()
    for signal in panel.signals:
        seen, stack = {(-1, -1)}, [(-1, -1)]
        while stack:
            x, y = stack.pop()
            for near in ((x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)):
                within = -1 <= near[0] <= panel.width and -1 <= near[1] <= panel.height
                if within and near not in seen and at.get(near, signal) == signal:
                    seen.add(near)
                    stack.append(near)
        found |= {tile for tile in seen if at.get(tile) == signal}
    return found


def test_a_pixel_in_the_middle_of_others_is_walled_in():
    message = fails("M040", check_wirable, art("abc\ndef\nghi"))
    assert "pixel (1,1), which shows e," in message
    assert "A pitch of 2 would do: Panel.from_art(..., pitch=2)." in message
    check_wirable(art("abc\ndef\nghi", pitch=2))
    fails("M040", check_wirable, art(".b.\ndef\n.h."))  # free corners do not help: wires do not run diagonally
    for open_art in ("abc\nd.f\nghi", "abc\nbbf\nghi", "ab\ncd"):
        check_wirable(art(open_art))


def test_a_pixel_is_reached_through_its_own_bits_pixels():
    ring = "zzzzz\nz...z\nz.z.z\nz...z\nzzzzz"
    check_wirable(art(ring))
    message = fails("M040", check_wirable, art(ring.replace("z.z.z", "z.a.z")))
    assert "pixel (2,2), which shows a," in message
    # Wire of a comes in by its pixel in the ring, so the one inside can be had.
    check_wirable(art("zzazz\nz...z\nz.a.z\nz...z\nzzzzz"))
    # A ring within a ring: a comes in, b does not.
    both = art("zzazzzz\nz.....z\nz.aaa.z\nz.aba.z\nz.aaa.z\nz.....z\nzzzzzzz")
    assert "(3,3), which shows b," in fails("M040", check_wirable, both)


def test_the_pitch_that_would_do_counts_from_the_one_that_was_used():
    walled = "zzzzz\nz.a.z\nzzzzz"
    assert "pitch=2" in fails("M040", check_wirable, art(walled))
    dense = Panel(3, 3, tuple(PanelPixel(x, y, f"p{x}{y}") for x in range(3) for y in range(3)))
    assert "spread(panel, 2)" in fails("M040", check_wirable, dense)
    check_wirable(spread(dense, 2))


def test_reach_against_a_flood_on_random_panels():
    rng = random.Random(1)
    num_walled = 0
    for _ in range(600):
        width, height = rng.randint(1, 7), rng.randint(1, 6)
        fill, letters = rng.choice([0.5, 0.8, 1.0]), "abcde"[: rng.randint(1, 5)]
        pixels = tuple(
            PanelPixel(x, y, rng.choice(letters)) for x in range(width) for y in range(height) if rng.random() < fill
        )
        panel = Panel(width, height, pixels)
        missed = {(p.x, p.y) for p in pixels} - reachable(panel)
        walled = find_walled(panel.layout())
        if missed:
            num_walled += 1
            assert walled is not None and walled.num_wires == 0
            assert (walled.pixel.x, walled.pixel.y) in missed
        else:
            assert walled is None or walled.num_wires > 0
    assert num_walled > 50


def pocket(num_bits, gap, space=1):
    """A box whose only opening is `gap` tiles wide, with `num_bits` pixels inside, `space` tiles apart."""
    inside = num_bits * (space + 1) + 1
    width = max(inside, gap) + 2
    tiles = {(x, y) for x in range(width) for y in (0, 5)} | {(x, y) for x in (0, width - 1) for y in range(6)}
    tiles -= {(1 + i, 5) for i in range(gap)}
    pixels = [PanelPixel(x, y, "box") for x, y in sorted(tiles)]
    pixels += [PanelPixel(1 + space + i * (space + 1), 2, f"bit[{i}]") for i in range(num_bits)]
    return Panel(width, 6, tuple(pixels))


@pytest.mark.parametrize("gap", [1, 2, 3])
def test_a_gap_passes_one_wire_a_colour_and_tile(gap):
    for num_bits in range(1, 4 * gap + 1):
        assert find_walled(pocket(num_bits, gap).layout()) is None
    for num_bits in (4 * gap + 1, 4 * gap + 3):
        walled = find_walled(pocket(num_bits, gap).layout())
        assert walled is not None and (walled.num_bits, walled.num_wires) == (num_bits, 4 * gap)
        assert walled.pixel.signal == "bit[0]"
    message = fails("M041", check_wirable, pocket(4 * gap + 1, gap))
    assert f"{4 * gap + 1} bits" in message and f"only {4 * gap} wires" in message and "spread(panel, 2)" in message


def test_wide_empty_spaces_count_as_wide():
    assert find_walled(pocket(9, 3, space=40).layout()) is None
    assert find_walled(pocket(13, 3, space=40).layout()) is not None
    far = Panel(10_000, 10_000, (PanelPixel(0, 0, "a"), PanelPixel(9_999, 9_999, "b")))
    assert find_walled(far.layout()) is None


def test_matrices_need_a_pitch_of_two():
    matrix = Panel(8, 8, tuple(PanelPixel(x, y, f"p[{8 * y + x}]") for x in range(8) for y in range(8)))
    assert "(1,1), which shows p[9]," in fails("M040", check_wirable, matrix)
    check_wirable(spread(matrix, 2))


def test_the_order_of_pixels_changes_nothing():
    panel = pocket(5, 1)
    expected = find_walled(panel.layout())
    rng = random.Random(2)
    for _ in range(5):
        shuffled = list(panel.pixels)
        rng.shuffle(shuffled)
        assert find_walled(PanelLayout(panel.width, panel.height, tuple(shuffled))) == expected
