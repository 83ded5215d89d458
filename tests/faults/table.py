"""One line of the table of faults: what was done, how often, what came of it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Line:
    """``wrong`` names whatever did not hold; empty when all did."""

    fault: str
    tried: str
    found: str
    wrong: tuple[str, ...] = ()


def as_table(lines: list[Line]) -> str:
    """The lines as a Markdown table."""
    rows = ["| Fault | Tried | Found |", "| --- | --- | --- |"]
    rows += [f"| {line.fault} | {line.tried} | {'; '.join((*line.wrong, line.found))} |" for line in lines]
    return "\n".join(rows)
