"""Revisions that name the one before, and what people sign for."""

from __future__ import annotations

from pathlib import Path

import pytest
from record_samples import (
    SCHEDULE,
    copied_record,
    coupon_files,
    data_of,
    rewrite,
    write_schedule,
)

from weldcalc import page
from weldcalc.errors import InputError
from weldcalc.record import make_record, write_record
from weldcalc.records.fields import UNSETTLED
from weldcalc.records.sign_off import DRAFT, SIGNED, SignOff, read_sign_off, what_is_open


class TestRevisions:
    def test_new_revision_names_the_one_before_and_what_changed(self, tmp_path):
        before = copied_record(tmp_path)
        text = SCHEDULE.replace('revision = "A"', 'revision = "B"').replace("390 W", "400 W")
        record = make_record(write_schedule(tmp_path, text), previous=before)
        chain = record.data["previous_record"]
        assert chain["record_sha256"] == data_of(before)["record_sha256"]
        assert {"field": "pass.root.peak_power", "before": "390 W", "now": "400 W"} in chain[
            "changes"
        ]

    def test_changed_schedule_needs_a_new_revision(self, tmp_path):
        before = copied_record(tmp_path)
        path = write_schedule(tmp_path, SCHEDULE.replace("390 W", "400 W"))
        with pytest.raises(InputError, match="revision"):
            make_record(path, previous=before)

    def test_unchanged_letter_is_told_on_the_terminal_and_the_page(self, tmp_path):
        before = copied_record(tmp_path)
        path = write_schedule(tmp_path)
        same = write_record(make_record(path, previous=before), tmp_path / "same")
        assert any("revision letter A is unchanged" in note for note in same.notes)
        assert "revision letter is unchanged" in page.identification(data_of(same.folder)).html
        path = write_schedule(tmp_path, SCHEDULE.replace('revision = "A"', 'revision = "B"'))
        raised = write_record(make_record(path, previous=before), tmp_path / "raised")
        assert raised.notes == ()
        assert "unchanged; tell" not in page.identification(data_of(raised.folder)).html

    def test_record_of_another_schedule_is_no_predecessor(self, tmp_path):
        before = copied_record(tmp_path)
        path = write_schedule(tmp_path, SCHEDULE.replace("TEST-1", "TEST-2"))
        with pytest.raises(InputError, match="another schedule"):
            make_record(path, previous=before)

    def test_altered_predecessor_is_refused(self, tmp_path):
        before = copied_record(tmp_path)
        rewrite(before, lambda data: data.update(title="Another"), sealed=False)
        with pytest.raises(InputError, match="altered"):
            make_record(write_schedule(tmp_path), previous=before)


class TestSignOff:
    def test_form_of_a_record_reads_back_empty(self, tmp_path):
        folder = copied_record(tmp_path)
        text = (folder / "sign_off_form.toml").read_text(encoding="utf-8")
        sign_off = read_sign_off(text, "form")
        data = data_of(folder)
        assert sign_off.computed_sha256 == data["computed_sha256"]
        assert not sign_off.is_signed
        waiting = {i["key"] for i in data["items"] if i["answer"] == "" or "still" in i["answer"]}
        assert waiting <= set(sign_off.items)

    def test_filled_in_form_signs_off(self, tmp_path):
        files = coupon_files(tmp_path)
        before = write_record(make_record(write_schedule(tmp_path), **files), tmp_path / "before")
        record = make_record(
            write_schedule(tmp_path),
            **files,
            sign_off=_filled_form(before.folder),
            previous=before.folder,
        )
        assert record.data["still_open"] == []
        assert record.data["status"] == SIGNED
        assert record.data["sign_off"]["signatures"][0]["name"] == "Invented Person"

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            ('date = "2026-01-31"', 'date = ""'),
            ('name = "Invented Person"', 'name = ""'),
            ('evidence = "report"', 'evidence = ""'),
            ('"6.1" = "answer"', '"6.1" = ""'),
        ],
    )
    def test_one_gap_leaves_it_a_draft(self, tmp_path, old, new):
        files = coupon_files(tmp_path)
        before = write_record(make_record(write_schedule(tmp_path), **files), tmp_path / "before")
        path = _filled_form(before.folder)
        path.write_text(path.read_text().replace(old, new, 1))
        record = make_record(write_schedule(tmp_path), **files, sign_off=path)
        assert record.data["status"] == DRAFT
        assert len(record.data["still_open"]) == 1

    def test_without_coupons_it_stays_a_draft(self, tmp_path):
        path = _filled_form(copied_record(tmp_path))
        record = make_record(write_schedule(tmp_path), sign_off=path)
        assert record.data["status"] == DRAFT
        assert record.data["still_open"] == ["weld coupons, section and measure them"]

    def test_signature_for_other_results_is_refused(self, tmp_path):
        path = _filled_form(copied_record(tmp_path))
        changed = write_schedule(tmp_path, SCHEDULE.replace("390 W", "400 W"))
        with pytest.raises(InputError, match="do not stand for these results"):
            make_record(changed, sign_off=path)

    def test_all_mistakes_are_told_at_once(self):
        text = 'colour = 1\n[[signature]]\nrole = "boss"\nname = 3\ndate = "31.1.2026"\n'
        with pytest.raises(InputError) as caught:
            read_sign_off(text, "form")
        told = str(caught.value)
        for words in ("colour", "prepared, reviewed, approved", "quotes", "2026-01-31"):
            assert words in told


def _filled_form(folder: Path) -> Path:
    path = folder.parent / "filled.toml"
    text = (folder / "sign_off_form.toml").read_text(encoding="utf-8")
    head, items, rest = text.partition("[items]")
    answers, divider, tail = rest.partition("[[requirement]]")
    answers = answers.replace('= ""', '= "answer"')
    tail = tail.replace('text = ""', 'text = "as the code asks"')
    tail = tail.replace('evidence = ""', 'evidence = "report"')
    tail = tail.replace('name = ""', 'name = "Invented Person"')
    tail = tail.replace('date = ""', 'date = "2026-01-31"')
    path.write_text(head + items + answers + divider + tail, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        (["9.5"], "answer 1 item of the list: Gases 9.5"),
        (["9.4", "9.5"], "answer 2 items of the list: Gases 9.4, 9.5"),
    ],
)
def test_items_that_are_open_are_counted_in_words(keys, told):
    rows = [{"key": key, "group": "Gases", "state": UNSETTLED[0]} for key in keys]
    computed = {"coupons": [], "judgement": None}
    code = {"name": "invented", "edition": "2020"}
    words = what_is_open(SignOff(), code=code, items=rows, computed=computed)
    assert told in words
