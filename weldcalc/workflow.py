"""A whole record folder: data, executed notebook, page and set-up card, in one go."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from weldcalc.record import (
    Record,
    View,
    WrittenRecord,
    make_record,
    open_record,
    write_record,
)
from weldcalc.records.files import (
    CARD_NAME,
    NOTEBOOK_NAME,
    PAGE_NAME,
    PULSES_NAME,
    refuse_unless_new,
)

if TYPE_CHECKING:
    from weldcalc.own_kernel import OwnKernel
    from weldcalc.schedule import Schedule

NOTEBOOK = "qualification_record"

Step = Callable[[str], None]


def write_full_record(
    schedule: Schedule | Path | str,
    *,
    folder: Path | str,
    coupons: Path | None = None,
    acceptance: Path | None = None,
    calibration: Path | None = None,
    sign_off: Path | None = None,
    previous: Path | None = None,
    progress: Step | None = None,
) -> WrittenRecord:
    """Compute a record and write it with all its views into a new folder.

    Parameters
    ----------
    schedule : Schedule or path
        A loaded schedule, or its TOML file.
    folder : Path or str
        Where the record goes; must not exist yet.
    coupons, acceptance, calibration, sign_off, previous : Path, optional
        As for `make_record`.
    progress : callable, optional
        Called with the name of each step as it begins.

    Returns
    -------
    WrittenRecord
        Whole as data even where a view failed; its notes say which.

    Raises
    ------
    InputError
        When an input cannot be used or the folder exists.
    """
    refuse_unless_new(Path(folder))
    step = progress or _say_nothing
    with _early_kernel() as kernel:
        step("computing")
        record = make_record(
            schedule,
            coupons=coupons,
            acceptance=acceptance,
            calibration=calibration,
            sign_off=sign_off,
            previous=previous,
        )
        return write_record(
            record,
            folder,
            views=_page_views(record, Path(folder), step, kernel),
            beside=_file_views(record, step),
        )


@contextmanager
def _early_kernel() -> Iterator[OwnKernel | None]:
    """Start the kernel of the notebook while the record is computed: it takes seconds to load."""
    with ExitStack() as stack:
        try:
            from weldcalc.own_kernel import own_kernel

            kernel = stack.enter_context(own_kernel(early=True))
        except Exception:  # the notebook tries again in its turn, and its note says what is wrong
            kernel = None
        yield kernel


def _say_nothing(name: str) -> None:
    """Take the name of a step and do nothing with it."""


def _page_views(
    record: Record, folder: Path, step: Step, kernel: OwnKernel | None
) -> tuple[View, ...]:
    def notebook(draft: Path) -> None:
        from weldcalc.notebook import NotebookError, run_template

        step("notebook")
        try:
            run_template(
                NOTEBOOK,
                parameters={"record_folder": str(draft.resolve()), "record_sha256": record.sha256},
                output=draft / NOTEBOOK_NAME,
                reads_as={str(draft.resolve()): str(folder.resolve())},
                kernel=kernel,
            )
        except NotebookError as error:
            raise NotebookError(f"{error}; so there is no page, but the record is whole") from None

    def page(draft: Path) -> None:
        from weldcalc.report import write_page

        if not (draft / NOTEBOOK_NAME).is_file():
            return  # the notebook has said already why it failed
        step("page")
        write_page(
            draft / NOTEBOOK_NAME, draft / PAGE_NAME, title=_title(record), footer=_footer(record)
        )

    return notebook, page


def _file_views(record: Record, step: Step) -> tuple[View, ...]:
    def card(draft: Path) -> None:
        from weldcalc.card import write_setup_card

        step("set-up card")
        made = open_record(draft, record.sha256)[1]
        write_setup_card(made.schedule, draft / CARD_NAME, estimate=made)

    def pulses(draft: Path) -> None:
        from weldcalc.pulse_table import write_pulse_table

        step("pulse table")
        made = open_record(draft, record.sha256)[1]
        write_pulse_table(made.schedule, draft / PULSES_NAME, made=made)

    # a drawing asks for IPython, which the thread that runs the notebook may have half imported
    with suppress(ImportError):
        import_module("IPython")
    return card, pulses


def _title(record: Record) -> str:
    data = record.data
    return f"{data['number']} revision {data['revision']}: {data['title']}"


def _footer(record: Record) -> str:
    data = record.data
    return f"{data['number']} revision {data['revision']}. {data['status']}. {record.sha256[:16]}"
