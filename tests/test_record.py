"""The record as data: what it holds of inputs, coupons, calibration, items and goals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from record_samples import (
    COUPONS,
    SCHEDULE,
    calibration_file,
    copied_record,
    coupon_files,
    data_of,
    remember_estimates,
    write_schedule,
)

from weldcalc import page
from weldcalc import record as record_module
from weldcalc.canonical import (
    record_digest,
    sha256_of_bytes,
)
from weldcalc.errors import InputError
from weldcalc.page.measured import coupon_words
from weldcalc.qualification.plan import coupon_form
from weldcalc.record import make_record, open_record, read_record, write_record
from weldcalc.records.fields import OPEN, TO_CONFIRM, record_items, schedule_fields
from weldcalc.records.goals import goal_checks
from weldcalc.records.sign_off import DRAFT
from weldcalc.reference import read_toml
from weldcalc.schedule import Goal, load_schedule


class TestContent:
    def test_says_what_was_typed_and_what_it_is_in_si(self, tmp_path):
        rows = data_of(copied_record(tmp_path))["schedule"]
        assert rows["joint.wall_thickness"] == {
            "name": "wall thickness",
            "typed": "0.4 mm",
            "si": 0.0004,
            "si_unit": "m",
            "shown": "0.4 mm",
            "standing": "typed",
        }
        assert rows["pass.cover.spot_diameter"]["standing"] == "typed"
        assert rows["pass.root.spot_diameter"]["standing"] == "follows from the rest"
        assert rows["pass.root.pulse_energy"]["standing"] == "follows from the rest"
        assert rows["pass.root.beam_offset"]["standing"] == "stated default"
        assert rows["joint.mismatch"]["shown"] == "not given"

    def test_corners_of_a_pulse_shape_are_told_in_words(self, tmp_path):
        text = SCHEDULE + "pulse_shape = [[0, 1], [0.6, 1], [1, 0.3]]\n"
        rows = schedule_fields(load_schedule(write_schedule(tmp_path, text)))
        assert rows["pass.cover.pulse_shape"]["shown"] == "1 at 0, 1 at 0.6, 0.3 at 1"

    def test_nothing_that_was_typed_is_left_out(self, tmp_path):
        schedule = load_schedule(write_schedule(tmp_path))
        rows = schedule_fields(schedule)
        for table in ("joint", "goal", "laser", "shielding"):
            for leaf, typed in schedule.typed[table].items():
                assert rows[f"{table}.{leaf}"]["typed"] == typed
        for one in schedule.typed["pass"]:
            for leaf in set(one) - {"name"}:
                assert rows[f"pass.{one['name']}.{leaf}"]["typed"] == one[leaf]

    def test_millimetres_and_inches_give_the_same_results(self, tmp_path):
        # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
        text = SCHEDULE.replace('"0.4 mm"', '"0.508 mm"', 1).replace('"8 mm"', '"7.62 mm"')
        inches = text.replace('"0.508 mm"', '"0.02 in"').replace('"7.62 mm"', '"0.3 in"')
        first, second = (
            make_record(write_schedule(tmp_path, kind)).data for kind in (text, inches)
        )
        assert first["computed_sha256"] == second["computed_sha256"]
        assert first["record_sha256"] != second["record_sha256"]

    def test_time_and_platform_stand_outside_the_digest(self, tmp_path):
        data = data_of(copied_record(tmp_path))
        later = {**data, "made_utc": "2031-01-01T00:00:00Z", "environment": {}}
        assert record_digest(later) == data["record_sha256"]

    @pytest.mark.parametrize("key", ["title", "status", "computed", "schedule", "items", "seed"])
    def test_everything_else_stands_inside_it(self, tmp_path, key):
        data = data_of(copied_record(tmp_path))
        assert record_digest({**data, key: "another"}) != data["record_sha256"]

    def test_input_digest_is_that_of_the_bytes_in_the_folder(self, tmp_path):
        folder = copied_record(tmp_path)
        named = data_of(folder)["input_files"][0]
        content = (folder / named["path"]).read_bytes()
        assert content.decode() == SCHEDULE
        assert named["sha256"] == sha256_of_bytes(content)
        assert named["bytes"] == len(content)

    def test_holds_no_path_of_the_machine_it_was_made_on(self, tmp_path):
        text = (copied_record(tmp_path) / "record.json").read_text(encoding="utf-8")
        assert str(tmp_path.anchor) + "tmp" not in text
        assert str(Path.home()) + "/" not in text

    def test_status_is_draft_and_says_what_is_open(self, tmp_path):
        data = data_of(copied_record(tmp_path))
        assert data["status"] == DRAFT
        assert any("prepared, reviewed, approved" in words for words in data["still_open"])
        (items,) = [words for words in data["still_open"] if "items of the list" in words]
        # a bare number says nothing to a reader: each stands behind the name of its group
        groups = {item["key"]: item["group"] for item in data["items"]}
        told = [part.strip() for part in items.partition(": ")[2].split(";")]
        for part in told:
            first, *others = part.split(", ")
            name, _, key = first.rpartition(" ")
            assert {groups[one] for one in (key, *others)} == {name}

    def test_a_form_that_nobody_filled_in_is_no_coupon(self, tmp_path, monkeypatch):
        remember_estimates(monkeypatch)
        blank = coupon_form([{}] * 22)
        measured = blank.replace("C01,1,,,", "C01,1,,,0.4")
        looked_at = blank.replace("C01,1" + "," * 11, "C01,1" + "," * 11 + "silver")
        path = tmp_path / "coupons.csv"
        for text, rows in ((blank, 0), (measured, 1), (looked_at, 1)):
            path.write_text(text, encoding="utf-8")
            data = make_record(write_schedule(tmp_path), coupons=path).data
            is_open = "weld coupons, section and measure them" in data["still_open"]
            assert is_open == (rows == 0)
            assert coupon_words(data).startswith(f"{rows} of 66 rows hold a measurement;")
            assert ("No coupon was measured" in page.coupons(data).html) == is_open

    def test_a_schedule_changed_in_python_is_kept_as_changed(self, tmp_path):
        schedule = load_schedule(write_schedule(tmp_path)).with_pass(0, peak_power=400.0)
        record = make_record(schedule)
        assert record.data["schedule"]["pass.root.peak_power"]["si"] == 400.0
        assert b"390" not in record.files[0].content
        assert record.files[0].name == "schedule.toml"

    def test_a_schedule_left_as_loaded_is_kept_byte_for_byte(self, tmp_path):
        path = write_schedule(tmp_path, SCHEDULE + "# a remark of the engineer\n")
        (tmp_path / "other.toml").write_bytes(path.read_bytes())
        record = make_record(load_schedule(tmp_path / "other.toml"))
        assert record.files[0].content == path.read_bytes()
        assert record.files[0].name == "other.toml"

    def test_an_input_may_be_as_large_as_the_limit_and_no_larger(self, tmp_path, monkeypatch):
        path = write_schedule(tmp_path)
        size = path.stat().st_size
        monkeypatch.setattr(record_module, "LARGEST_FILE", size)
        assert make_record(path).files[0].content == path.read_bytes()
        monkeypatch.setattr(record_module, "LARGEST_FILE", size - 1)
        with pytest.raises(InputError, match=r"schedule\.toml: is larger than \d+ KiB"):
            make_record(path)

    def test_a_file_that_is_too_large_is_told_the_limit(self, tmp_path):
        path = tmp_path / "sign_off.toml"
        path.write_bytes(b"#" * (8 * 1024 * 1024 + 1))
        with pytest.raises(InputError, match=r"sign_off\.toml: is larger than 8192 KiB"):
            make_record(write_schedule(tmp_path), sign_off=path)

    def test_is_short_in_a_notebook_and_readable_as_a_file(self, tmp_path):
        record = make_record(write_schedule(tmp_path))
        assert len(repr(record)) < 300
        folder = write_record(record, tmp_path / "record").folder
        lines = (folder / "record.json").read_text(encoding="utf-8").splitlines()
        assert ' "number": "TEST-1",' in lines
        assert '  "joint.wall_thickness": {' in lines

    def test_own_material_file_is_kept_beside_the_schedule(self, tmp_path):
        (tmp_path / "own_ti.toml").write_bytes(_shipped_material())
        path = write_schedule(tmp_path, SCHEDULE.replace("Ti Grade 2", "own_ti.toml"))
        written = write_record(make_record(path), tmp_path / "record")
        assert (written.folder / "inputs/own_ti.toml").read_bytes() == _shipped_material()
        data = read_record(written.folder)
        assert data["schedule"]["joint.material"]["shown"] == "own_ti.toml"
        assert str(tmp_path) not in json.dumps(data)

    @pytest.mark.parametrize("name", ["../own_ti.toml", "sub/own_ti.toml"])
    def test_own_material_file_elsewhere_is_refused(self, tmp_path, name):
        folder = tmp_path / "here"
        folder.mkdir()
        target = folder / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(_shipped_material())
        path = write_schedule(folder, SCHEDULE.replace("Ti Grade 2", name))
        with pytest.raises(InputError, match="beside the schedule"):
            make_record(path)


def _shipped_material() -> bytes:
    from weldcalc.reference import read_bytes

    return read_bytes("materials/ti_gr2.toml")


class TestCoupons:
    def test_are_kept_judged_and_open_no_more(self, tmp_path):
        record = make_record(write_schedule(tmp_path), **coupon_files(tmp_path))
        computed = record.data["computed"]
        assert computed["coupons"][1]["measured"]["root_width_mm"] == pytest.approx(0.26)
        assert computed["judgement"]["verdict"] == "met"
        assert [file["role"] for file in record.data["input_files"]] == [
            "schedule",
            "coupons",
            "acceptance",
        ]
        assert not any("coupons" in words for words in record.data["still_open"])

    @pytest.mark.parametrize(
        ("coupons", "words"),
        [
            (COUPONS.replace("0.26", "0.16"), "not met"),
            (COUPONS.replace("0.26", ""), "not judged"),
        ],
    )
    def test_that_do_not_meet_the_limits_stay_open(self, tmp_path, coupons, words):
        files = coupon_files(tmp_path)
        files["coupons"].write_text(coupons)
        record = make_record(write_schedule(tmp_path), **files)
        assert f"acceptance criteria {words}" in record.data["still_open"]

    def test_without_limits_nothing_is_judged(self, tmp_path):
        files = coupon_files(tmp_path)
        record = make_record(write_schedule(tmp_path), coupons=files["coupons"])
        assert record.data["computed"]["judgement"] is None
        assert any("licensed copy" in words for words in record.data["still_open"])

    def test_welded_with_other_settings_are_told(self, tmp_path):
        files = coupon_files(tmp_path)
        lines = COUPONS.splitlines()
        rows = [lines[0] + ",peak_power [W]", lines[1] + ",450", lines[2] + ",391"]
        files["coupons"].write_text("\n".join(rows) + "\n")
        findings = make_record(write_schedule(tmp_path), **files).data["computed"]["findings"]
        (found,) = [f for f in findings if f["code"] == "coupons-not-as-scheduled"]
        assert found["text"] == (
            "1 section is of coupons welded with peak power 450 W, not 390 W or 480 W"
        )


class TestCalibration:
    def test_is_kept_used_and_named(self, tmp_path):
        path = calibration_file(tmp_path)
        plain_ = data_of(copied_record(tmp_path))
        data = make_record(write_schedule(tmp_path), calibration=path).data
        assert data["model"]["constants"] == "invented coupons"
        assert data["model"]["calibrated"]
        assert not plain_["model"]["calibrated"]
        assert [file["role"] for file in data["input_files"]] == ["schedule", "calibration"]
        assert data["computed_sha256"] != plain_["computed_sha256"]

    def test_record_opens_with_its_own_calibration(self, tmp_path):
        path = calibration_file(tmp_path)
        record = make_record(write_schedule(tmp_path), calibration=path)
        folder = write_record(record, tmp_path / "own").folder
        data, made = open_record(folder)
        assert made.to_json()["passes"] == data["computed"]["passes"]
        (folder / "inputs/calibration.json").write_text("{}")
        with pytest.raises(InputError, match=r"calibration\.json.*altered"):
            open_record(folder)


class TestItems:
    def test_every_field_that_fills_an_item_exists(self, tmp_path):
        # a renamed field would leave its item open for ever
        fields = schedule_fields(load_schedule(write_schedule(tmp_path)))
        leaves_ = {f"{path.split('.')[0]}.{path.rsplit('.', 1)[1]}" for path in fields}
        known = leaves_ | {"record.number", "record.revision"}
        items = read_toml("record_items.toml")["item"]
        assert {name for item in items for name in item.get("filled_by", [])} <= known
        assert len({item["key"] for item in items}) == len(items)

    def test_covers_the_eighteen_groups(self):
        # groups of ISO 15609-4 (from memory)
        items = read_toml("record_items.toml")["item"]
        assert {int(item["key"].split(".")[0]) for item in items} == set(range(1, 19))

    def test_what_was_typed_fills_and_a_default_waits_for_a_person(self, tmp_path):
        items = {item["key"]: item for item in data_of(copied_record(tmp_path))["items"]}
        assert items["11.1"]["answer"] == "root: 390 W; cover: 480 W"
        assert items["12.3"]["state"] == TO_CONFIRM
        assert items["6.1"]["state"] == OPEN
        assert items["8.1"]["answer"] == "none: autogenous"
        assert items["9.1"]["answer"] == "argon; 99.999 %"

    def test_an_answer_by_a_person_settles_an_item(self, tmp_path):
        fields = schedule_fields(load_schedule(write_schedule(tmp_path)))
        items = {item["key"]: item for item in record_items(fields, {"6.1": " collet "})}
        assert items["6.1"]["state"] == "filled in by a person"
        assert items["6.1"]["answer"] == "collet"


class TestGoals:
    @pytest.mark.parametrize(
        ("centre", "between", "interval", "verdict"),
        [
            (0.45, 0.44, [0.41, 0.49], "meets"),
            (0.45, 0.44, [0.35, 0.49], "may miss"),
            (0.45, 0.39, [0.41, 0.49], "misses"),
            (0.35, 0.33, [0.30, 0.45], "misses"),
            (0.0, 0.0, [0.0, 0.0], "misses"),
        ],
    )
    def test_least_depth_is_that_between_two_pulses(self, centre, between, interval, verdict):
        one = {
            "name": "root",
            "penetration_mm": centre,
            "guaranteed_penetration_mm": between,
            "penetration_fraction": centre / 0.4,
            "penetration_interval_mm": interval,
        }
        (check,) = goal_checks(Goal(penetration=1.0), [one])
        assert check["verdict"] == verdict
        assert check["predicted"] == pytest.approx(between / 0.4)

    def test_most_heat_affected_width_counts_the_worst_pass(self):
        passes = [
            self._heated("root", 0.1, 0.2),
            self._heated("cover", 0.1, 0.3),
        ]
        (check,) = goal_checks(Goal(haz_width=0.25e-3), passes)
        assert (check["verdict"], check["from_pass"]) == ("misses", "cover")
        assert check["predicted"] == 0.3

    @staticmethod
    def _heated(name, first, widest):
        ends = [0.8 * first, 1.2 * first]
        return {
            "name": name,
            "haz_width_mm": first,
            "widest_haz_width_mm": widest,
            "haz_width_interval_mm": ends,
        }

    @pytest.mark.parametrize(("goal", "verdict"), [(0.29, "may miss"), (0.31, "meets")])
    def test_interval_of_the_heat_affected_width_grows_with_it(self, goal, verdict):
        # 0.25 mm at its widest, so 0.30 mm at the upper end of the interval
        (check,) = goal_checks(Goal(haz_width=goal * 1e-3), [self._heated("root", 0.1, 0.25)])
        assert check["verdict"] == verdict

    def test_interval_of_a_width_counts(self):
        one = {"name": "root", "root_width_mm": 0.3, "root_width_interval_mm": [0.1, 0.4]}
        (check,) = goal_checks(Goal(root_width=0.2e-3), [one])
        assert check["verdict"] == "may miss"

    def test_root_that_does_not_melt_misses(self):
        (check,) = goal_checks(Goal(root_width=0.2e-3), [{"name": "root", "root_width_mm": None}])
        assert (check["verdict"], check["predicted"]) == ("misses", 0.0)

    def test_partial_penetration_asks_for_no_root(self):
        one = {
            "name": "root",
            "penetration_mm": 0.3,
            "guaranteed_penetration_mm": 0.3,
            "penetration_fraction": 0.75,
            "penetration_interval_mm": [0.25, 0.35],
            "root_width_mm": None,
        }
        checks = goal_checks(Goal(penetration=0.6, root_width=0.2e-3), [one])
        assert [check["goal"] for check in checks] == ["penetration"]

    def test_nothing_given_nothing_judged(self):
        assert goal_checks(Goal(), [{"name": "root"}]) == []
