"""The notebooks in JupyterLab: they run, answer to a slider, phone nobody, and can be heard.

Not part of the default run, because it needs a browser:

    AXE_CORE=.../axe.min.js python -m pytest tests/browser/browse_lab.py
"""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterator
from urllib.parse import urlparse

import nbformat
import pytest
from browsing import Lab, chromium, errors_shown, lab, run_all_cells, serious_faults, time_of_move
from nbformat.v4 import new_code_cell, new_notebook
from playwright.sync_api import Browser, Page
from record_samples import copied_example

from weldcalc.notebook import copy_notebooks, notebook_folder

# recomputing a whole record is done once, in a test of its own
NAMES = sorted({path.stem for path in notebook_folder().glob("*.ipynb")} - {"recheck_a_record"})
LOCAL = {"127.0.0.1", "localhost", ""}
PANEL, PIECE = ".weldcalc-trainee", ".weldcalc-piece"
LABELS = (
    "travel speed",
    "pulse rate",
    "spot diameter",
    "pulse duration",
    "peak power",
    "wall thickness",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as made:
        yield made


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    work = tmp_path_factory.mktemp("lab")
    copy_notebooks(work / "mine")
    copied_example(work / "mine")  # the folder "record" that two notebooks look for beside them
    with lab(work / "mine", work) as made:
        yield made


@pytest.fixture(scope="module")
def visited() -> set[str]:
    """Hosts that the browser asked for anything."""
    return set()


@pytest.fixture
def page(browser: Browser, visited: set[str]) -> Iterator[Page]:
    made = browser.new_page(viewport={"width": 1440, "height": 1000})
    made.on("request", lambda request: visited.add(urlparse(request.url).hostname or ""))
    yield made
    made.close()


@pytest.fixture
def trainee(page: Page, shown: Lab) -> Page:
    shown.open(page, "overlap_and_speed.ipynb")
    run_all_cells(page)
    page.wait_for_selector(f"{PANEL} .noUi-handle[aria-label]")
    return page


def read(page: Page) -> tuple[str, str, str]:
    """Return the drawing, the numbers and the sentence of the panel."""
    panel = page.locator(PANEL).first
    return (
        panel.locator("svg").last.inner_html(),
        " ".join(panel.locator("table").all_inner_texts()),
        panel.get_by_role("status").inner_text(),
    )


@pytest.mark.parametrize("name", NAMES)
def test_notebook_runs_and_asks_nobody_outside(page, shown, visited, name):
    shown.open(page, f"{name}.ipynb")
    run_all_cells(page)
    assert errors_shown(page) == []
    page.wait_for_timeout(2000)
    assert visited <= LOCAL


def test_an_error_in_a_cell_would_be_seen(page, shown):
    cells = [new_code_cell("1 / 0"), new_code_cell("1")]
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3 (ipykernel)"}}
    broken = new_notebook(cells=cells, metadata=kernel)
    nbformat.write(broken, shown.folder / "broken.ipynb")
    shown.open(page, "broken.ipynb")
    run_all_cells(page)
    assert errors_shown(page) == ["ZeroDivisionError: division by zero"]


class TestTrainee:
    def test_slider_changes_picture_numbers_and_words(self, trainee):
        before = read(trainee)
        time_of_move(trainee, "peak power", "PageUp")
        after = read(trainee)
        assert all(old != new for old, new in zip(before, after, strict=True))
        assert "because the peak power rose" in after[2]

    def test_number_field_moves_the_slider(self, trainee):
        field = trainee.get_by_label("travel speed [mm/s]", exact=True)
        field.fill("2")
        field.press("Enter")
        trainee.wait_for_function(
            "() => document.querySelector('.weldcalc-says').textContent.includes('to 2.00 mm/s')"
        )
        slider = trainee.get_by_role("slider", name="travel speed")
        assert float(slider.get_attribute("aria-valuenow")) == pytest.approx(2.0)

    @pytest.mark.parametrize(("width", "is_beside"), [(1280, True), (900, False)])
    def test_picture_is_in_sight_of_the_sliders_and_no_label_is_cut(
        self, trainee, width, is_beside
    ):
        trainee.set_viewport_size({"width": width, "height": 900})
        picture = trainee.locator(f"{PANEL} svg").last.bounding_box()
        lowest = trainee.get_by_role("slider", name="wall thickness").bounding_box()
        assert (picture["y"] < lowest["y"] and picture["x"] > lowest["x"]) is is_beside
        # under the sliders: the sentence between them, the numbers after it
        assert picture["y"] < lowest["y"] + 250
        cut = "(found) => found.filter((one) => one.scrollWidth > one.clientWidth).length"
        assert trainee.locator(".weldcalc-row label").evaluate_all(cut) == 0

    def test_answers_within_half_a_second(self, trainee):
        moves = ["ArrowRight"] * 6 + ["ArrowLeft"] * 6
        times = {name: [time_of_move(trainee, name, key) for key in moves] for name in LABELS}
        # speed and rate leave the pools as they are; the others compute them anew
        for name, spent in times.items():
            quick = name in ("travel speed", "pulse rate")
            assert statistics.median(spent) < (150 if quick else 500), (name, spent)

    def test_exercises_check_themselves(self, trainee):
        asked = trainee.locator(".weldcalc-asks").first.inner_text()
        spot, rate, speed = (float(one) for one in re.findall(r"(\d+\.\d+) (?:mm|Hz)", asked))
        answer = 100 * (1 - speed / rate / spot)  # share of a spot left after one pitch
        trainee.get_by_label("answer [%]").fill(f"{answer:.1f}")
        trainee.get_by_role("button", name="Check answer 1").click()
        trainee.get_by_text(f"Right: {answer:.1f} %").wait_for()
        trainee.get_by_role("button", name="Check answer 4").click()
        trainee.get_by_text("Not yet").wait_for()

    def test_has_no_serious_accessibility_fault(self, trainee):
        assert trainee.get_by_role("slider").count() == len(LABELS)
        assert serious_faults(trainee, PANEL) == []


def test_a_reviewer_reads_the_answer_of_a_recheck(page, shown):
    shown.open(page, "recheck_a_record.ipynb")
    run_all_cells(page)
    assert errors_shown(page) == []
    answer = page.locator(PIECE, has_text="fields").first.inner_text()
    # the example may be of an older version, and then says which numbers changed
    assert re.search(r"reproduced|differs", answer)
    compared = re.search(r"(\d+) fields", answer)
    assert compared is not None
    assert int(compared.group(1)) > 1000  # not an empty comparison


def test_model_check_has_no_serious_accessibility_fault(page, shown):
    shown.open(page, "model_check.ipynb")
    run_all_cells(page)
    assert page.locator(PIECE).count() >= 8
    assert serious_faults(page, PIECE) == []
