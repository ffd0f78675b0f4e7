"""The files of a process window: picture as PNG and SVG, map as CSV, answer as JSON."""

from __future__ import annotations

import json
from pathlib import Path

from weldcalc.plots.maps import LimitCurve, WindowPoint, window_map
from weldcalc.plots.style import Picture
from weldcalc.whole_files import whole_folder
from weldcalc.window import Window


def window_picture(made: Window) -> Picture:
    """Return the picture of a window.

    Parameters
    ----------
    made : Window
        From `weldcalc.window.window`.
    """
    return window_map(
        x_key=made.x_key,
        x=made.x,
        y_key=made.y_key,
        y=made.y,
        region=made.region,
        penetration=made.sizes["penetration"],
        goal_depth=made.goal_depth if made.owes_depth else None,
        chance=made.chance,
        point=WindowPoint(*made.point, *made.sigma),
        limits=[LimitCurve(words=one.words, x=one.x, y=one.y) for one in made.limits],
        pass_name=made.pass_name,
        counts_model=made.counts_model,
    )


def write_window(made: Window, folder: Path) -> Path:
    """Write a window into a new folder: window.png, window.svg, window.csv, window.json.

    Parameters
    ----------
    made : Window
        From `weldcalc.window.window`.
    folder : pathlib.Path
        Must not exist yet; appears only when everything in it is whole.

    Raises
    ------
    InputError
        When the folder exists.
    """
    with whole_folder(folder) as draft:
        picture = window_picture(made)
        for name in ("window.png", "window.svg"):
            picture.save(draft / name)
        (draft / "window.csv").write_text(made.to_csv(), encoding="utf-8")
        text = json.dumps(made.to_json(), indent=2, allow_nan=False, ensure_ascii=False)
        (draft / "window.json").write_text(text + "\n", encoding="utf-8")
    return folder
