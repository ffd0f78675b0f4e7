"""The run log and what it says: times, charts, drifts, checks that are due."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from schedules import tube

from weldcalc.errors import InputError
from weldcalc.qualification.control_charts import (
    forecast,
    individuals,
    signals,
    weighted_average,
)
from weldcalc.qualification.follow import Edge, edges_of, follow, follow_log
from weldcalc.qualification.run_log import RunLog, run_log_from_bytes
from weldcalc.schedule import schedule_from_mapping

HEAD = "date,cleaned,welded,lot,pass,power_meter [W],focus_check,colour,root_width [mm]\n"


def log(*rows: str, head: str = HEAD) -> RunLog:
    return run_log_from_bytes((head + "\n".join(rows) + "\n").encode(), name="log.csv")


def refusal(*rows: str, head: str = HEAD) -> str:
    with pytest.raises(InputError) as caught:
        log(*rows, head=head)
    return str(caught.value)


def powers(*values: float, focus: str = "") -> RunLog:
    start = datetime.fromisoformat("2026-03-02T08:00")
    rows = []
    for number, value in enumerate(values):
        moment = start + timedelta(minutes=30 * number)
        rows.append(f"{moment:%Y-%m-%d},,{moment:%H:%M},L{number},root,{value},{focus},,")
    return log(*rows)


def codes(follow_up) -> list[str]:
    return [finding.code for finding in follow_up.findings]


def test_times_with_a_date_column_or_in_one() -> None:
    short, long = log(
        "2026-03-02,07:50,08:10,A,root,9.7,ok,silver,0.3",
        ",2026-03-01T23:00,2026-03-03 08:10:30,A,root,9.7,,,",
    ).rows
    assert short.waited == 20 * 60
    assert short.numbers == {"power_meter": 9.7, "root_width": pytest.approx(0.3e-3)}
    assert long.welded == datetime.fromisoformat("2026-03-03T08:10:30")
    assert short.label == "2026-03-02 08:10 lot A"


def test_offsets_from_utc_are_kept() -> None:
    (row,) = log(",2026-03-02T08:00+01:00,2026-03-02T07:30+00:00,A,root,9.7,ok,silver,").rows
    assert row.waited == 30 * 60
    assert row.welded == datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


BAD_ROWS = {
    "2026-03-02,08:30,08:10,A,root,9.7,ok,silver,": "cleaned after it was welded",
    "2026-03-02,08:00,8.10,A,root,9.7,ok,silver,": "write hours and minutes",
    "2026-03-02,08:00,25:10,A,root,9.7,ok,silver,": "write hours and minutes",
    "2026-03-02,08:00,2026-03-02,A,root,9.7,ok,silver,": "write hours and minutes",
    "02/03/2026,08:00,08:10,A,root,9.7,ok,silver,": "year-month-day",
    "2026-02-30,08:00,08:10,A,root,9.7,ok,silver,": "year-month-day",
    ",08:00,08:10,A,root,9.7,ok,silver,": "a time without a date",
    ",2026-03-02T08:00,2026-03-02T08:10Z,A,root,9.7,ok,silver,": "the other has none",
    "2026-03-02,08:00,,A,root,9.7,ok,silver,": "column welded: has to be filled in",
    "2026-03-02,08:00,08:10,A,root,9.7,fine,silver,": "use one of ok, not ok",
    "2026-03-02,08:00,08:10,A,root,9.7,ok,gold,": "use one of silver",
    '2026-03-02,08:00,08:10,A,root,"9,7",ok,silver,': "decimal point",
    "2026-03-02,08:00,08:10,A,root,-9.7,ok,silver,": "plausible range",
}


@pytest.mark.parametrize("row", BAD_ROWS)
def test_bad_rows(row: str) -> None:
    said = refusal(row)
    assert BAD_ROWS[row] in said
    assert "log.csv, line 2" in said


def test_rows_out_of_order_and_mixed_times() -> None:
    later, earlier = "2026-03-02,,09:00,A,root,,,,", "2026-03-02,,08:00,A,root,,,,"
    assert "sort the log by time" in refusal(later, earlier)
    assert "offset from UTC" in refusal(later, ",,2026-03-02T10:00Z,A,root,,,,")
    assert "no welds" in refusal()


def test_clean_to_weld_row_by_row() -> None:
    found = follow_log(
        log(
            "2026-03-02,08:00,08:45,A,root,,,,",
            "2026-03-02,08:00,08:46,A,root,,,,",
            "2026-03-02,,09:00,A,root,,,,",
        ),
        clean_to_weld=45 * 60.0,
    )
    assert [row.clean_to_weld for row in found.rows] == ["met", "not met", "not judged"]
    assert codes(found) == ["clean-to-weld", "clean-to-weld-not-judged"]
    assert "46.0 min after cleaning" in found.findings[0].text
    assert not found.holds


def test_without_a_limit_nothing_is_judged() -> None:
    found = follow_log(log("2026-03-02,08:00,12:00,A,root,,,,"))
    assert [row.clean_to_weld for row in found.rows] == ["not judged"]
    assert found.findings == ()
    assert found.holds


def test_focus_and_colour() -> None:
    found = follow_log(
        log(
            "2026-03-02,,08:00,A,root,,ok,silver,",
            "2026-03-02,,09:00,A,root,,not ok,,",
            "2026-03-02,,10:00,A,root,,,blue,",
            "2026-03-02,,11:00,A,root,,,straw,",
        )
    )
    assert codes(found) == ["focus-check", "colour-drift"]
    assert "from silver to blue" in found.findings[1].text


def test_colours_of_one_step_are_no_drift() -> None:
    # violet-blue and purple stand on the same step of the list of colours
    words = ("violet-blue", "purple", "blue", "green-blue")
    rows = [f"2026-03-02,,{hour:02d}:00,A,root,,,{word}," for hour, word in enumerate(words, 8)]
    texts = [one.text for one in follow_log(log(*rows)).findings]
    assert texts == ["2026-03-02 10:00 lot A: colour went from purple to blue"]


def test_colours_of_another_pass_are_no_drift() -> None:
    found = follow_log(
        log(
            "2026-03-02,,08:00,A,root,,,silver,",
            "2026-03-02,,09:00,A,cover,,,straw,",
            "2026-03-02,,10:00,B,root,,,silver,",
            "2026-03-02,,11:00,B,cover,,,brown,",
        )
    )
    assert [(one.code, one.where) for one in found.findings] == [("colour-drift", "cover")]
    assert "lot B: colour went from straw to brown" in found.findings[0].text


def test_a_value_beyond_its_edge_stops() -> None:
    edge = Edge("power_meter", "root", 9.0, 10.0, "test")
    found = follow_log(powers(9.5, 9.6, 9.4, 9.5, 8.9), edges=[edge])
    assert "beyond-edge" in codes(found)
    assert not found.holds
    inside = follow_log(powers(9.5, 9.6, 9.4, 9.5, 9.3), edges=[edge])
    assert "beyond-edge" not in codes(inside)


def test_a_value_on_its_edge_is_not_beyond_it() -> None:
    low = 0.6 * 0.4e-3  # not the float of a typed 0.24 mm
    rows = [f"2026-03-02,,{hour:02d}:00,A,root,,,,{w}" for hour, w in enumerate((0.24, 0.3, 0.25))]
    found = follow_log(log(*rows), edges=[Edge("root_width", "root", low, None, "goal")])
    assert "beyond-edge" not in codes(found)


def test_a_drift_is_told_before_the_edge_is_reached() -> None:
    noise = np.random.default_rng(4).normal(0, 0.02, 30)
    drifting = 9.8 - 0.02 * np.arange(30) + noise
    edge = Edge("power_meter", "root", 9.0, 10.6, "test")
    found = follow_log(powers(*drifting), edges=[edge])
    assert drifting.min() > 9.0
    assert {"drift", "control-chart"} <= set(codes(found))
    (ahead,) = [item.forecast for item in found.followed]
    assert ahead is not None
    # 9.8 - 0.02 n crosses 9.0 at n = 40; the last value is number 29
    assert ahead.steps == pytest.approx(11, abs=2)
    assert found.holds
    steady = follow_log(powers(*(9.8 + noise)), edges=[edge])
    assert "drift" not in codes(steady)


def test_an_edge_of_the_finished_weld_holds_for_sections_of_a_pass() -> None:
    rows = [
        f"2026-03-02,,{hour:02d}:00,A,root,,,,{w}" for hour, w in enumerate((0.3, 0.31, 0.1), 8)
    ]
    found = follow_log(log(*rows), edges=[Edge("root_width", "", 0.2e-3, None, "goal")])
    assert "beyond-edge" in codes(found)


def test_too_few_or_equal_values_make_no_chart() -> None:
    found = follow_log(powers(9.5, 9.6))
    assert codes(found) == ["no-chart"]
    assert "at least 3 values" in found.findings[0].text
    assert "too coarse" in follow_log(powers(9.5, 9.5, 9.5)).findings[0].text


def test_checks_that_are_due() -> None:
    rows = [f"2026-03-02,,{hour:02d}:00,A,root,{{}},{{}},," for hour in range(8, 14)]
    filled = [
        row.format(9.7 if n % 2 == 0 else "", "ok" if n == 0 else "") for n, row in enumerate(rows)
    ]
    found = follow_log(log(*filled), check_every=2 * 3600.0)
    late = [item for item in found.findings if item.code == "check-overdue"]
    assert len(late) == 1
    assert late[0].text == "focus not checked within 2 h before: 2026-03-02 11:00 lot A"
    assert found.next_check == datetime.fromisoformat("2026-03-02T10:00")
    now = datetime.fromisoformat("2026-03-02T14:30")
    due = follow_log(log(*filled), check_every=2 * 3600.0, now=now)
    stops = [item.text for item in due.findings if item.code == "check-due"]
    assert stops == ["power is due to be checked now", "focus is due to be checked now"]


def test_never_checked() -> None:
    found = follow_log(log("2026-03-02,,08:00,A,root,,,,"), check_every=3600.0)
    assert found.next_check is None
    assert codes(found) == ["check-overdue", "check-overdue"]


def test_power_checked_and_focus_never_leaves_no_time_for_the_next_check() -> None:
    found = follow_log(log("2026-03-02,,08:00,A,root,9.7,,,"), check_every=3600.0)
    assert found.next_check is None
    assert [item.text.split()[0] for item in found.findings if item.code == "check-overdue"] == [
        "focus"
    ]


def test_now_is_told_as_the_times_of_the_log_are() -> None:
    now = datetime(2026, 3, 2, 9, tzinfo=UTC)
    with pytest.raises(InputError, match="offset from UTC; give both alike"):
        follow_log(powers(9.7, 9.8), check_every=3600.0, now=now)


def test_edges_of_a_schedule() -> None:
    made = schedule_from_mapping(
        tube(
            goal={"penetration": "60 %", "root_width": "0.2 mm", "haz_width": "0.25 mm"},
            scatter={"power": "2 %"},
            preparation={"clean_to_weld": "45 min"},
        )
    )
    edges = {(edge.key, edge.weld_pass): (edge.low, edge.high) for edge in edges_of(made)}
    # 390 W for 5 ms at 5 Hz are 9.75 W on average
    assert edges["power_meter", "root"] == pytest.approx((9.75 * 0.94, 9.75 * 1.06))
    assert edges["penetration", ""] == (pytest.approx(0.24e-3), None)
    assert edges["root_width", ""] == (pytest.approx(0.2e-3), None)
    assert edges["haz_width", ""] == (None, pytest.approx(0.25e-3))
    found = follow(made, log("2026-03-02,08:00,08:50,A,root,9.75,ok,silver,"))
    assert [row.clean_to_weld for row in found.rows] == ["not met"]
    assert edges_of(schedule_from_mapping(tube())) == ()


def test_json_is_plain_and_in_shown_units() -> None:
    edge = Edge("power_meter", "root", 9.0, 10.0, "test")
    read = powers(9.5, 9.6, 9.4, 9.5, focus="ok")  # both checked with each weld, the last at 09:30
    found = follow_log(read, edges=[edge], check_every=3600.0)
    told = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert told["followed"][0]["values_W"] == pytest.approx([9.5, 9.6, 9.4, 9.5])
    assert told["followed"][0]["edge_low_W"] == pytest.approx(9.0)
    assert told["next_check"] == "2026-03-02T10:30:00"


# --- charts by themselves


def rules(values: np.ndarray, baseline: int = 20) -> dict[str, int]:
    chart = individuals(values, baseline=baseline)
    average = weighted_average(values, centre=chart.centre, sigma=chart.sigma)
    found: dict[str, int] = {}
    for signal in signals(chart, average):
        found.setdefault(signal.rule, signal.position)
    return found


def calm(count: int = 20) -> np.ndarray:
    """Alternate about zero: moving ranges of 1.128, that is sigma = 1, and no rule broken."""
    return 0.564 * (-1.0) ** np.arange(count)


def test_calm_values_give_no_signal() -> None:
    chart = individuals(calm())
    assert (chart.centre, chart.sigma) == (pytest.approx(0, abs=1e-12), pytest.approx(1.0))
    assert rules(calm()) == {}


@pytest.mark.parametrize(
    ("added", "rule", "position"),
    [
        ([3.1], "value", 20),
        ([-2.1, -0.1, -2.1], "2 of 3", 22),
        ([1.1, 1.2, 0.1, 1.1, 1.2], "4 of 5", 24),
        ([0.1, 0.2] * 4, "side", 27),
        ([0.1, 0.2, 0.3, 0.4, 0.5], "trend", 24),
        ([-0.6, -0.7, -0.8, -0.9], "trend", 23),
        ([2.9, -1.9], "range", 21),
        ([1.3] * 7, "average", 26),
    ],
)
# by hand for the weighted average: 1.3 (1 - 0.8^k) - 0.063 0.8^k passes its limit of 1 at k = 7
def test_each_rule_fires_where_it_is_completed(
    added: list[float], rule: str, position: int
) -> None:
    assert rules(np.concatenate([calm(), added]))[rule] == position
    assert rule not in rules(np.concatenate([calm(), added[:-1]]))


def test_weighted_average_limits_widen_to_their_end_value() -> None:
    found = weighted_average(np.zeros(60), centre=0.0, sigma=1.0, weight=0.2)
    assert found.high[0] == pytest.approx(3 * 0.2)
    assert found.high[-1] == pytest.approx(3 * (0.2 / 1.8) ** 0.5)
    assert np.all(np.diff(found.high) >= 0)
    assert found.low == pytest.approx(-found.high)


@pytest.mark.parametrize(
    ("values", "low", "high", "steps"),
    [
        ([1.0, 2.0, 3.0, 4.0, 5.0], None, 8.0, 3.0),
        ([5.0, 4.0, 3.0, 2.0, 1.0], 0.5, 9.0, 0.5),
        ([1.0, 2.0, 3.0, 4.0, 5.0], None, 4.5, 0.0),
    ],
)
def test_forecast_of_a_straight_line(
    values: list[float], low: float | None, high: float | None, steps: float
) -> None:
    found = forecast(values, low=low, high=high)
    assert found is not None
    assert found.steps == pytest.approx(steps)


@pytest.mark.parametrize(
    "values",
    [[1.0, 2.0, 3.0, 4.0], [1.0] * 9, [1.0, 2.0, 1.0, 2.0, 1.0, 2.0], [5.0, 4.0, 3.0, 2.0, 1.0]],
)
def test_no_forecast_without_a_drift_towards_an_edge(values: list[float]) -> None:
    assert forecast(values, low=None, high=9.0) is None


def test_a_log_of_another_schedule_is_told() -> None:
    head = "number,date,welded,pass\n"
    schedule = schedule_from_mapping(tube())  # T-1
    own = log("T-1,2026-03-02,08:10,root", ",2026-03-02,08:20,root", head=head)
    assert "another-number" not in codes(follow(schedule, own))
    other = log("WS-9,2026-03-02,08:10,root", "T-1,2026-03-02,08:20,root", head=head)
    (found,) = [one for one in follow(schedule, other).findings if one.code == "another-number"]
    assert found.weight == "caution"
    assert "names the number WS-9, the schedule is T-1" in found.text
