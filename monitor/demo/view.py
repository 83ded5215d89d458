"""How a demo shows itself: a live table on a terminal, plain lines elsewhere, and the table at its end."""

from collections.abc import Iterable
from datetime import datetime
from types import TracebackType
from typing import IO, Protocol, Self

from rich.console import Console
from rich.live import Live
from rich.table import Table

from monitor.alerts.dough import Message
from monitor.demo.day import Verdict
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch
from monitor.wording import alerts
from monitor.wording.reader import Reader

PLAIN_WIDTH = 200  # lines for a file or a pipe are not folded

Row = tuple[Batch, Outlook | None, Message | None]
"""A batch, its newest outlook, and the last message about it."""


class View(Protocol):
    """Shows how the doughs stand, while it is entered as a context."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None: ...

    def say(self, sentence: str, now: datetime) -> None:
        """Tell something that happened."""

    def show(self, rows: Iterable[Row], now: datetime) -> None:
        """Show how all batches stand."""


def _clock(at: datetime | None, reader: Reader) -> str:
    return "-" if at is None else alerts.clock_text(at, reader)


class LinesView:
    """One line for each thing that happens."""

    def __init__(self, out: IO[str], reader: Reader) -> None:
        self._out = out
        self._reader = reader

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        pass

    def say(self, sentence: str, now: datetime) -> None:
        print(f"{_clock(now, self._reader)}  {sentence}", file=self._out, flush=True)

    def show(self, rows: Iterable[Row], now: datetime) -> None:
        pass


class TableView:
    """A table that is drawn over and over, with what happens above it."""

    def __init__(self, out: IO[str], reader: Reader) -> None:
        self._reader = reader
        self._live = Live(
            console=Console(file=out, markup=False, highlight=False, emoji=False), refresh_per_second=4, transient=True
        )

    def __enter__(self) -> Self:
        self._live.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._live.__exit__(kind, error, traceback)

    def say(self, sentence: str, now: datetime) -> None:
        self._live.console.print(f"{_clock(now, self._reader)}  {sentence}")

    def show(self, rows: Iterable[Row], now: datetime) -> None:
        table = Table(title=f"dough time {_clock(now, self._reader)}", title_justify="left", expand=True)
        for heading in ("batch", "rise", "how it stands", "last message"):
            table.add_column(heading, justify="right" if heading == "rise" else "left", overflow="fold")
        for batch, outlook, message in rows:
            rise = "-" if outlook is None or outlook.rise_pct is None else f"{outlook.rise_pct.p50:.0f} %"
            table.add_row(
                batch.name,
                rise,
                self._standing(batch, outlook),
                "-" if message is None else f"{_clock(message.created_at, self._reader)} {message.kind.value}",
            )
        self._live.update(table)

    def _standing(self, batch: Batch, outlook: Outlook | None) -> str:
        if batch.ended_at is not None:
            return f"taken at {_clock(batch.ended_at, self._reader)}"
        return "begun" if outlook is None else alerts.outlook_sentence(batch, outlook, self._reader)


def verdict_table(verdicts: Iterable[Verdict], reader: Reader) -> Table:
    """What was predicted at half of the way, what came, when the call came, and every alert sent."""
    table = Table(title="How the day went (times are dough time)", title_justify="left")
    for heading in (
        "batch",
        "what",
        "predicted at half",
        "true",
        "error min",
        "alert",
        "alert error min",
        "alerts sent",
    ):
        table.add_column(heading, justify="right" if "min" in heading else "left", no_wrap=heading != "alerts sent")
    for verdict in verdicts:
        table.add_row(
            verdict.name + (" (left to over-proof)" if verdict.is_left else ""),
            verdict.what,
            _clock(verdict.predicted_at, reader),
            _clock(verdict.true_at, reader),
            _minutes(verdict.error_min),
            _clock(verdict.called_at, reader),
            _minutes(verdict.call_error_min),
            ", ".join(kind.value for kind in verdict.sent) or "none",
        )
    return table


def _minutes(minutes: float | None) -> str:
    return "-" if minutes is None else f"{minutes:+.1f}"


def print_verdicts(verdicts: Iterable[Verdict], reader: Reader, out: IO[str]) -> None:
    """Print the table of the day; off a terminal it is as wide as it needs."""
    console = Console(file=out, width=None if out.isatty() else PLAIN_WIDTH, markup=False, highlight=False)
    console.print(verdict_table(verdicts, reader))
    console.print(
        "predicted at half: the moment first predicted once half of the rise after the last fold was seen. "
        "true: by the simulator's own volume. A dough used at its peak is judged by its peak and its at-its-peak alert."
    )
