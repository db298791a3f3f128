"""Targets: the built-in one, files of one's own and their mistakes, renaming colours."""

from __future__ import annotations

import csv
import itertools
import os
from dataclasses import replace
from pathlib import Path

import pytest

from hdl2grid.base.colours import IEC_60757, contrast, hue_of_name, luminance
from hdl2grid.base.errors import InputError
from hdl2grid.base.target import (
    builtin_text,
    check_period,
    grid_limits,
    load_target,
    parse_target,
    rename_colours,
    target_names,
)

CHECK_DATA = os.environ.get("HDL2GRID_CHECK_DATA")


def code_of(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_target(text, where="x.toml")
    assert caught.value.where == "x.toml"
    return caught.value.code


def test_the_built_in_target_has_four_colours_and_any_period():
    target = load_target()
    assert target_names() == ("default",)
    assert target.colour_names == ("black", "orange", "blue", "violet")
    assert [colour.code for colour in target.colours] == ["BK", "OG", "BU", "VT"]  # IEC 60757, table 1
    assert target.ticker_periods is None
    assert len({colour.dash for colour in target.colours}) == 4, "wires must differ by dash, too"
    assert target.laying.fresh_pixel_lit and not target.laying.fresh_ticker_running
    assert target.laying.fresh_gate_output == 0


def test_every_wire_has_the_contrast_of_a_graphical_object_on_paper():
    # WCAG 2.2, success criterion 1.4.11: at least 3:1.
    for colour in load_target().colours:
        assert contrast(colour.hue, "#FFFFFF") >= 3
    for name in IEC_60757:
        assert contrast(hue_of_name(name) or "", "#FFFFFF") >= 3, name


def test_contrast_is_that_of_wcag():
    # WCAG 2.2: black on white is 21:1; #777777 on white is the usual example just below 4.5:1.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert 4.47 < contrast("#777777", "#FFFFFF") < 4.5
    assert luminance("#FFFFFF") == pytest.approx(1)


@pytest.mark.skipif(not CHECK_DATA, reason="no HDL2GRID_CHECK_DATA")
def test_codes_and_hues_are_the_published_ones():
    path = Path(CHECK_DATA or "") / "tables" / "colours.csv"
    rows = list(csv.DictReader(line for line in path.read_text().splitlines() if not line.startswith("#")))
    codes = {row["name"]: row["code"] for row in rows if row["set"] == "IEC 60757"}
    assert {name: codes[name] for name in IEC_60757} == IEC_60757
    published = {row["hex"].upper() for row in rows if row["set"].startswith(("Okabe-Ito", "Tol"))}
    ratio = {row["hex"].upper(): float(row["contrast_on_white"]) for row in rows if row["hex"]}
    for colour in load_target().colours:
        assert colour.hue in published
        assert contrast(colour.hue, "#FFFFFF") == pytest.approx(ratio[colour.hue], abs=0.01)


# Matrices for the three dichromacies, in linear sRGB: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A
# physiologically-based model for simulation of color vision deficiency, IEEE TVCG 15, 2009, severity 1.0.
DICHROMACIES = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def lab(linear: list[float]) -> tuple[float, float, float]:
    """CIE 1976 L*a*b* of linear sRGB, D65 (IEC 61966-2-1)."""
    rows = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    xyz = [sum(a * b for a, b in zip(row, linear, strict=True)) for row in rows]
    f = [
        (v ** (1 / 3) if v > 0.008856 else 7.787 * v + 16 / 116)
        for v in (max(xyz[0], 0) / 0.9505, max(xyz[1], 0), max(xyz[2], 0) / 1.089)
    ]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


@pytest.mark.parametrize("kind", DICHROMACIES)
def test_no_two_wire_colours_look_alike_to_colour_blind_people(kind):
    seen = []
    for colour in load_target().colours:
        channels = [int(colour.hue[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        seen.append(lab([sum(a * b for a, b in zip(row, linear, strict=True)) for row in DICHROMACIES[kind]]))
    for one, other in itertools.combinations(seen, 2):
        # A difference of 10 is read at a glance (common practice, no source); ours are above 20.
        assert sum((a - b) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5 > 20


def test_a_file_states_only_what_differs(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('name = "mine"\n[ticker]\nperiods = [60, 0.5]\n[grid]\nmax_width = 50\n')
    target = load_target(file)
    assert target.name == "mine"
    assert target.ticker_periods == (0.5, 60.0)
    assert target.max_width == 50
    assert target.colours == load_target().colours


def test_the_text_to_start_from_is_itself_a_good_target():
    assert parse_target(builtin_text(), "default") == load_target()


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("name = ", "T003"),
        ("a = " + "[" * 100_000, "T003"),
        ('name = "x"\ncolors = []', "T004"),
        ('name = "x"\n[ticker]\nperiod = 1', "T004"),
        ("", "T005"),
        ("name = 7", "T006"),
        ('name = "x"\ngrid = 3', "T006"),
        ('name = "x"\n[grid]\nmax_width = "wide"', "T006"),
        ('name = "x"\n[grid]\nmax_width = true', "T006"),
        ('name = "x"\n[grid]\nmax_width = 0', "T007"),
        ('name = "x"\n[grid]\nmax_width = 1000000000', "T007"),
        ('name = "x"\n[laying]\nfresh_gate = 2', "T007"),
        ('name = "x"\n[laying]\nfresh_pixel = "bright"', "T006"),
        ('name = "x"\n[ticker]\nperiods = []', "T006"),
        ('name = "x"\n[ticker]\nperiods = [0]', "T006"),
        ('name = "x"\n[ticker]\nperiods = [inf]', "T006"),
        ('name = ""', "T009"),
        ('name = "x,y"', "T009"),
        ('name = "a\\u0007"', "T009"),
        (f'name = "{"x" * 41}"', "T009"),
        ('name = "x"\ncolours = []', "T008"),
        ('name = "x"\ncolours = ["red"]', "T006"),
    ],
)
def test_mistakes_have_their_codes(text, code):
    assert code_of(text) == code


def colours(*changes: dict[str, str]) -> str:
    rows = [
        {"name": f'"{name}"', "hue": f'"{hue}"'}
        for name, hue in (("a", "#000000"), ("b", "#0072B2"), ("c", "#D55E00"), ("d", "#CC79A7"))
    ]
    for row, change in zip(rows, changes, strict=False):
        row.update(change)
    tables = ("[[colours]]\n" + "\n".join(f"{key} = {value}" for key, value in row.items()) for row in rows)
    return 'name = "x"\n' + "\n".join(tables)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (colours({"name": '"b"'}), "T008"),
        (colours({"hue": '"#0072b2"'}), "T008"),
        (colours({"code": '"BU"'}, {"code": '"BU"'}), "T008"),
        (colours() + '\n[[colours]]\nname = "e"\nhue = "#111111"', "T008"),
        (colours({"hue": '"blue"'}), "T010"),
        (colours({"shade": "1"}), "T004"),
        (colours({"code": '"bk"'}), "T006"),
        (colours({"dash": "[1]"}), "T006"),
        (colours({"dash": "[0, 1]"}), "T006"),
        (colours({"dash": '["x", 1]'}), "T006"),
        (colours({"name": '"a,b"'}), "T009"),
        ('name = "x"\n[[colours]]\nname = "a"', "T005"),
    ],
)
def test_mistakes_in_colours_have_their_codes(text, code):
    assert code_of(text) == code


def test_a_misspelt_key_brings_the_right_one():
    with pytest.raises(InputError, match="Did you mean 'max_width'"):
        parse_target('name = "x"\n[grid]\nmaxwidth = 3', "x")


def test_files_that_cannot_be_read(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b'name = "\xff"')
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * 1_000_001)
    for path in (bad, huge, tmp_path, tmp_path / "none.toml"):
        with pytest.raises(InputError) as caught:
            load_target(path)
        assert caught.value.code == "T002"
    with pytest.raises(InputError) as caught:
        load_target("defualt")
    assert caught.value.code == "T001" and "default" in str(caught.value)


def test_renamed_colours_are_drawn_as_their_names_say():
    target = rename_colours(load_target(), ["copper", "red", "blue", " green "])
    assert target.colour_names == ("copper", "red", "blue", "green")
    assert [colour.code for colour in target.colours] == [None, "RD", "BU", "GN"]
    assert target.colours[1].hue == hue_of_name("red")
    assert len({colour.hue for colour in target.colours}) == 4
    assert [c.dash for c in target.colours] == [c.dash for c in load_target().colours]


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["a", "b", "c"], "T008"),
        (["a", "b", "c", "d", "e"], "T008"),
        (["a", "b", "c", "a"], "T008"),
        (["a", "", "c", "d"], "T009"),
        ([], "T008"),
    ],
)
def test_wrong_renamings(names, code):
    with pytest.raises(InputError) as caught:
        rename_colours(load_target(), names)
    assert caught.value.code == code


def test_periods_and_sizes_that_the_game_does_not_have():
    target = parse_target('name = "x"\n[ticker]\nperiods = [1, 60]\n[grid]\nmax_width = 40\nmax_height = 30', "x")
    check_period(target, "sync", 60)
    with pytest.raises(InputError, match="nearest that it has is 60 s") as caught:
        check_period(target, "sync", 300)
    assert caught.value.code == "T011"
    assert grid_limits(target, None, None) == (40, 30)
    assert grid_limits(target, 10, None) == (10, 30)
    for sides in ((41, None), (None, 31), (0, None), (None, -3)):
        with pytest.raises(InputError) as caught:
            grid_limits(target, *sides)
        assert caught.value.code == "T012"


def test_weights_of_layout_are_read_and_checked():
    target = load_target()
    assert target.weights("tidy") != target.weights("compact")
    changed = parse_target('name = "x"\n[layout.tidy]\ncrossover = 9', where="x.toml")
    assert changed.weights("tidy") == replace(target.tidy, crossover=9.0) and changed.compact == target.compact
    assert code_of('name = "x"\n[layout.tidy]\ncrossover = -1') == "T007"
    assert code_of('name = "x"\n[layout.tidy]\ncrossover = nan') == "T007"
    assert code_of('name = "x"\n[layout.tidy]\ncrossover = "dear"') == "T006"
    assert code_of('name = "x"\n[layout.neat]\ncrossover = 1') == "T004"
