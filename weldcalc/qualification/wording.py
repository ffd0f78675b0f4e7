"""Lists in messages, kept short enough to be read."""

from __future__ import annotations

from collections.abc import Sequence


def first_few(texts: Sequence[str], *, between: str = "; ", most: int = 8) -> str:
    """Return texts in one line, the first few of them when there are many.

    Parameters
    ----------
    texts : sequence of str
        What to list.
    between : str
        Separator.
    most : int
        Most that are spelled out.

    Returns
    -------
    str
        Ends in "and n more" where some were left out.

    Examples
    --------
    >>> first_few(["a", "b", "c"], between=", ", most=2)
    'a, b and 1 more'
    """
    left = len(texts) - most
    shown = between.join(texts[:most])
    return f"{shown} and {left} more" if left > 0 else shown
