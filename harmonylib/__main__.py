"""The commands: ``python -m harmonylib arrange TUNE`` and ``python -m harmonylib course``.

Exit code 0 when the work is done, 2 with one clear line on standard error when the input or a setting cannot serve or
something cannot be written, 130 after Ctrl-C, 141 when nobody reads what is printed (the files are written by then).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from harmonylib.classroom.lean import lean
from harmonylib.commands import arrange, handout, practice
from harmonylib.commands.terminal import (
    Commands,
    Parser,
    asked_neck,
    complain,
    hand_options,
    let_go,
    plain_line,
    say,
    say_written,
)
from harmonylib.errors import HarmonyError

LONGEST_LINE = 1000
"""Letters of a complaint; of a longer one, which quotes a very long name, begin and end are shown."""


def parser() -> argparse.ArgumentParser:
    """The command line, described."""
    top = Parser(
        prog="python -m harmonylib",
        description="Block chords for guitar: harmonise a tune so that every note carries a chord a hand can play.",
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for describe in (
        *(arrange.describe, _describe_survey, _describe_worksheet, _describe_mark, _describe_course),
        *(_describe_classroom, handout.describe, practice.describe),
    ):
        describe(commands)
    return top


def _describe_survey(commands: Commands) -> None:
    survey = commands.add_parser(
        "survey",
        help="list the tunes of a folder by difficulty",
        description="Measure every lead sheet in a folder and those below it, and every tune of a book, and list them "
        "by difficulty: printed, as survey.csv and as a chart (survey.pdf, survey.svg). A stopped survey goes on where "
        "it stopped.",
    )
    survey.add_argument("folder", metavar="FOLDER", help="a folder with .musicxml, .xml, .mxl or .abc files")
    survey.add_argument("--out", metavar="DIR", default=".", help="folder for the files (default: this one)")
    survey.add_argument("--jobs", metavar="N", type=int, help="processes that share the work (default: one a core)")
    hand_options(survey)
    survey.add_argument("--tempo", metavar="BPM", type=float, help="quarter notes a minute (default: each tune's own)")
    survey.set_defaults(run=_survey)


def _describe_worksheet(commands: Commands) -> None:
    from harmonylib.pictures.look import PAPERS

    worksheet = commands.add_parser(
        "worksheet",
        help="print a set of exercises with its key, and make the learner's notebook",
        description="Read a set of exercises (TOML) and write its sheet and key as PDF and a notebook for the learner.",
    )
    worksheet.add_argument("spec", metavar="SPEC", help="a TOML file: title, seed, level, paper, and [[tasks]] tables")
    worksheet.add_argument("--out", metavar="DIR", default=".", help="folder for the three files (default: this one)")
    worksheet.add_argument(
        "--paper", choices=PAPERS, help=f"paper of the PDFs (default: the file's own, or {PAPERS[0]})"
    )
    worksheet.add_argument("--seed", metavar="N", type=int, help="draws another set (default: the file's own seed)")
    worksheet.set_defaults(run=_worksheet)


def _describe_mark(commands: Commands) -> None:
    mark = commands.add_parser(
        "mark",
        help="mark a folder of returned notebooks without running them",
        description="Mark the notebooks in a folder by the teacher's own copy of the set; write a table (CSV) and a "
        "picture of the class, and print who has what right. Answers are read as data; nothing in a notebook is run.",
    )
    mark.add_argument("folder", metavar="FOLDER", help="the notebooks that came back, or a folder of each learner's")
    mark.add_argument("--name", metavar="FILE", help="mark the files of this name, one in each learner's folder")
    mark.add_argument("--replies", metavar="DIR", help="write each learner a page, into a folder of the learner's name")
    mark.add_argument(
        "--key", metavar="FILE", help="the set's TOML file or your own copy of its notebook (the TOML file by FOLDER)"
    )
    mark.add_argument("--seed", metavar="N", type=int, help="the seed given to worksheet, if any")
    mark.add_argument("--out", metavar="DIR", default=".", help="folder for table and picture (default: this one)")
    mark.set_defaults(run=_mark)


def _describe_course(commands: Commands) -> None:
    course = commands.add_parser(
        "course",
        help="open the course in JupyterLab, or large and without code for a projector",
        description="Lay the course into a folder of your own and open it in JupyterLab; what you have changed there "
        "is never overwritten. With --projector, show it large, step by step and without code.",
        epilog="What follows -- goes to Jupyter, as in: course --no-browser -- --ip=0.0.0.0",
    )
    course.add_argument("--folder", metavar="DIR", help="your folder (default: block-chords in this one)")
    course.add_argument("--reset", metavar="NN", type=int, help="lay chapter NN afresh; yours is kept under a date")
    course.add_argument("--here", action="store_true", help="open the course itself, to edit it for everyone")
    course.add_argument("--projector", action="store_true", help="show it large and without code, for a class")
    course.add_argument("--dark", action="store_true", help="with --projector: light on dark")
    course.add_argument("--port", metavar="N", type=int, help="port of the server on this machine")
    course.add_argument("--no-browser", action="store_true", help="serve it, and leave the browser to you")
    course.add_argument("--allow-root", action="store_true", help="go on as root, as in a container")
    course.add_argument("jupyter", nargs="*", metavar="-- ARGUMENT", help="arguments for Jupyter itself")
    course.set_defaults(run=_course)


def _describe_classroom(commands: Commands) -> None:
    classroom = commands.add_parser(
        "classroom",
        help="write the folder of a server for a class",
        description="Write the folder of a JupyterHub on one Linux machine; start with teacher.md in it.",
    )
    classroom.add_argument("folder", metavar="DIR", help="the folder to write")
    classroom.set_defaults(run=_classroom)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    lean()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")  # flats and sharps on any terminal
    try:
        options = parser().parse_args(arguments)
        _tell_of_the_class()
        code: int = options.run(options)
        return code
    except HarmonyError as error:
        said = plain_line(str(error))
        complain(said if len(said) <= LONGEST_LINE else f"{said[: LONGEST_LINE // 2]} … {said[-LONGEST_LINE // 2 :]}")
        return 2
    except KeyboardInterrupt:
        complain("stopped")
        return 130
    except BrokenPipeError:
        return 141  # 128 and the number of SIGPIPE, as a shell has it for any command
    finally:
        let_go(sys.stdout)
        let_go(sys.stderr)


def _tell_of_the_class() -> None:
    """What in the class's file cannot be taken, on standard error; the command goes on."""
    from harmonylib.lessons.of_class import class_faults

    for fault in class_faults():
        complain(plain_line(fault))


def _survey(options: argparse.Namespace) -> int:
    from harmonylib.classroom.repertoire import survey

    neck = asked_neck(options)
    found = survey(options.folder, options.out, neck=neck, tempo=options.tempo, jobs=options.jobs, progress=True)
    if not found.rows:
        say(found.text)
        raise HarmonyError(f"no tune in {options.folder!r} could be surveyed")
    files = found.write(options.out)
    say(found.text)
    count = len(found.rows) + len(found.failures)
    say(f"{count} tunes, {count - found.computed} of them known from before, {len(found.failures)} not surveyed.")
    say_written(files)
    return 0


def _worksheet(options: argparse.Namespace) -> int:
    from harmonylib.classroom.sheets import read_spec
    from harmonylib.classroom.worksheets import write_worksheet
    from harmonylib.wording import many

    made = read_spec(options.spec, options.seed, options.paper)
    files = write_worksheet(made, options.out, Path(options.spec).stem)
    say(f"{made.title}: {many(len(made.exercises), 'exercise')}, {made.origin}")
    say_written(files)
    return 0


def _mark(options: argparse.Namespace) -> int:
    from harmonylib.classroom.marking import find_key, mark, read_key
    from harmonylib.classroom.marks import summary, write_marks
    from harmonylib.classroom.replies import write_replies

    key = Path(options.key) if options.key else find_key(Path(options.folder))
    marks = mark(options.folder, read_key(key, options.seed), key, options.name)
    files = write_marks(marks, options.out)
    if options.replies:
        files += write_replies(marks, options.replies)
    say(plain_line(f"Marked by {key.name}: {marks.sheet.title}, {marks.sheet.origin}") + f"\n\n{summary(marks)}")
    for remark in marks.remarks:
        say(plain_line(f"Note: {remark}"))
    say_written(files)
    return 0


def _course(options: argparse.Namespace) -> int:
    from harmonylib.classroom.opening import open_course

    open_course(options, say)
    return 0


def _classroom(options: argparse.Namespace) -> int:
    from harmonylib.classroom.hub import write_classroom

    written, left = write_classroom(options.folder)
    if left:
        say(plain_line(f"Note: left as they are: {', '.join(left)}"))
    if written:
        say_written(written)
    say(plain_line(f"Next: read {Path(options.folder) / 'teacher.md'}"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
