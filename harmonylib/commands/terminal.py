"""What the commands share: a parser that refuses in one line, and how they speak to a terminal."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TextIO, TypeAlias

from harmonylib.errors import HarmonyError

if TYPE_CHECKING:
    from harmonylib.guitar.neck import Neck

Commands: TypeAlias = "argparse._SubParsersAction[Parser]"


class Parser(argparse.ArgumentParser):
    """A parser that refuses in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"harmonylib: {plain_line(message)} (see {self.prog} --help)\n")


def plain_line(text: str) -> str:
    from harmonylib.wording import plain  # late: Ctrl-C while it loads is then caught

    return plain(text)


def say(text: str) -> None:
    try:
        print(text, flush=True)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise HarmonyError(f"the result cannot be printed: {error.strerror}") from error


def say_written(files: Sequence[Path]) -> None:
    say(plain_line("Written: " + ", ".join(map(str, files))))


def complain(line: str) -> None:
    if sys.stderr:  # None when it is closed, and then it would be printed elsewhere
        with suppress(OSError):
            print(f"harmonylib: {line}", file=sys.stderr)


def let_go(stream: TextIO | None) -> None:
    """Empty a stream; what cannot be written is dropped, else Python complains of it once more at the end."""
    if stream is None:
        return
    try:
        stream.flush()
    except OSError:
        with open(os.devnull, "w") as nowhere, suppress(OSError):
            os.dup2(nowhere.fileno(), stream.fileno())


def python_name() -> str:
    """This Python as a person in this folder would type it."""
    here = Path(sys.executable)
    name = str(here.relative_to(Path.cwd())) if here.is_relative_to(Path.cwd()) else "python"
    return f'"{name}"' if " " in name else name


def hand_options(command: argparse.ArgumentParser) -> None:
    """How far the hand stretches, and how high up the neck it goes."""
    from harmonylib.guitar.neck import LAST_FRET, REACH_MM

    command.add_argument("--reach", metavar="MM", type=float, help=f"the hand's stretch ({REACH_MM:.0f} mm)")
    command.add_argument("--frets", metavar="N", type=int, help=f"highest fret in use ({LAST_FRET})")


def asked_neck(options: argparse.Namespace) -> Neck:
    """The neck that a command names; what it leaves open comes from the class's file."""
    from harmonylib.answering.stages import given

    parts = {"tuning": "tuning", "frets": "frets", "scale": "scale_mm", "reach": "reach_mm", "capo": "capo"}
    named = {part: getattr(options, option, None) for option, part in parts.items()}
    return replace(given().neck, **told(named))


def told(values: dict[str, Any]) -> dict[str, Any]:
    """What was said: values that are not None."""
    return {name: value for name, value in values.items() if value is not None}
