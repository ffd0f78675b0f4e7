"""The trainee's notebook in plain Python: settings in, pools, pictures, words and exercises out."""

from __future__ import annotations

from weldcalc.trainee.lesson import SETTINGS, Lesson, Outcome, Settings, open_lesson
from weldcalc.trainee.panel import exercises, panel

__all__ = [
    "SETTINGS",
    "Lesson",
    "Outcome",
    "Settings",
    "exercises",
    "open_lesson",
    "panel",
]
