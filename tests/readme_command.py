"""Print one of the README's two commands, so that what is tested is what is written there.

Usage: python tests/readme_command.py main|test
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"
MARK = re.compile(
    r"<!-- command: (?P<name>[a-z]+) -->\s*```(?:bash|sh)\n(?P<text>.*?)```", re.DOTALL
)


def readme_command(name: str, text: str | None = None) -> str:
    """Return the shell text of the README block marked with the name."""
    found = {m["name"]: m["text"].strip() for m in MARK.finditer(text or README.read_text("utf-8"))}
    if name not in found:
        raise SystemExit(f"README.md has no command marked '{name}', only {sorted(found)}")
    return found[name]


if __name__ == "__main__":
    sys.stdout.write(readme_command(sys.argv[1]) + "\n")
