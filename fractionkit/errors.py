"""The one exception tree: every error a user can cause carries its place, its value and what was expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault of an input: where it stands, what stands there, what was expected.

    ``file``, ``row`` and ``column`` are None where they do not apply (a value typed at the prompt). ``row`` is
    the line number that a spreadsheet or an editor shows, the header being 1.
    """

    value: str | None
    expected: str
    file: str | None = None
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        place = [self.file] if self.file else []
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            is_key = self.row is None or self.column.startswith("[")  # a key of run.toml stands in no column
            place.append(self.column if is_key else f"column {self.column}")
        found = "" if self.value is None else f"found {clip(self.value)!r}; "
        return (", ".join(place) + ": " if place else "") + f"{found}expected {self.expected}"


def clip(text: str, length: int = 60) -> str:
    """Shorten what a user typed so that a message stays one line."""
    flat = " ".join(text.split())
    return flat if len(flat) <= length else flat[: length - 1] + "…"


class FractionkitError(Exception):
    """Base of all errors that a command turns into one message; ``exit_code`` is the process's exit code."""

    exit_code = 2


class InputError(FractionkitError, ValueError):
    """The input is wrong: one or more faults, all told at once."""

    def __init__(self, faults: Fault | Sequence[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class QuantityError(InputError):
    """A text is not a quantity of the expected kind."""


class UnknownSubstanceError(InputError):
    """A substance is not in the catalogue."""


class OutOfRangeError(InputError):
    """A number lies where the model or its constants do not hold."""


class ConvergenceError(FractionkitError):
    """An equation could not be solved; never expected within the documented ranges."""

    exit_code = 1


class AtOddsError(FractionkitError):
    """The readings are at odds, so that no honest answer stands."""

    exit_code = 1
