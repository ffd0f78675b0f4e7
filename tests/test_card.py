"""The set-up card: every setting as typed, on one page, with nothing cut, crossed or rounded."""

from __future__ import annotations

import copy
import os
import re
import subprocess
import sys
import tomllib
from types import SimpleNamespace

import pytest
from matplotlib.text import Text

from weldcalc.card import CardError, setup_card, write_setup_card
from weldcalc.card_content import card_content
from weldcalc.errors import InputError
from weldcalc.findings import Finding
from weldcalc.plots.sheet import PAPERS, Sheet, text_width, wrapped
from weldcalc.plots.style import house_style
from weldcalc.schedule import schedule_from_mapping

TYPED = tomllib.loads("""
title = "Invented stem"
number = "TEST-7"
revision = "C"
code = {name = "a code named by the user", edition = "2031"}
joint = {type = "butt", form = "tube", material = "Ti Grade 2", wall_thickness = "0.4 mm", \
outside_diameter = "8 mm", gap = "0.02 mm"}
goal = {penetration = "100 %", root_width = "0.2 mm"}
laser = {spot_diameter = "0.4 mm", wavelength = "1064 nm"}
shielding = {gas = "argon", purity = "99.999 %", flow = "12 L/min", purge_volume = "40 mL", \
purge_flow = "4 L/min", oxygen_target = "20 ppm", remove_below = "427 degC"}
preparation = {cleaning = "acetone wipe", clean_to_weld = "45 min"}
[[pass]]
name = "root"
peak_power = "392.625 W"
pulse_duration = "5 ms"
repetition_rate = "5 Hz"
travel_speed = "0.5 mm/s"
[[pass]]
name = "cover"
pulse_energy = "2.88 J"
pulse_duration = "6 ms"
repetition_rate = "5 Hz"
rotation = "1.2 rpm"
spot_diameter = "0.7 mm"
pulse_shape = [[0, 1], [0.6, 1], [1, 0.3]]
""")


def schedule(**changes):
    return schedule_from_mapping(copy.deepcopy(TYPED) | changes)


def lines(picture):
    return [t.get_text() for t in picture.figure.findobj(Text) if t.get_text()]


def text_of(picture):
    return " ".join(lines(picture))


@pytest.fixture(name="card", scope="module")
def _card():
    return setup_card(schedule())


def test_settings_stand_as_typed_and_are_never_rounded(card):
    drawn = lines(card)
    for typed in ("392.625 W", "5 ms", "6 ms", "5 Hz", "0.5 mm/s", "1.2 rpm", "0.4 mm", "2.88 J"):
        assert typed in drawn
    assert "power 100 % at 0 %, 100 % at 60 %, 30 % at 100 % of the time" in text_of(card)


def test_what_follows_is_printed_plain_and_what_was_typed_bold(card):
    weight = {t.get_text(): t.get_weight() for t in card.figure.findobj(Text)}
    assert weight["392.625 W"] == "bold"
    # energy = power x duration; rotation = 2 v / d
    assert weight["1.963 J"] == "normal"
    assert weight["1.194 rpm"] == "normal"
    assert "Bold: as typed in the schedule" in text_of(card)


def test_main_settings_are_the_largest_type_below_the_head(card):
    sizes = {t.get_text(): t.get_fontsize() for t in card.figure.findobj(Text)}
    assert sizes["392.625 W"] >= 11
    assert sizes["392.625 W"] > 1.4 * sizes["Peak power"]


def test_the_head_names_schedule_code_and_status(card):
    drawn = text_of(card)
    for expected in (
        "Invented stem",
        "TEST-7",
        "Revision C",
        "a code named by the user, edition: 2031",
        "DRAFT: not a qualified procedure",
    ):
        assert expected in drawn


def test_the_clock_and_the_signatures_are_left_blank(card):
    drawn = text_of(card)
    assert re.search(r"Cleaned at _+ by _+ · Weld before _+", drawn)
    assert re.search(r"Welded at _+ by _+ · From cleaning to welding at most: 45 min", drawn)
    for role in ("Prepared", "Reviewed", "Approved"):
        assert re.search(rf"{role} by _{{8,}}", drawn)
    assert len(re.findall(r"Date _{8,}", drawn)) == 3


def test_the_purge_time_is_the_perfect_mixing_bound(card):
    # 9.26 volumes from air to 20 ppm with pure gas (published formula, derived): 40 mL at
    # 4 L/min are 5.55 s; gas of 99.999 % purity, all of it oxygen at worst, takes 0.41 s longer
    assert "volume 40 mL, flow 4 L/min, at least 6 s" in text_of(card)


def test_goals_stand_on_the_check_weld_line(card):
    drawn = text_of(card)
    assert re.search(r"Penetration _+ \(goal 100 % of the wall of 0\.400 mm\)", drawn)
    assert re.search(r"Root width _+ \(at least 0\.200 mm\)", drawn)


def test_the_colour_rule_has_its_words_order_and_source(card):
    drawn = text_of(card)
    order = ["silver", "straw", "brown", "brownish-blue", "violet-blue", "green-blue"]
    order += ["dull salmon pink", "grey", "white"]
    places = [drawn.index(word, drawn.index("With rising exposure")) for word in order]
    assert places == sorted(places)
    assert "order: common practice, no source" in drawn
    assert "EN ISO 9606-5:2000" in drawn
    assert "narrow band of strong colour at the edge of the gas shield" in drawn


def test_steel_has_no_titanium_colours_nor_titanium_fires():
    steel = setup_card(schedule(joint=TYPED["joint"] | {"material": "316L"}))
    drawn = text_of(steel)
    assert "Weld colour" not in drawn
    assert "Titanium" not in drawn
    assert "Chromium" in drawn


def test_cautions_defer_to_those_who_decide(card):
    drawn = text_of(card)
    for caution in ("Class 4 beam:", "Titanium fines and fire:", "Shielding gas in closed rooms:"):
        assert caution in drawn
    assert "laser safety officer and licensed practice come first" in drawn


def test_what_was_not_given_is_said_and_not_invented():
    bare = {key: TYPED[key] for key in ("title", "number", "revision", "joint", "laser", "pass")}
    drawn = text_of(setup_card(schedule_from_mapping(bare)))
    for expected in (
        "Governing code: not given",
        "Clean: not given",
        "Shield: not given.",
        "Purge inside: not given.",
        "at most: not given",
        "colder than: not given",
    ):
        assert expected in drawn


def estimated(made, *findings):
    width = {"fusion_width": 0.5e-3, "root_width": None, "root_overlap": None}
    width |= {"name": "any", "pulses": 3, "seam": SimpleNamespace(tapered=None, ramp=0)}
    found = SimpleNamespace(part_temperature=[423.15])
    passes = [
        SimpleNamespace(
            penetration=depth,
            spot_overlap=0.75,
            weld_time=52.4,
            history=found,
            **width,
        )
        for depth in (0.4e-3, 0.157e-3)
    ]
    return SimpleNamespace(schedule=made, passes=passes, all_findings=lambda: findings)


def test_a_card_without_an_estimate_says_so(card):
    assert "Not checked: this card was drawn without an estimate of the weld" in text_of(card)


def test_findings_that_stop_stand_on_top_and_others_do_not():
    made = schedule()
    stop = Finding("stop", "x", "the far side stays cold", where="root")
    note = Finding("note", "y", "nothing to worry about")
    drawn = text_of(setup_card(made, estimate=estimated(made, stop, note)))
    told = drawn.index("Do not weld with these settings")
    assert told < drawn.index("root: the far side stays cold") < drawn.index("Before welding")
    assert "nothing to worry about" not in drawn
    assert "Not checked" not in drawn


def test_predictions_are_marked_as_such():
    made = schedule()
    picture = setup_card(made, estimate=estimated(made))
    drawn = text_of(picture)
    assert "Do not weld" not in drawn
    assert "Expected: computed, not measured" in drawn
    assert {"0.400 mm", "0.157 mm", "75.0 %", "52.4 s"} <= set(lines(picture))
    assert "Root overlap" not in drawn, "what does not apply to any pass is left out"


def test_an_estimate_of_another_schedule_is_refused():
    with pytest.raises(InputError, match="is of another schedule"):
        setup_card(schedule(), estimate=estimated(schedule(number="OTHER")))


def test_optics_are_printed_where_they_make_the_spot():
    laser = {
        "fibre_diameter": "400 um",
        "collimation_length": "150 mm",
        "focal_length": "150 mm",
        "focus_offset": "0 mm",
    }
    drawn = text_of(setup_card(schedule(laser=laser)))
    for typed in ("Lens 150 mm · Fibre 400 um", "Collimator 150 mm · Focus offset 0 mm"):
        assert typed in drawn


def test_the_offset_of_a_tube_in_a_plate_says_which_way():
    joint = {"type": "tube-to-plate", "form": "flush", "plate_thickness": "1.2 mm"}
    joint = TYPED["joint"] | joint | {"plate_material": "Ti Grade 2"}
    goal = {"penetration": "100 %"}
    drawn = text_of(setup_card(schedule(joint=joint, goal=goal)))
    assert "Beam off the joint line, + to the plate" in drawn
    assert "Plate material" in drawn


# --- the page

LONG = {
    "title": "A title that goes on " * 9,
    "number": "NUMBER-WITHOUT-ANY-BLANKS-" * 3,
    "code": {"name": "code " * 35, "edition": "edition " * 15},
    "preparation": {"cleaning": "degrease and wipe " * 10},
    "pass": [TYPED["pass"][n % 2] | {"name": f"pass {n} with a name"} for n in range(5)],
}


def test_a_pause_before_a_pass_is_a_setting_and_none_is_not_printed():
    assert not any("Pause" in one.name for one in card_content(schedule()).other)
    typed = copy.deepcopy(TYPED)
    typed["pass"][1]["pause_before"] = "90 s"
    [line] = [
        one for one in card_content(schedule_from_mapping(typed)).other if "Pause" in one.name
    ]
    assert [cell.text for cell in line.cells] == ["", "90 s"]


def test_a_setting_is_never_broken_over_two_lines():
    eight = [TYPED["pass"][0] | {"name": f"pass {n}"} for n in range(8)]
    picture = setup_card(schedule(**{"pass": eight}))
    sizes = [t.get_fontsize() for t in picture.figure.findobj(Text) if t.get_text() == "392.625 W"]
    assert len(sizes) == 8
    assert min(sizes) > 6


@pytest.fixture(
    name="any_card",
    params=["plain A4", "plain Letter", "long A4", "long Letter"],
    scope="module",
)
def _any_card(request):
    kind, paper = request.param.split()
    return setup_card(schedule(**(LONG if kind == "long" else {})), paper=paper), kind


def places_in_mm(picture):
    """Return every text with its box [mm from the bottom left], measured as fine as in print."""
    picture.figure.set_dpi(600)  # at screen resolution letters are as wide as whole pixels
    renderer = picture.figure._get_renderer()
    texts = [t for t in picture.figure.findobj(Text) if t.get_text() and not t.axes.axison]
    for text in texts:
        text.get_window_extent(renderer)  # a note with an arrow finds its place
    # the box of a note proper, without its arrow
    boxes = [Text.get_window_extent(t, renderer).get_points() * 25.4 / 600 for t in texts]
    return list(zip([t.get_text() for t in texts], boxes, strict=True))


def test_nothing_leaves_the_page_and_no_line_lies_on_another(any_card):
    picture, _ = any_card
    width, height = picture.figure.get_size_inches() * 25.4
    places = places_in_mm(picture)
    assert len(places) > 60
    for number, (name, ((x0, y0), (x1, y1))) in enumerate(places):
        assert 10 < x0 < x1 < width - 10, name
        assert 4 < y0 < y1 < height - 4, name
        for other, ((u0, v0), (u1, v1)) in places[number + 1 :]:
            across, down = min(x1, u1) - max(x0, u0), min(y1, v1) - max(y0, v0)
            assert across < 0.1 or down < 0.3, (name, other, across, down)


def test_long_texts_are_wrapped_and_not_cut(any_card):
    picture, kind = any_card
    drawn = "".join(lines(picture)).replace(" ", "")
    for key in ("title", "number"):
        assert (LONG if kind == "long" else TYPED)[key].replace(" ", "") in drawn


def test_a_card_that_cannot_be_read_is_refused():
    crowd = [TYPED["pass"][0] | {"name": f"pass number {n} of very many"} for n in range(25)]
    with pytest.raises(CardError, match=r"TEST-7: too much for one page of A4; shorten"):
        setup_card(schedule(**{"pass": crowd}))


def test_other_scripts_and_dollar_signs_do_not_crash_the_card():
    picture = setup_card(schedule(title=r"Стержень Ø8 液面计 مقياس $\frac{x_ 50 %"))
    drawn = text_of(picture)
    assert r"$\frac{x_ 50 %" in drawn
    assert "Стержень Ø8 □□□" in drawn
    assert "A box □ stands for a character that the printing font lacks" in drawn
    assert picture.pdf().startswith(b"%PDF")


def test_unknown_paper_and_missing_passes_are_input_errors():
    with pytest.raises(InputError, match="A4, Letter"):
        setup_card(schedule(), paper="A5")
    empty = {key: value for key, value in TYPED.items() if key != "pass"}
    with pytest.raises(InputError, match="at least one pass"):
        setup_card(schedule_from_mapping(empty, require_passes=False))


@pytest.mark.parametrize(
    # ISO 216 A4 and ANSI/ASME Y14.1 letter size, in points of 1/72 inch (from memory)
    ("paper", "points"),
    [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))],
)
def test_the_pdf_is_one_page_of_vectors_without_a_date(tmp_path, paper, points):
    path = write_setup_card(schedule(), tmp_path / "card.pdf", paper=paper)
    content = path.read_bytes()
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert tuple(float(end) for end in box.groups()) == pytest.approx(points, abs=0.01)
    assert len(re.findall(rb"/Type /Page\b", content)) == 1
    assert b"/Subtype /Image" not in content
    assert b"CreationDate" not in content
    assert b"Set-up card TEST-7, revision C" in content
    assert [one.name for one in tmp_path.iterdir()] == ["card.pdf"]


def test_another_process_writes_the_same_bytes(tmp_path):
    here = write_setup_card(schedule(), tmp_path / "here.pdf").read_bytes()
    source = tmp_path / "schedule.toml"
    source.write_text(schedule().to_toml(), encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from weldcalc.card import write_setup_card;"
        "from weldcalc.schedule import schedule_from_mapping; import tomllib;"
        "raw = tomllib.loads(Path(sys.argv[1]).read_text(encoding='utf-8'));"
        "write_setup_card(schedule_from_mapping(raw), Path(sys.argv[2]))"
    )
    there = tmp_path / "there.pdf"
    arguments = [sys.executable, "-c", code, str(source), str(there)]
    environment = {**os.environ, "PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "1"}
    subprocess.run(arguments, check=True, env=environment)
    assert there.read_bytes() == here


# --- text in millimetres


def test_text_width_agrees_with_what_is_drawn():
    sheet = Sheet(paper="A4")
    with house_style():
        sample = "Pulse duration 5 ms, at least 0.20 mm WAVE"
        sheet.write(sample, size=12)
        (drawn,) = sheet.axes.texts
        box = drawn.get_window_extent(sheet.figure._get_renderer())
    millimetres = box.width / sheet.figure.dpi * 25.4
    assert text_width(sample, 12) == pytest.approx(millimetres, rel=0.02)


def test_wrapping_keeps_every_character_and_every_width():
    text = "short words and oneverylongwordthatdoesnotfitanyline at all " * 3
    broken = wrapped(text, 30.0, 9.0)
    assert "".join(broken).replace(" ", "") == text.replace(" ", "")
    assert all(text_width(one, 9.0) <= 30.0 for one in broken)
    assert wrapped("", 30.0, 9.0) == [""]


def test_papers_hold_the_margins():
    for paper, (width, _) in PAPERS.items():
        sheet = Sheet(paper=paper)
        assert sheet.inner == pytest.approx(width - 22.0)


def test_the_content_reads_top_to_bottom():
    content = card_content(schedule())
    assert content.pass_names == ("root", "cover")
    assert [setting.name for setting in content.main][:3] == [
        "Peak power",
        "Pulse energy",
        "Pulse duration",
    ]
    assert [cell.typed for cell in content.main[0].cells] == [True, False]
