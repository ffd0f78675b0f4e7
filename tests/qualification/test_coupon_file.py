"""The coupon list: what is read, what is refused and how, and that it survives writing."""

from __future__ import annotations

from pathlib import Path

import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from weldcalc.errors import InputError
from weldcalc.qualification.coupon_writer import coupons_text
from weldcalc.qualification.coupons import (
    LEAK_WORDS,
    MEASURED,
    SETTINGS,
    CouponSection,
    colour_words,
    coupons_from_bytes,
    imperfection_names,
    read_coupons,
)
from weldcalc.qualification.table import LARGEST_FILE

GOOD = """# made up
coupon,section,pass,peak_power [W],penetration [um],penetration_u [um],colour,imperfections,leak
A,1,root,390,400,10,silver,none,tight
A,2,root,,412.5,,Straw,2017;5012,
B,,,,,,,,leaking
"""


def read(text: str | bytes, **more: float) -> tuple[CouponSection, ...]:
    content = text if isinstance(text, bytes) else text.encode()
    return coupons_from_bytes(content, name="list.csv", **more).sections


def refusal(text: str | bytes, **more: float) -> str:
    with pytest.raises(InputError) as caught:
        read(text, **more)
    return str(caught.value)


def test_good_list() -> None:
    first, second, whole = read(GOOD)
    assert first.measured == {"penetration": pytest.approx(0.4e-3)}
    assert first.uncertainty == {"penetration": pytest.approx(10e-6)}
    assert first.settings == {"peak_power": 390.0}
    assert (first.colour, first.imperfections, first.leak) == ("silver", (), "tight")
    assert (second.settings, second.colour) == ({}, "straw")
    assert second.imperfections == ("2017", "5012")
    assert (whole.coupon, whole.section, whole.measured) == ("B", "", {})
    assert (whole.colour, whole.imperfections, whole.leak) == (None, None, "leaking")


def test_texts_in_quotes_and_plain_numbers() -> None:
    (row,) = read('coupon,vickers_hardness,note\nA,180,"fine, really"\n')
    assert (row.measured, row.note) == ({"vickers_hardness": 180.0}, "fine, really")


def test_an_uncertainty_may_be_smaller_than_any_value() -> None:
    (row,) = read("coupon,vickers_hardness,vickers_hardness_u\nA,180,4\n")
    assert row.uncertainty == {"vickers_hardness": 4.0}
    said = refusal("coupon,vickers_hardness,vickers_hardness_u\nA,180,-4\n")
    assert "plausible range" in said


def test_units_do_not_matter() -> None:
    texts = (
        "penetration [mm]\nA,0.4\n",
        "penetration [um]\nA,400\n",
        "penetration [m]\nA,0.0004\n",
    )
    depths = {read("coupon," + text)[0].measured["penetration"] for text in texts}
    assert depths == {0.0004}


def test_byte_order_mark_and_windows_line_ends_are_tolerated() -> None:
    plain = read(GOOD)
    assert read(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()) == plain


def test_coupons_know_their_rows(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(GOOD)
    coupons = read_coupons(file)
    assert coupons.names == ("A", "B")
    assert [row.section for row in coupons.of("A")] == ["1", "2"]
    assert coupons.of_pass("root").names == ("A",)
    assert len(coupons.sha256) == 64
    shown = coupons.to_json()["sections"][0]
    assert shown["measured"] == {"penetration_mm": 0.4}


BAD_HEADINGS = {
    "penetration": 'give the unit in the heading, as "penetration [mm]"',
    "penetration []": 'give the unit in the heading, as "penetration [mm]"',
    "penetraton [mm]": "unknown column; nearest: penetration",
    "Penetration Depth [mm]": "unknown column",
    "penetration [W]": "does not fit",
    "penetration [mn]": "unknown unit",
    "note [mm]": "takes no unit",
    "vickers_hardness [mm]": "takes no unit",
    "coupon": "stands twice",
    "": "a column without a heading",
}


@pytest.mark.parametrize("heading", BAD_HEADINGS)
def test_bad_headings(heading: str) -> None:
    said = refusal(f"coupon,{heading}\nA,1\n")
    assert BAD_HEADINGS[heading] in said
    assert "list.csv, line 1" in said


BAD_CELLS = {
    ("penetration [mm]", '"0,4"'): 'use a decimal point, for example "0.4 mm"',
    ("penetration [mm]", "nan"): "leave the cell empty",
    ("penetration [mm]", "n/a"): "leave the cell empty",
    ("penetration [mm]", "inf"): "must be a finite number",
    ("penetration [mm]", "0.4 mm"): "does not fit",
    ("penetration [mm]", "400"): "outside the plausible range",
    ("penetration [mm]", "-0.4"): "outside the plausible range",
    ("peak_power [MW]", "390"): "outside the plausible range",
    ("vickers_hardness", "180 HV"): "plain number",
    ("vickers_hardness", "3"): "outside the plausible range",
    ("colour", "silvr"): "nearest: silver",
    ("leak", "no"): "use one of tight, leaking",
    ("imperfections", "pore"): "ISO 6520-1 numbers",
    ("imperfections", "2017,5012"): "2 headings",
    ("imperfections", "2017;;5012"): "not a number: ''",
    ("imperfections", "0"): "ISO 6520-1 numbers",
    ("penetration_u [mm]", "0.01"): "an uncertainty without a value",
}


@pytest.mark.parametrize(("heading", "cell"), BAD_CELLS)
def test_bad_cells(heading: str, cell: str) -> None:
    said = refusal(f"coupon,{heading}\nA,{cell}\n")
    assert BAD_CELLS[heading, cell] in said
    assert "line 2" in said


def test_all_problems_are_reported_in_the_order_of_lines() -> None:
    said = refusal(
        "coupon,penetration [mm],colour,depth\nA,nan,silver,1\n,0.4,grren,1\nB,0.4,silver\n"
    ).splitlines()
    assert [line.split(",")[1][:7] for line in said] == [
        " line 1",
        " line 2",
        " line 3",
        " line 3",
        " line 4",
    ]


WHOLE_FILES = {
    b"": "no headings",
    b"# only a remark\n": "no headings",
    b"coupon,note\n": "no coupons",
    b"coupon;penetration [mm]\nA;0,4\n": "separated by semicolons",
    b"coupon\tnote\nA\tx\n": "separated by tabs",
    b"note\nx\n": "the column coupon is missing",
    b"coupon,note\nA,\xe9t\xe9\n": "not UTF-8",
    "coupon,note\nA,x\n".encode("utf-16"): "not UTF-8",
    b"coupon,note\nA,x\0y\n": "zero bytes",
    b'coupon,note\nA,"x\n': "broken quoting",
    b"coupon,note\nA,x,y\n": "decimal comma splits a number",
    b"coupon,note\nA\n": "1 cell under 2 headings",
    b"coupon," + b"x" * LARGEST_FILE: "larger than",
}


@pytest.mark.parametrize("content", WHOLE_FILES, ids=lambda content: repr(content[:20]))
def test_files_that_cannot_be_read(content: bytes) -> None:
    assert WHOLE_FILES[content] in refusal(content)


def test_missing_and_oversized_files(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_coupons(tmp_path / "none.csv")
    large = tmp_path / "large.csv"
    large.write_bytes(b"coupon\n" + b"A\n" * LARGEST_FILE)
    with pytest.raises(InputError, match="Is this the right file"):
        read_coupons(large)


def test_repeats_are_refused_but_two_passes_of_a_section_are_not() -> None:
    said = refusal("coupon,section\nA,1\nA,2\nA,1\n")
    assert 'line 4 = "A / 1"' in said
    assert "line 2 already" in said
    assert len(read("coupon,section,pass\nA,1,root\nA,1,cover\n")) == 2


def test_a_value_in_another_unit_than_its_column_is_noticed() -> None:
    said = refusal("coupon,root_width [mm]\nA,0.2\nB,0.21\nC,0.19\nD,20\n")
    assert "line 5" in said
    assert "another unit" in said


@pytest.mark.parametrize(
    ("heading", "cells"),
    [
        ("focus_offset [mm]", ("-1", "0.01", "1")),
        ("beam_offset [mm]", ("-0.1", "0.001", "0.1")),
        ("beam_angle [deg]", ("-10", "0.1", "10")),
        ("gap [mm]", ("0.001", "0.08", "0.1")),
        ("mismatch [mm]", ("0.001", "0.08", "0.1")),
    ],
)
def test_settings_about_zero_may_differ_by_any_factor(heading: str, cells: tuple[str, ...]) -> None:
    lines = [f"coupon,{heading}", *(f"C{number},{cell}" for number, cell in enumerate(cells))]
    key = heading.split()[0]
    found = [row.settings[key] for row in read("\n".join(lines) + "\n")]
    assert [value / found[-1] for value in found] == pytest.approx(
        [float(cell) / float(cells[-1]) for cell in cells]
    )


def test_a_penetration_may_follow_the_joint_line_of_a_thick_plate() -> None:
    deep = "coupon,penetration [mm]\nA,0.9\n"
    assert "times the wall of 0.4 mm" in refusal(deep, wall_thickness=0.4e-3)
    assert len(read(deep, wall_thickness=0.4e-3, plate_thickness=1.2e-3)) == 1
    said = refusal(deep.replace("0.9", "9"), wall_thickness=0.4e-3, plate_thickness=1.2e-3)
    assert "times the plate of 1.2 mm" in said
    # a wall of its own in a row does not make the plate thinner
    own = "coupon,wall_thickness [mm],penetration [mm]\nA,0.3,0.9\n"
    assert len(read(own, wall_thickness=0.4e-3, plate_thickness=1.2e-3)) == 1


def test_a_penetration_far_beyond_the_wall_is_refused() -> None:
    text = "coupon,penetration [mm]\nA,4\n"
    assert "more than 2 times the wall of 0.4 mm" in refusal(text, wall_thickness=0.4e-3)
    assert read(text)[0].measured["penetration"] == pytest.approx(4e-3)
    own = "coupon,penetration [mm],wall_thickness [mm]\nA,4,3.9\n"
    assert read(own, wall_thickness=0.4e-3)


FORMULAS = ["=1+1", "+1", "-1", "@x", "\t=1", "-- none --"]


@pytest.mark.parametrize("text", FORMULAS)
def test_texts_that_look_like_formulas_are_written_as_text(text: str) -> None:
    out = coupons_text([CouponSection(coupon="A", note=text)])
    cell = out.splitlines()[1].rsplit(",", 1)[1].strip('"')
    assert cell.startswith("'")
    assert read(out)[0].note == text


def test_negative_numbers_stay_numbers() -> None:
    out = coupons_text([CouponSection(coupon="A", settings={"beam_offset": -1e-4})])
    assert ",-0.1," in out
    assert read(out)[0].settings == {"beam_offset": -1e-4}


TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zs", "Zl", "Zp")), max_size=20
)
SIZES = st.sampled_from([0.1e-3, 0.1234e-3, 3.3e-4, 1e-3, 0.7e-3])
POWERS = st.integers(200, 900).map(float)


@given(TEXT, TEXT, SIZES, SIZES, POWERS, st.sampled_from([None, *colour_words()]))
def test_written_and_read_again_it_is_the_same(
    lot: str, note: str, depth: float, unsure: float, power: float, colour: str | None
) -> None:
    if note.startswith("'"):
        note = ""  # an apostrophe of the user's own before a formula sign is taken for the guard
    row = CouponSection(
        coupon="A",
        section="1",
        measured={"penetration": depth},
        uncertainty={"penetration": unsure},
        settings={"peak_power": power},
        colour=colour,
        imperfections=("2017", "2017"),
        leak="tight",
        lot=lot.lstrip("'"),
        note=note,
    )
    (again,) = read(coupons_text([row]))
    assert evolve(again, line=0) == row


def test_every_column_can_be_written_and_read() -> None:
    row = CouponSection(
        coupon="A",
        measured=dict.fromkeys(MEASURED, 1e-4)
        | {"vickers_hardness": 200.0, "tensile_strength": 4e8},
        settings={"peak_power": 400.0, "pulse_duration": 5e-3, "preheat": 300.0, "rotation": 1.0},
        leak=LEAK_WORDS[1],
    )
    (again,) = read(coupons_text([row]))
    assert again.measured == pytest.approx(row.measured)
    assert again.settings == pytest.approx(row.settings)
    assert set(row.settings) < set(SETTINGS)


def test_word_lists_say_where_they_come_from() -> None:
    names = imperfection_names()
    # ISO 6520-1:2007, numbers as used in a public table
    assert names["104"] == "crater crack"
    assert names["510"] == "burn-through"
    assert colour_words()[0] == "silver"
    assert colour_words()[-1] == "white"


def test_a_mistake_down_a_column_is_told_once_and_kept_for_every_row() -> None:
    rows = "".join(f"C{number:02d},0.31,Silber\n" for number in range(66))
    text = f"coupon,penetration [mm],colour\n{rows}"
    with pytest.raises(InputError) as caught:
        coupons_from_bytes(text.encode(), name="c.csv")
    assert len(caught.value.problems) == 66
    (line,) = str(caught.value).splitlines()
    assert line.startswith('c.csv, line 2 and 65 more rows, column colour = "Silber": use one of')


def test_a_missing_comma_in_the_headings_is_one_line() -> None:
    rows = "".join(f"C{number:02d},0.31,silver\n" for number in range(66))
    with pytest.raises(InputError) as caught:
        coupons_from_bytes(f"coupon,penetration [mm]\n{rows}".encode(), name="c.csv")
    (line,) = str(caught.value).splitlines()
    assert line.startswith("c.csv, line 2 and 65 more rows: 3 cells under 2 headings")
    assert line.endswith("every row alike: a comma is missing in the headings")


def test_few_rows_are_told_one_by_one() -> None:
    rows = "C01,0.31,Silber\nC02,0.31,rosa\n"
    with pytest.raises(InputError) as caught:
        coupons_from_bytes(f"coupon,penetration [mm],colour\n{rows}".encode(), name="c.csv")
    assert "rosa" in str(caught.value)


def test_a_column_like_no_other_gets_no_hint() -> None:
    with pytest.raises(InputError) as caught:
        coupons_from_bytes(b"coupon,operator\nC01,N.N.\n", name="c.csv")
    assert str(caught.value) == 'c.csv, line 1 = "operator": unknown column'
