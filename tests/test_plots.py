"""Every picture: units on its axes, words for it, nothing cut off, and always the same bytes."""

from __future__ import annotations

import re
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb
from matplotlib.patches import Polygon
from matplotlib.text import Text
from plot_cases import PICTURES, drawn_once, window

from weldcalc import plots
from weldcalc.plots import style


@pytest.fixture(name="picture", params=PICTURES, scope="module")
def _picture(request):
    made = drawn_once(request.param)
    made.figure.draw_without_rendering()  # legends find their places only while they are drawn
    return made


UNIT_AT_THE_END = re.compile(r"\w \[[^\]]+\]$")


def test_every_axis_has_a_name_and_a_unit_in_brackets(picture):
    panels = [axes for axes in picture.figure.axes if axes.axison]
    names = [axes.get_xlabel() for axes in panels] + [axes.get_ylabel() for axes in panels]
    assert [name for name in names if name and not UNIT_AT_THE_END.search(name)] == []
    for axes in panels:
        has_words = not re.match(r"[\d−.]*$", axes.get_yticklabels()[0].get_text())
        assert axes.get_ylabel() or has_words
        # an axis may leave its name to the panel below it
        column = [
            one for one in panels if one.get_subplotspec().colspan == axes.get_subplotspec().colspan
        ]
        assert axes.get_xlabel() or column[-1].get_xlabel()


def test_the_alternative_text_is_a_sentence_with_numbers(picture):
    assert len(re.findall(r"\d", picture.alt)) >= 4
    assert picture.alt.endswith(".")
    assert "nan" not in picture.alt.lower()


def words_and_places(picture):
    """Return every text that is drawn with its box, but for ticks: those outside hide."""
    ticks = set()
    for axes in picture.figure.axes:
        ticks.update(axes.get_xticklabels(which="both"), axes.get_yticklabels(which="both"))
    renderer = picture.figure._get_renderer()
    texts = [t for t in picture.figure.findobj(Text) if t not in ticks and t.get_text().strip()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in texts if t.get_visible()]


def test_nothing_is_cut_at_the_edge(picture):
    page = picture.figure.bbox
    for name, box in words_and_places(picture):
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, f"{name!r} at {box} leaves {page}"


def test_no_words_lie_on_other_words(picture):
    places = [(n, b) for n, b in words_and_places(picture) if b.width > 1]
    for number, (name, box) in enumerate(places):
        for other, under in places[number + 1 :]:
            across = min(box.x1, under.x1) - max(box.x0, under.x0)
            down = min(box.y1, under.y1) - max(box.y0, under.y0)
            # boxes are taller than the letters in them
            assert across <= 1 or down <= 3, f"{name!r} lies on {other!r}"


def test_pictures_leave_the_settings_of_matplotlib_alone():
    before = dict(mpl.rcParams)
    window().svg()
    assert dict(mpl.rcParams) == before


def test_settings_of_the_user_do_not_change_a_picture():
    plain = PICTURES["train"]().svg()
    with mpl.rc_context({"font.size": 20, "axes.facecolor": "black", "svg.hashsalt": "other"}):
        assert PICTURES["train"]().svg() == plain


@pytest.mark.parametrize("name", ["section", "window", "parity"])
def test_the_same_data_give_the_same_bytes(name):
    first, second = PICTURES[name](), drawn_once(name)
    drawn = first.svg()
    assert second.svg() == drawn
    assert first.svg() == drawn, "saving a picture once more must not move its parts"


def test_every_format_is_the_same_for_the_same_data():
    first, second = PICTURES["train"](), drawn_once("train")
    assert first.pdf() == second.pdf()
    assert first.png() == second.png()


def test_a_file_holds_no_date_and_says_what_it_shows(tmp_path):
    picture = PICTURES["train"]()
    svg = picture.save(tmp_path / "train.svg").read_text(encoding="utf-8")
    assert "<dc:date>" not in svg
    assert "duty cycle 2.50 %" in svg
    assert b"CreationDate" not in picture.save(tmp_path / "train.pdf").read_bytes()
    assert picture.save(tmp_path / "train.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(ValueError, match=r"train\.jpg: a picture is saved as"):
        picture.save(tmp_path / "train.jpg")


def test_a_notebook_shows_the_picture_with_its_words():
    shown_as = plots.Picture(figure=PICTURES["train"]().figure, alt='<"quoted">')._repr_html_()
    assert 'alt="&lt;&quot;quoted&quot;&gt;"' in shown_as
    assert "data:image/png;base64," in shown_as


def lightness(colour: str) -> float:
    """CIE 1976 lightness of an sRGB colour (IEC 61966-2-1 and ISO/CIE 11664-4, from memory)."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * np.cbrt(luminance) - 16 if luminance > 0.008856 else 903.3 * luminance


def test_zones_differ_in_lightness_so_that_grey_prints_read():
    # 10 is a fifth to a quarter of a step between neighbours on a printed grey scale of ten
    levels = [lightness(c) for c in (style.METAL, style.HEAT_AFFECTED, style.FUSED)]
    assert levels[0] - levels[1] > 10
    assert levels[1] - levels[2] > 25
    assert lightness(style.SECOND) - lightness(style.FIRST) > 25
    regions = [lightness(style.REGION_COLOURS[name]) for name in plots.REGIONS]
    assert min(abs(a - b) for a, b in combinations(regions, 2)) > 10


def test_the_fused_zone_and_the_goal_look_the_same_everywhere():
    for name in ("section", "plan", "long"):
        filled = [p for p in drawn_once(name).figure.findobj(Polygon) if p.get_fill()]
        assert to_hex(style.FUSED) in {to_hex(p.get_facecolor()) for p in filled}
    for name in ("long", "warming", "turning", "spread"):
        lines = [one for axes in drawn_once(name).figure.axes for one in axes.lines]
        goals = [one for one in lines if re.match("goal|most", str(one.get_label()))]
        assert goals
        assert {to_hex(one.get_color()) for one in goals} == {to_hex(style.GOAL)}
        assert all(one.is_dashed() for one in goals)
