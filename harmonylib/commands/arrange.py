"""``python -m harmonylib arrange``: a lead sheet goes in, a playable arrangement comes out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from harmonylib.commands.terminal import (
    Commands,
    asked_neck,
    hand_options,
    plain_line,
    python_name,
    say,
    say_written,
    told,
)
from harmonylib.errors import HarmonyError
from harmonylib.settings import section


def describe(commands: Commands) -> None:
    from harmonylib.arranging.density import DENSITIES
    from harmonylib.guitar.neck import LONG_SCALE, TUNINGS
    from harmonylib.pictures.look import PAPERS
    from harmonylib.score.writing import SOUNDS

    arrange = commands.add_parser(
        "arrange",
        help="turn a lead sheet into a block-chord arrangement",
        description="Read a lead sheet (MusicXML or ABC), arrange it in block chords and write it as MusicXML, MIDI, "
        "PDF and CSV; print every note with its grip and the reason for it.",
    )
    arrange.add_argument(
        "tune", metavar="TUNE", nargs="?", help="a .musicxml, .xml, .mxl or .abc file with chord symbols (the demo's)"
    )
    arrange.add_argument("--out", metavar="DIR", default=".", help="folder for the four files (default: this one)")
    arrange.add_argument("--number", metavar="N", type=int, default=1, help="which tune of an ABC book (default: 1)")
    arrange.add_argument(
        "--bars", metavar="WHICH", help="arrange these bars only: a section, as in B, or numbers, as in 5-8"
    )
    arrange.add_argument(
        "--density",
        choices=tuple(DENSITIES),
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
    _taste_options(arrange)
    hand_options(arrange)
    arrange.add_argument("--scale", metavar="MM", type=float, help=f"string length ({LONG_SCALE:.0f} mm)")
    arrange.add_argument("--capo", metavar="FRET", type=int, help="fret the capo stands at (default: none)")
    arrange.add_argument(
        "--tuning",
        help=f"one of {', '.join(TUNINGS)}; or pitches from the lowest: 'D2 A2 D3 G3 B3 E4'",
    )
    arrange.add_argument("--paper", choices=PAPERS, default="", help="paper of the PDF (default: the class's, or a4)")
    arrange.add_argument("--reasons", action="store_true", help="print the reason for every grip in the PDF too")
    arrange.add_argument("--sound", choices=SOUNDS, help="write what it sounds like too")
    arrange.add_argument(
        "--once", action="store_true", help="MIDI and sound play every bar once, as written, and no repeats"
    )
    arrange.add_argument(
        "--seed", metavar="N", type=int, default=0, help="picks among equally good grips, and draws the answers"
    )
    _answer_options(arrange)
    arrange.set_defaults(run=run)


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
        help=f"share of answers approached by a fret ({Manner.approached})",
    )
    answers.add_argument("--contour", choices=(*CONTOURS, "any"), help="how the answers' top line goes (any)")
    answers.add_argument(
        "--swing", action="store_const", const=True, help="off-beat answers on the last third of the beat"
    )
    answers.add_argument(
        "--breath", metavar="BEATS", type=float, help=f"beats left free before the next call ({Manner.breath})"
    )
    answers.add_argument(
        "--rhythms", metavar="N", type=int, help=f"how many rhythms a chorus lives on ({Manner.rhythms})"
    )
    answers.add_argument(
        "--answer-cost", metavar="NAME=VALUE", action="append", help="a weight of the answers by value, as in cover=3"
    )


def _taste_options(arrange: argparse.ArgumentParser) -> None:
    """Stage, hand, weights and what foreign notes get; what is not said comes from the class's file."""
    from harmonylib.answering.stages import STAGES
    from harmonylib.arranging.costs import HANDS
    from harmonylib.arranging.harmony import FOREIGN

    taste = arrange.add_argument_group("taste", "what is not said here comes from class.toml, if there is one")
    stages = "; ".join(f"{name}: {what}" for name, what in STAGES.items())
    taste.add_argument("--stage", choices=tuple(STAGES), metavar="WHICH", help=f"how far it is taken. {stages}")
    ways = "; ".join(f"{name}: {what}" for name, what in FOREIGN.items())
    taste.add_argument("--foreign", choices=tuple(FOREIGN), metavar="WAY", help=f"foreign notes. {ways}")
    hands = "; ".join(f"{name}: {what}" for name, (what, _) in HANDS.items())
    taste.add_argument("--hand", choices=tuple(HANDS), metavar="WHICH", help=f"how the hand plays. {hands}")
    taste.add_argument(
        "--cost", action="append", metavar="NAME=VALUE", default=[], help="a weight by value, as in travel=0.05"
    )
    taste.add_argument(
        "--not-alike", action="store_true", help="play bars that come again as is cheapest in each place"
    )


def _asked(options: argparse.Namespace) -> dict[str, Any]:
    """The settings that the command names; those it does not are left to the class's file."""
    from harmonylib.answering.stages import given

    asked = {"density": options.density, "tempo": options.tempo, "key": options.key, "foreign": options.foreign}
    asked |= {"hand": options.hand, "stage": "chords" if options.stage == "answers" else options.stage}
    asked |= {"seed": options.seed or None, "practice_tempo": options.practice_tempo}
    asked["alike"] = False if options.not_alike else None
    found: dict[str, Any] = told(asked) | {"neck": asked_neck(options)}
    if options.cost:
        found["costs"] = {**given().costs, **dict(_weight(text, "--cost") for text in options.cost)}
    return found


def _manner(options: argparse.Namespace) -> dict[str, Any]:
    """How the options ask the answers to be; what they leave open is left to the class's file."""
    names = ("approached", "contour", "swing", "breath", "rhythms")
    asked = {"share": options.answers or None, "seed": options.seed or None}
    asked |= {name: getattr(options, name) for name in names}
    if options.answer_cost:
        own = dict(_weight(text, "--answer-cost") for text in options.answer_cost)
        asked["costs"] = {**section("answers").get("costs", {}), **own}
    return told(asked)


def _weight(text: str, option: str) -> tuple[str, float]:
    """A weight as the command line has it."""
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise HarmonyError(f"{option} {text!r}: write a name and a number, as in travel=0.05") from None


def run(options: argparse.Namespace) -> int:
    from tqdm import tqdm

    with tqdm(
        total=3, desc="reading", delay=1, leave=False, disable=None, bar_format="{desc} {bar} {n}/{total}"
    ) as progress:
        from harmonylib.answering.checking import check_answers
        from harmonylib.answering.stages import arrange, respond
        from harmonylib.arranging.checking import check
        from harmonylib.classroom.shipped import demo_tune
        from harmonylib.files import safe_stem
        from harmonylib.score.tables import text
        from harmonylib.score.writing import write_files
        from harmonylib.tunes.bars import excerpt
        from harmonylib.tunes.reading import read

        path = Path(options.tune) if options.tune is not None else demo_tune()
        tune = read(path, options.number)
        if options.bars:
            tune = excerpt(tune, options.bars)
        progress.update()
        progress.set_description("arranging", refresh=False)
        arrangement = arrange(tune, None, **_asked(options))
        if options.answers or options.stage == "answers":
            arrangement = respond(arrangement, **_manner(options))
        faults = [*check(arrangement), *check_answers(arrangement)]
        progress.update()
        progress.set_description("engraving", refresh=False)
        stem = safe_stem(path.stem + (f"_{options.number}" if options.number > 1 else ""))
        files = write_files(
            arrangement, options.out, stem, options.paper, options.sound or "", options.once, options.reasons
        )
        progress.update()
    say(text(arrangement))
    for remark in (*tune.remarks, *arrangement.remarks, *faults):
        say(plain_line(f"Note: {remark}"))
    say(f"{arrangement.share:.0%} of {len(arrangement.choices)} melody notes carry a chord.")
    say_written(files)
    say(f"Open the course: {plain_line(python_name())} -m harmonylib course")
    return 0
