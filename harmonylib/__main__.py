"""The commands: ``python -m harmonylib arrange TUNE``, ``practice TUNE``, ``course`` and the teacher's own.

Exit code 0 when the work is done, 2 with one clear line on standard error when the input or a setting cannot serve or
something cannot be written, 130 after Ctrl-C, 141 when nobody reads what is printed (the files are written by then).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import NoReturn, TextIO, TypeAlias

from harmonylib.errors import HarmonyError

CHAPTERS = Path(__file__).resolve().parent.parent / "chapters"
FIRST_CHAPTER = "00_start_here.ipynb"
LONGEST_LINE = 1000
"""Letters of a complaint; of a longer one, which quotes a very long name, begin and end are shown."""


_Commands: TypeAlias = "argparse._SubParsersAction[_Parser]"


class _Parser(argparse.ArgumentParser):
    """A parser that refuses in one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"harmonylib: {_plain(message)} (see {self.prog} --help)\n")


def parser() -> argparse.ArgumentParser:
    """The command line, described."""
    top = _Parser(
        prog="python -m harmonylib",
        description="Block chords for guitar: harmonise a tune so that every note carries a chord a hand can play.",
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    describes = (_describe_arrange, _describe_practice, _describe_survey, _describe_worksheet)
    for describe in (*describes, _describe_mark, _describe_course):
        describe(commands)
    return top


def _describe_arrange(commands: _Commands) -> None:
    from harmonylib.arranging.density import DENSITIES
    from harmonylib.guitar.neck import LONG_SCALE, TUNINGS
    from harmonylib.score.pdf import PAPERS
    from harmonylib.score.writing import SOUNDS

    arrange = commands.add_parser(
        "arrange",
        help="turn a lead sheet into a block-chord arrangement",
        description="Read a lead sheet (MusicXML or ABC), arrange it in block chords and write it as MusicXML, MIDI, "
        "PDF and CSV; print every note with its grip and the reason for it.",
    )
    arrange.add_argument("tune", metavar="TUNE", help="a .musicxml, .xml, .mxl or .abc file with chord symbols")
    arrange.add_argument("--out", metavar="DIR", default=".", help="folder for the four files (default: this one)")
    arrange.add_argument("--number", metavar="N", type=int, default=1, help="which tune of an ABC book (default: 1)")
    arrange.add_argument(
        "--bars", metavar="WHICH", help="arrange these bars only: a section, as in B, or numbers, as in 5-8"
    )
    arrange.add_argument(
        "--density",
        choices=tuple(DENSITIES),
        default="comfortable",
        metavar="WHICH",
        help="which notes carry a chord (default: comfortable). "
        + "; ".join(f"{d}: {r}" for d, r in DENSITIES.items()),
    )
    arrange.add_argument(
        "--key", help="move the tune to a key, as in F or Cm; “best” finds the one that suits the neck"
    )
    arrange.add_argument("--tempo", metavar="BPM", type=float, help="quarter notes a minute (default: the tune's own)")
    arrange.add_argument(
        "--practice-tempo", metavar="BPM", type=float, help="tempo of sound, MIDI and score alone: the grips stay"
    )
    _hand_options(arrange)
    arrange.add_argument(
        "--scale", metavar="MM", type=float, default=LONG_SCALE, help=f"string length ({LONG_SCALE:.0f} mm)"
    )
    arrange.add_argument("--capo", metavar="FRET", type=int, default=0, help="fret the capo stands at (default: none)")
    arrange.add_argument(
        "--tuning",
        default="standard",
        help=f"one of {', '.join(TUNINGS)}; or pitches from the lowest: 'D2 A2 D3 G3 B3 E4'",
    )
    arrange.add_argument("--paper", choices=PAPERS, default=PAPERS[0], help=f"paper of the PDF (default: {PAPERS[0]})")
    arrange.add_argument("--sound", choices=SOUNDS, help="write what it sounds like too")
    arrange.add_argument(
        "--once", action="store_true", help="MIDI and sound play every bar once, as written, and no repeats"
    )
    arrange.add_argument(
        "--seed", metavar="N", type=int, default=0, help="picks among equally good grips, and draws the answers"
    )
    _answer_options(arrange)
    arrange.set_defaults(run=_arrange)


def _answer_options(arrange: argparse.ArgumentParser) -> None:
    """Call and response: whether the melody chords are answered, and how."""
    from harmonylib.answering.manner import CONTOURS, Manner

    answers = arrange.add_argument_group("call and response", "other voicings answer the melody chords in their gaps")
    answers.add_argument(
        "--answers",
        metavar="SHARE",
        type=float,
        nargs="?",
        const=Manner.share,
        default=0.0,
        help=f"answer this share of the gaps, 0 to 1 ({Manner.share} when no share is given)",
    )
    answers.add_argument(
        "--approached",
        metavar="SHARE",
        type=float,
        default=Manner.approached,
        help=f"share of answers approached by a fret ({Manner.approached})",
    )
    answers.add_argument(
        "--contour", choices=(*CONTOURS, "any"), default="any", help="how the answers' top line goes (any)"
    )
    answers.add_argument("--swing", action="store_true", help="off-beat answers on the last third of the beat")


def _describe_practice(commands: _Commands) -> None:
    from harmonylib.commands.practice import describe

    describe(commands.add_parser("practice", help="write a track to practise with, faster each time"), _practice)


def _describe_survey(commands: _Commands) -> None:
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
    _hand_options(survey)
    survey.add_argument("--tempo", metavar="BPM", type=float, help="quarter notes a minute (default: each tune's own)")
    survey.set_defaults(run=_survey)


def _describe_worksheet(commands: _Commands) -> None:
    from harmonylib.score.pdf import PAPERS

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


def _describe_mark(commands: _Commands) -> None:
    mark = commands.add_parser(
        "mark",
        help="mark a folder of returned notebooks without running them",
        description="Mark the notebooks in a folder by the teacher's own copy of the set; write a table (CSV) and a "
        "picture of the class, and print who has what right. Answers are read as data; nothing in a notebook is run.",
    )
    mark.add_argument("folder", metavar="FOLDER", help="the notebooks that came back")
    mark.add_argument(
        "--key", metavar="FILE", help="the set's TOML file or your own copy of its notebook (the TOML file by FOLDER)"
    )
    mark.add_argument("--seed", metavar="N", type=int, help="the seed given to worksheet, if any")
    mark.add_argument("--out", metavar="DIR", default=".", help="folder for table and picture (default: this one)")
    mark.set_defaults(run=_mark)


def _describe_course(commands: _Commands) -> None:
    course = commands.add_parser(
        "course",
        help="open the course in JupyterLab, or large and without code for a projector",
        description="Open the course in JupyterLab. With --projector, show it large, step by step and without code.",
    )
    course.add_argument("--projector", action="store_true", help="show it large and without code, for a class")
    course.add_argument("--dark", action="store_true", help="with --projector: light on dark")
    course.add_argument("--port", metavar="N", type=int, help="port of the server on this machine")
    course.add_argument("--no-browser", action="store_true", help="serve it, and leave the browser to you")
    course.set_defaults(run=_course)


def _hand_options(command: argparse.ArgumentParser) -> None:
    """How far the hand stretches, and how high up the neck it goes."""
    from harmonylib.guitar.neck import LAST_FRET, REACH_MM

    command.add_argument(
        "--reach", metavar="MM", type=float, default=REACH_MM, help=f"the hand's stretch ({REACH_MM:.0f} mm)"
    )
    command.add_argument("--frets", metavar="N", type=int, default=LAST_FRET, help=f"highest fret in use ({LAST_FRET})")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")  # flats and sharps on any terminal
    try:
        options = parser().parse_args(arguments)
        code: int = options.run(options)
        return code
    except HarmonyError as error:
        said = _plain(str(error))
        _complain(said if len(said) <= LONGEST_LINE else f"{said[: LONGEST_LINE // 2]} … {said[-LONGEST_LINE // 2 :]}")
        return 2
    except KeyboardInterrupt:
        _complain("stopped")
        return 130
    except BrokenPipeError:
        return 141  # 128 and the number of SIGPIPE, as a shell has it for any command
    finally:
        _let_go(sys.stdout)
        _let_go(sys.stderr)


def _plain(text: str) -> str:
    from harmonylib.wording import plain  # late: Ctrl-C while it loads is then caught

    return plain(text)


def _say(text: str) -> None:
    try:
        print(text, flush=True)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise HarmonyError(f"the result cannot be printed: {error.strerror}") from error


def _say_written(files: Sequence[Path]) -> None:
    _say(_plain("Written: " + ", ".join(map(str, files))))


def _complain(line: str) -> None:
    if sys.stderr:  # None when it is closed, and then it would be printed elsewhere
        with suppress(OSError):
            print(f"harmonylib: {line}", file=sys.stderr)


def _let_go(stream: TextIO | None) -> None:
    """Empty a stream; what cannot be written is dropped, else Python complains of it once more at the end."""
    if stream is None:
        return
    try:
        stream.flush()
    except OSError:
        with open(os.devnull, "w") as nowhere, suppress(OSError):
            os.dup2(nowhere.fileno(), stream.fileno())


def _arrange(options: argparse.Namespace) -> int:
    from tqdm import tqdm

    with tqdm(
        total=3, desc="reading", delay=1, leave=False, disable=None, bar_format="{desc} {bar} {n}/{total}"
    ) as progress:
        from harmonylib.answering.checking import check_answers
        from harmonylib.answering.manner import Manner
        from harmonylib.answering.respond import respond
        from harmonylib.arranging.arrange import arrange
        from harmonylib.arranging.checking import check
        from harmonylib.files import safe_stem
        from harmonylib.guitar.neck import Neck
        from harmonylib.score.tables import text
        from harmonylib.score.writing import write_files
        from harmonylib.tunes.bars import excerpt
        from harmonylib.tunes.reading import read

        neck = Neck(options.tuning, options.frets, options.scale, options.reach, options.capo)
        tune = read(options.tune, options.number)
        if options.bars:
            tune = excerpt(tune, options.bars)
        progress.update()
        progress.set_description("arranging", refresh=False)
        tempos = {"tempo": options.tempo, "practice_tempo": options.practice_tempo}
        arrangement = arrange(tune, neck=neck, density=options.density, key=options.key, seed=options.seed, **tempos)
        if options.answers:
            manner = Manner(options.answers, options.approached, "both", options.contour, options.swing, options.seed)
            arrangement = respond(arrangement, manner)
        faults = [*check(arrangement), *check_answers(arrangement)]
        progress.update()
        progress.set_description("engraving", refresh=False)
        stem = safe_stem(Path(options.tune).stem + (f"_{options.number}" if options.number > 1 else ""))
        files = write_files(arrangement, options.out, stem, options.paper, options.sound or "", options.once)
        progress.update()
    _say(text(arrangement))
    for remark in (*tune.remarks, *arrangement.remarks, *faults):
        _say(_plain(f"Note: {remark}"))
    _say(f"{arrangement.share:.0%} of {len(arrangement.choices)} melody notes carry a chord.")
    _say_written(files)
    _say(f"Open the course: {_plain(_python())} -m harmonylib course")
    return 0


def _practice(options: argparse.Namespace) -> int:
    from harmonylib.commands.practice import write

    track, files = write(options)
    _say(_plain(track))
    _say_written(files)
    return 0


def _survey(options: argparse.Namespace) -> int:
    from harmonylib.classroom.repertoire import survey
    from harmonylib.guitar.neck import Neck

    neck = Neck(frets=options.frets, reach_mm=options.reach)
    found = survey(options.folder, options.out, neck=neck, tempo=options.tempo, jobs=options.jobs, progress=True)
    if not found.rows:
        _say(found.text)
        raise HarmonyError(f"no tune in {options.folder!r} could be surveyed")
    files = found.write(options.out)
    _say(found.text)
    count = len(found.rows) + len(found.failures)
    _say(f"{count} tunes, {count - found.computed} of them known from before, {len(found.failures)} not surveyed.")
    _say_written(files)
    return 0


def _worksheet(options: argparse.Namespace) -> int:
    from harmonylib.classroom.sheets import read_spec
    from harmonylib.classroom.worksheets import write_worksheet

    made = read_spec(options.spec, options.seed, options.paper)
    files = write_worksheet(made, options.out, Path(options.spec).stem)
    _say(f"{made.title}: {len(made.exercises)} exercises, {made.origin}")
    _say_written(files)
    return 0


def _mark(options: argparse.Namespace) -> int:
    from harmonylib.classroom.marking import find_key, mark, read_key
    from harmonylib.classroom.marks import summary, write_marks

    key = Path(options.key) if options.key else find_key(Path(options.folder))
    marks = mark(options.folder, read_key(key, options.seed), key)
    files = write_marks(marks, options.out)
    _say(_plain(f"Marked by {key.name}: {marks.sheet.title}, {marks.sheet.origin}") + f"\n\n{summary(marks)}")
    for remark in marks.remarks:
        _say(_plain(f"Note: {remark}"))
    _say_written(files)
    return 0


def _python() -> str:
    """This Python as a person in this folder would type it."""
    here = Path(sys.executable)
    return str(here.relative_to(Path.cwd())) if here.is_relative_to(Path.cwd()) else "python"


def _course(options: argparse.Namespace) -> int:
    """The course in JupyterLab at its first chapter, or on the projector."""
    first = CHAPTERS / FIRST_CHAPTER
    if not first.is_file():
        raise HarmonyError(
            f"no chapters beside the library ({FIRST_CHAPTER} is missing): run this from a full checkout"
        )
    if options.projector:
        from harmonylib.classroom.projector import PORT, serve

        serve(
            CHAPTERS,
            dark=options.dark,
            port=PORT if options.port is None else options.port,
            browser=not options.no_browser,
        )
        return 0
    if options.dark:
        raise HarmonyError("--dark goes with --projector; JupyterLab has its own setting for dark pages")
    chapters = [str(path) for path in sorted(CHAPTERS.glob("*.ipynb"))]
    # stored pictures are hidden in a notebook that is not trusted
    subprocess.run([sys.executable, "-m", "jupyter", "trust", *chapters], check=False, stdout=subprocess.DEVNULL)
    settings = ["--LabApp.news_url=None", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    settings += ["--no-browser"] * options.no_browser + [f"--port={options.port}"] * (options.port is not None)
    return subprocess.call([sys.executable, "-m", "jupyterlab", *settings, str(first)])


if __name__ == "__main__":
    sys.exit(main())
