"""The widgets of the trainee's notebook: six sliders, the picture, the numbers, the exercises."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve

from weldcalc.errors import InputError
from weldcalc.page.pieces import element, table, text
from weldcalc.quantities import field, parse_quantity, pretty_unit, to_shown
from weldcalc.trainee.drawing import picture
from weldcalc.trainee.exercises import Question, Task, all_exercises
from weldcalc.trainee.lesson import SETTINGS, Lesson, Outcome, compute
from weldcalc.trainee.words import NAMES, number_rows, opening, pool_rows, story

if TYPE_CHECKING:
    import ipywidgets

# least, most and step of each slider; a lesson that starts outside widens them
SPANS: Final = {
    "travel_speed": ("0.1 mm/s", "4 mm/s", "0.05 mm/s"),
    "repetition_rate": ("1 Hz", "20 Hz", "0.5 Hz"),
    "spot_diameter": ("0.3 mm", "1 mm", "0.02 mm"),
    "pulse_duration": ("1 ms", "15 ms", "0.5 ms"),
    "peak_power": ("50 W", "1500 W", "10 W"),
    "wall_thickness": ("0.2 mm", "1 mm", "0.05 mm"),
}
_SAME_MOVE = 2.0  # s; moves of one slider that follow each other faster are told as one

# colours are those of JupyterLab's theme, light or dark; the attribute stands twice where its own
# rules for tables would win otherwise
STYLE: Final = """<style>
.weldcalc-trainee { max-width: 1120px; --ink: var(--jp-content-font-color1, #1d2226);
  --line: var(--jp-border-color1, #b9bfc5); --faint: var(--jp-layout-color2, #eef0f2); }
.weldcalc-trainee { width: 100%; container-type: inline-size; }
/* sliders, what they do, numbers: under each other on a narrow screen, the picture beside the
   sliders as soon as there is room, so that it is in sight while a slider moves */
.weldcalc-columns { display: grid; gap: 6px 18px; align-items: start;
  grid-template: "move" "see" "read" / minmax(0, 1fr); }
@container (min-width: 790px) {
  .weldcalc-columns { grid-template: "move see" auto "read see" 1fr
    / minmax(336px, 2fr) minmax(0, 3fr); }
}
.weldcalc-move { grid-area: move; }
.weldcalc-see { grid-area: see; }
.weldcalc-read { grid-area: read; }
.weldcalc-trainee[class][class] table { border-collapse: collapse; width: 100%;
  margin: 6px 0 2px; font: 12.5px/1.35 'DejaVu Sans', Verdana, Arial, sans-serif;
  color: var(--ink); font-variant-numeric: tabular-nums; }
.weldcalc-trainee caption { text-align: left; font-weight: 700; padding: 4px 0;
  color: var(--ink); }
.weldcalc-trainee[class][class] tr { background: none; }
.weldcalc-trainee[class][class] th, .weldcalc-trainee[class][class] td { padding: 2px 4px;
  border: 0; border-bottom: 1px solid var(--line); text-align: right; font-weight: 400; }
.weldcalc-trainee[class][class] th[scope=row] { text-align: left; padding-left: 0; }
.weldcalc-trainee[class][class] thead th { border-bottom: 1px solid var(--ink); }
.weldcalc-trainee[class][class] td { white-space: nowrap; font-weight: 600; }
.weldcalc-says { font: 14px/1.4 'DejaVu Sans', Verdana, Arial, sans-serif; color: var(--ink);
  background: var(--faint); border-left: 4px solid #3b7fc0; padding: 7px 10px;
  min-height: 5.6em; }
.weldcalc-says.answer { min-height: 0; max-width: 740px; }
.weldcalc-says.trouble { border-left-color: #d6455a; }
.weldcalc-asks { font: 14px/1.45 'DejaVu Sans', Verdana, Arial, sans-serif; max-width: 760px;
  color: var(--ink); }
</style>"""

# the slider of the widget library gives its handle no name that a screen reader could say
_NAME_HANDLES: Final = """
const named = () => document.querySelectorAll('.weldcalc-row').forEach((row) => {
  const handle = row.querySelector('.noUi-handle');
  const label = row.querySelector('label');
  if (handle && label) handle.setAttribute('aria-label', label.textContent + ', slider');
});
const watch = new MutationObserver(named);
watch.observe(document.body, {childList: true, subtree: true});
named();
setTimeout(() => watch.disconnect(), 60000);
"""


class Panel:
    """State of the widgets: the settings, the last outcome and the one that it is told against.

    Parameters
    ----------
    lesson : Lesson
        What stays the same.
    """

    def __init__(self, lesson: Lesson) -> None:
        import ipywidgets

        self.lesson = lesson
        self.now: Outcome = compute(lesson, lesson.settings)
        self._told_from: Outcome = self.now
        self._last_moved: tuple[str, float] = ("", 0.0)
        self._typed = lesson.settings
        self.numbers = ipywidgets.HTML()
        self.says = ipywidgets.HTML()
        self.drawn = ipywidgets.HTML()
        self.fields = {name: self._row(name) for name in SETTINGS}
        self._show(opening(lesson, self.now))

    def _row(self, name: str) -> tuple[Any, Any, Any]:
        import ipywidgets

        low, high, step = _span(name, getattr(self.lesson.settings, name))
        value = _shown(getattr(self.lesson.settings, name), name)
        label = f"{NAMES[name]} [{pretty_unit(field(name).shown_unit)}]"
        number = ipywidgets.BoundedFloatText(
            value=value,
            min=low,
            max=high,
            step=step,
            description=label,
            style={"description_width": "146px"},
            layout={"width": "214px"},
        )
        slider = ipywidgets.FloatSlider(
            value=value,
            min=low,
            max=high,
            step=step,
            readout=False,
            layout={"width": "auto", "flex": "1 1 100px", "min_width": "80px"},
        )
        # a slider in a browser answers 580.0000000000001
        ways = (lambda shown: shown, _tidy)
        ipywidgets.link((number, "value"), (slider, "value"), transform=ways)
        number.observe(lambda change: self._on_move(name, change["new"]), names="value")
        row = ipywidgets.HBox([number, slider])
        row.add_class("weldcalc-row")
        return number, slider, row

    def _on_move(self, name: str, shown: float) -> None:
        unit = field(name).shown_unit
        self.move(name, parse_quantity(f"{shown:.10g} {unit}", name))

    def move(self, name: str, value: float) -> None:
        """Set one setting [SI], compute and show what it does.

        Parameters
        ----------
        name : str
            One of `SETTINGS`.
        value : float
            [SI]
        """
        self._typed = evolve(self._typed, **{name: value})
        moved, moment = name, time.monotonic()
        last, then = self._last_moved
        if moved != last or moment - then > _SAME_MOVE:
            self._told_from = self.now
        self._last_moved = (moved, moment)
        try:
            self.now = compute(self.lesson, self._typed)
        except InputError as error:
            self.says.value = _says(str(error), "trouble")
            return
        self._show(story(self.lesson, self._told_from, self.now))

    def _show(self, words: str) -> None:
        self.says.value = _says(words)
        self.drawn.value = picture(self.lesson, self.now)
        self.numbers.value = _tables(self.now)

    def widget(self) -> ipywidgets.Widget:
        """Return the panel as one widget."""
        import ipywidgets

        rows = [row for _, _, row in self.fields.values()]
        move, see = ipywidgets.VBox(rows), ipywidgets.VBox([self.says, self.drawn])
        read = ipywidgets.VBox([self.numbers])
        for part, name in ((move, "move"), (see, "see"), (read, "read")):
            part.add_class(f"weldcalc-{name}")
        columns = ipywidgets.Box([move, see, read])
        columns.add_class("weldcalc-columns")
        box = ipywidgets.VBox([ipywidgets.HTML(STYLE), columns])
        box.add_class("weldcalc-trainee")
        return box


def _span(name: str, start: float) -> tuple[float, float, float]:
    low, high, step = (_shown(parse_quantity(given, name), name) for given in SPANS[name])
    value = _shown(start, name)
    return min(low, value), max(high, value), step


def _shown(value: float, name: str) -> float:
    return _tidy(to_shown(value, name))


def _tidy(value: float) -> float:
    """Return a value free of the last digits that reckoning in binary leaves."""
    return float(f"{value:.10g}")


def _says(words: str, kind: str = "") -> str:
    return element("div", text(words), class_=f"weldcalc-says {kind}".strip(), role="status")


def _tables(now: Outcome) -> str:
    plain = table(("", "now"), number_rows(now), caption="From the settings alone")
    pools = table(
        ("", "first pulse", "half-way"), pool_rows(now), caption="Computed pools, along the seam"
    )
    return plain.html + pools.html


def panel(lesson: Lesson) -> Panel:
    """Show the panel of a lesson in the notebook.

    Parameters
    ----------
    lesson : Lesson
        From `open_lesson`.

    Returns
    -------
    Panel
        For the exercises.
    """
    from IPython.display import Javascript, display

    made = Panel(lesson)
    display(made.widget(), Javascript(_NAME_HANDLES))  # type: ignore[no-untyped-call]
    return made


def exercises(shown: Panel) -> ipywidgets.Widget:
    """Return the exercises as one widget; those with sliders look at the panel.

    Parameters
    ----------
    shown : Panel
        From `panel`.
    """
    import ipywidgets

    made = [
        _exercise(number, one, shown) for number, one in enumerate(all_exercises(shown.lesson), 1)
    ]
    box = ipywidgets.VBox([ipywidgets.HTML(STYLE), *made])
    box.add_class("weldcalc-trainee")
    return box


def _exercise(number: int, one: Question | Task, shown: Panel) -> ipywidgets.Widget:
    import ipywidgets

    asked = element("div", f"<b>{number}.</b> " + text(one.text), class_="weldcalc-asks")
    button = ipywidgets.Button(description=f"Check answer {number}", layout={"width": "150px"})
    answer = ipywidgets.HTML()
    typed = _answer_field(one) if isinstance(one, Question) else None

    def check(_: object) -> None:
        if isinstance(one, Question) and typed is not None:
            is_right, words = one.check(float(typed.value))
        elif isinstance(one, Task):
            is_right, words = one.check(shown.now)
        answer.value = _says(words, "answer" if is_right else "answer trouble")

    button.on_click(check)
    parts = [button] if typed is None else [typed, button]
    return ipywidgets.VBox(
        [ipywidgets.HTML(asked), ipywidgets.HBox(parts), answer], layout={"margin": "0 0 14px"}
    )


def _answer_field(one: Question) -> ipywidgets.FloatText:
    import ipywidgets

    return ipywidgets.FloatText(
        description=f"answer [{one.unit}]",
        style={"description_width": "120px"},
        layout={"width": "230px"},
    )
