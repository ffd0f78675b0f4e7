"""The page: one file, nothing remote, readable by everybody, and free of what users typed."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from record_samples import HOSTILE, data_of, full_record

from weldcalc import page
from weldcalc.page.pieces import bare, element, table, text
from weldcalc.page.results import shown_result
from weldcalc.report import LARGEST_PAGE, PageError, css_text, write_page

VOID = {"meta", "img", "br", "hr", "link", "input", "col"}


class Page(HTMLParser):
    """Every element of a page with its attributes, and the text of headings."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.headings: list[tuple[int, str]] = []
        self.styles: list[str] = []
        self.words: list[str] = []
        self.feed(source)
        assert self.open == [], f"not closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append((int(tag[1]), ""))

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.styles.append(data)
            return
        self.words.append(data)
        if any(re.fullmatch("h[1-6]", tag) for tag in self.open):
            level, words = self.headings[-1]
            self.headings[-1] = (level, words + data)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(scope="module")
def source() -> str:
    return (full_record() / "record.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def parsed(source: str) -> Page:
    return Page(source)


class TestNothingRemote:
    def test_no_element_that_runs_or_loads(self, parsed):
        tags = {tag for tag, _ in parsed.elements}
        assert not tags & {"script", "link", "iframe", "object", "embed", "base", "form", "svg"}
        assert not [a for _, a in parsed.elements if any(name.startswith("on") for name in a)]

    def test_every_address_is_inside_the_page(self, parsed):
        names = ("src", "href", "srcset", "data", "poster", "action", "background", "xlink:href")
        found = [a[name] for _, a in parsed.elements for name in names if name in a]
        assert found
        assert all(value.startswith(("data:image/", "#")) for value in found)

    def test_styles_load_nothing(self, parsed):
        styles = "\n".join(parsed.styles + [a.get("style", "") for _, a in parsed.elements])
        assert not re.search(r"url\s*\(|@import|@font-face|image-set|expression", styles)

    def test_drawings_inside_load_nothing(self, parsed):
        import base64

        for image in parsed.all("img"):
            kind, _, data = image["src"].partition(";base64,")
            content = base64.b64decode(data)
            if kind.endswith("svg+xml"):
                links = re.findall(rb'(?:href|src)="([^"]*)"', content)
                assert all(link.startswith(b"#") for link in links)
                assert b"<script" not in content

    def test_browser_is_told_to_refuse_the_rest(self, parsed):
        policies = [a["content"] for a in parsed.all("meta") if "http-equiv" in a]
        assert policies[0].startswith("default-src 'none'; img-src data:;")

    def test_goes_through_a_mail_server(self, source):
        assert len(source.encode()) < LARGEST_PAGE == 3_000_000


class TestReadableByEverybody:
    def test_language_title_and_one_heading_at_the_top(self, parsed):
        assert parsed.all("html")[0]["lang"] == "en"
        assert [level for level, _ in parsed.headings].count(1) == 1
        assert "TEST-1 revision A" in "".join(parsed.words)

    def test_headings_go_down_one_step_at_a_time(self, parsed):
        levels = [level for level, _ in parsed.headings]
        assert levels[0] == 1
        assert all(new <= old + 1 for old, new in pairwise(levels))
        assert all(words.strip() for _, words in parsed.headings)

    def test_every_table_has_caption_and_scoped_heads(self, parsed):
        assert len(parsed.all("caption")) == len(parsed.all("table")) >= 8
        assert all(a.get("scope") in ("row", "col") for a in parsed.all("th"))

    def test_every_picture_says_what_it_shows(self, parsed):
        pictures = parsed.all("img")
        assert len(pictures) >= 3
        assert all(len(a["alt"]) > 40 for a in pictures)

    def test_looks_the_same_in_dark_mode(self, parsed):
        assert any(a.get("content") == "only light" for a in parsed.all("meta"))
        assert "color-scheme: only light" in parsed.styles[0]

    def test_sections_stand_in_the_order_a_reviewer_reads(self, parsed):
        wanted = [
            "Summary",
            "Names and dates",
            "Cautions",
            "Joint",
            "Laser and optics",
            "Passes",
            "Predictions",
            "Findings",
            "What a procedure specification has to state",
            "Governing code",
            "Sources, and how this record was made",
        ]
        found = [words for level, words in parsed.headings if level == 2]
        assert [words for words in found if words in wanted] == wanted

    def test_first_page_answers_with_what_chance_every_goal_is_met(self, parsed):
        words = " ".join(parsed.words)
        first = words[words.index("Summary") : words.index("What is open")]
        for one in data_of(full_record())["computed"]["scatter"]["passes"]:
            chance = 100 * one["every_goal"]["chance"]
            assert f"{one['name']} {chance:.1f} % (" in first.partition("meets these at once")[2]
        # what the chance leaves out must not be taken for met
        left_out = first.partition("Not part of this chance")[2]
        for check in data_of(full_record())["computed"]["goals"]:
            if check["goal"] in ("part_temperature", "spot_overlap", "underfill"):
                assert f"({check['verdict']})" in left_out

    def test_code_cells_are_hidden(self, source):
        assert "import weldcalc" not in source
        assert "check_environment" not in source

    def test_status_digest_and_command_to_repeat_are_shown(self, parsed):
        words = " ".join(parsed.words)
        data = data_of(full_record())
        assert "DRAFT: not a qualified procedure" in words
        assert data["record_sha256"] in words
        assert data["reference_data"]["manifest_sha256"] in words
        assert "weldcalc recheck" in words


class TestWhatComputedTheChances:
    def _note(self, *changes: dict[str, object]) -> str:
        data = data_of(full_record())
        scatter = data["computed"]["scatter"]
        passes = [one | more for one, more in zip(scatter["passes"], changes, strict=True)]
        computed = data["computed"] | {"scatter": scatter | {"passes": passes}}
        return page.chances(data | {"computed": computed}).html.rpartition("</table>")[2]

    def test_is_told_of_each_pass_where_they_differ(self):
        made = {"samples": 294, "computed_by": "direct runs"}
        note = self._note(made, {"samples": 300, "computed_by": "a stand-in"})
        assert "Pass root: 294 sampled welds, computed by direct runs." in note
        assert "Pass cover: 300 sampled welds, computed by a stand-in." in note

    def test_is_told_once_where_they_are_alike(self):
        made = {"samples": 294, "computed_by": "direct runs"}
        assert "294 sampled welds of each pass: direct runs." in self._note(made, made)


class TestWhatUsersTyped:
    def test_is_shown_and_never_taken_for_the_page(self, source, parsed):
        assert HOSTILE in "".join(parsed.words)
        assert "<script src" not in source
        assert not [a for a in parsed.all("img") if a.get("src") == "x"]

    def test_is_escaped_in_every_piece(self):
        assert text(HOSTILE) not in ("", HOSTILE)
        assert "<script" not in element("p", text(HOSTILE), title=HOSTILE)
        assert "<script" not in table([HOSTILE], [[HOSTILE]], caption=HOSTILE).html

    @pytest.mark.parametrize("field", ["title", "number", "revision", "status"])
    def test_is_escaped_in_the_head(self, field):
        assert "<script" not in page.heading(data_of(full_record()) | {field: HOSTILE}).html

    def test_cannot_leave_a_css_string(self):
        escaped = css_text('"; } * { background: url(x) } </style>\n\\')
        assert not set(escaped) & set('";{}()<>\n')
        assert re.fullmatch(r"(?:[A-Za-z0-9 .,-]|\\[0-9a-f]{6} )*", escaped)

    def test_css_string_reads_back_as_typed(self):
        # CSS Syntax Module Level 3, 4.3.7: an escape is up to six digits and one blank after them
        typed = 'WS-014: "A" µ {x} a0'
        read = re.sub(r"\\([0-9a-f]{1,6})\s?", lambda m: chr(int(m[1], 16)), css_text(typed))
        assert read == typed


class TestPieces:
    @pytest.mark.parametrize(
        ("key", "value", "shown"),
        [
            ("penetration_mm", 0.4123, "0.412 mm"),
            ("penetration_interval_mm", [0.35, 0.47], "0.350 to 0.470 mm"),
            ("spot_overlap", 0.75, "75.0 %"),
            ("peak_part_temperature_degC", 180.0, "180 °C"),
            ("rotation_rpm", None, "–"),
            ("mode", "conduction", "conduction"),
            ("pulses", 252, "252"),
        ],
    )
    def test_results_are_shown_with_their_unit(self, key, value, shown):
        assert shown_result(key, value) == shown

    def test_no_finding_is_lost_and_the_gravest_stands_first(self):
        record = {
            "computed": {
                "findings": [_finding("note", "a"), _finding("stop", "b")],
                "judgement": None,
                "passes": [{"name": "root", "findings": [_finding("caution", "c")]}],
            }
        }
        shown = page.findings(record).html
        assert shown.index("Found b") < shown.index("Found c") < shown.index("Found a")

    def test_recheck_is_shown(self):
        result = {
            "answer": "differs",
            "words": "1 of 2",
            "differences": [{"field": "x", "recorded": 1, "recomputed": 2, "how": "more"}],
            "changes": [{"what": "numpy", "recorded": "1", "now": "2"}],
            "still_open": ["sign"],
            "not_compared": "the page is not compared",
            "repeat": "weldcalc record",
        }
        shown = Page(page.recheck_result(result).html)
        assert "Fields that differ" in " ".join(shown.words)
        assert "numpy" in " ".join(shown.words)


def _finding(weight: str, code: str) -> dict[str, str]:
    texts = {"text": f"found {code}", "remedy": "", "source": "", "where": ""}
    return {"weight": weight, "code": code, **texts}


class TestFrame:
    def test_page_leaves_out_what_a_notebook_wraps_around_a_piece(self, tmp_path):
        piece = page.Piece("<p>shown</p>")
        cell = new_code_cell("1", execution_count=1)
        cell.outputs = [new_output("display_data", data={"text/html": piece._repr_html_()})]
        nbformat.write(new_notebook(cells=[cell]), tmp_path / "a.ipynb")
        made = write_page(tmp_path / "a.ipynb", tmp_path / "a.html", title="t", footer="f")
        written = made.read_text(encoding="utf-8")
        assert "<p>shown</p>" in written
        assert "weldcalc-piece" in piece._repr_html_()
        assert "weldcalc-piece" not in written

    @pytest.mark.parametrize("other", ["", "<p>of another maker</p></div>", "<style></style>"])
    def test_other_html_stays_as_it_is(self, other):
        assert bare(other) == other


class TestOnlyFromANotebookThatRan:
    def _notebook(self, folder: Path, counts: list[int | None], *, failed: bool = False) -> Path:
        cells = [new_code_cell("1", execution_count=count) for count in counts]
        if failed:
            cells[-1].outputs = [new_output("error", ename="E", evalue="v", traceback=[])]
        path = folder / "a.ipynb"
        nbformat.write(new_notebook(cells=cells), path)
        return path

    @pytest.mark.parametrize("counts", [[1, 3], [2, 1], [None, 1], [1, None]])
    def test_out_of_order(self, tmp_path, counts):
        with pytest.raises(PageError, match="in order"):
            write_page(self._notebook(tmp_path, counts), tmp_path / "a.html", title="t", footer="f")
        assert not (tmp_path / "a.html").exists()

    def test_failed(self, tmp_path):
        path = self._notebook(tmp_path, [1, 2], failed=True)
        with pytest.raises(PageError, match="failed"):
            write_page(path, tmp_path / "a.html", title="t", footer="f")

    def test_same_notebook_same_page(self, tmp_path):
        path = full_record() / "record.ipynb"
        first, second = (
            write_page(path, tmp_path / name, title="t", footer="f").read_bytes()
            for name in ("a.html", "b.html")
        )
        assert first == second
        assert sorted(p.name for p in tmp_path.iterdir()) == ["a.html", "b.html"]

    def test_too_large_a_page_is_refused(self, tmp_path):
        cell = new_code_cell("1", execution_count=1)
        data = {"text/html": "x" * (LARGEST_PAGE + 1)}
        cell.outputs = [new_output("display_data", data=data)]
        nbformat.write(new_notebook(cells=[cell]), tmp_path / "a.ipynb")
        with pytest.raises(PageError, match="bytes"):
            write_page(tmp_path / "a.ipynb", tmp_path / "a.html", title="t", footer="f")
