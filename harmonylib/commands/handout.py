"""``python -m harmonylib handout``: diagrams and tunes for the music stand."""

from __future__ import annotations

import argparse
from typing import Any

from harmonylib.commands.terminal import Commands, plain_line, say, say_written
from harmonylib.errors import HarmonyError


def describe(commands: Commands) -> None:
    """Add the command and its arguments."""
    from harmonylib.answering.stages import STAGES
    from harmonylib.classroom.handouts.kinds import KINDS
    from harmonylib.classroom.handouts.setting import FORMATS
    from harmonylib.pictures.look import LABELS, PAPERS, SIZES

    sheet = commands.add_parser(
        "handout",
        help="print diagrams for the music stand: shapes, cycles, scales, a tune in its stages, its fills",
        description="Write a hand-out as PDF, SVG and PNG. " + "; ".join(f"{k}: {told}" for k, told in KINDS.items()),
    )
    sheet.add_argument("kind", metavar="KIND", choices=tuple(KINDS), help=f"one of {', '.join(KINDS)}")
    sheet.add_argument("what", metavar="WHAT", nargs="*", help="families, as in maj7 m7b5; a chord; a root; a file")
    sheet.add_argument("--root", metavar="NOTE", help="root of the shapes (default: C)")
    sheet.add_argument("--spread", metavar="NAME", help="spread of a family through twelve roots (default: drop 2)")
    sheet.add_argument(
        "--stages", metavar="WHICH", help=f"stages of a tune, as in melody,chords (of {', '.join(STAGES)})"
    )
    sheet.add_argument("--number", metavar="N", type=int, help="which tune of an ABC book (default: 1)")
    sheet.add_argument("--bars", metavar="WHICH", help="these bars of a tune only: a section, as in B, or as in 5-8")
    sheet.add_argument("--tempo", metavar="BPM", type=float, help="quarter notes a minute (default: the tune's own)")
    sheet.add_argument("--key", help="move the tune to a key, as in F or Cm")
    sheet.add_argument("--out", metavar="DIR", default=".", help="folder for the files (default: this one)")
    sheet.add_argument("--formats", metavar="WHICH", default=",".join(FORMATS), help="as in pdf,png (default: all)")
    sheet.add_argument("--paper", choices=PAPERS, help=f"paper of the PDF (default: the class's, or {PAPERS[0]})")
    sheet.add_argument("--size", metavar="PT", type=int, choices=SIZES, help="points of the words: 12, 14, 18 large")
    sheet.add_argument("--label", choices=LABELS, help="what the marks of the shapes say (default: degree)")
    sheet.add_argument(
        "--lying", dest="upright", action="store_false", default=None, help="diagrams with the nut aside"
    )
    sheet.add_argument("--grey", dest="colour", action="store_false", default=None, help="black and white")
    sheet.add_argument("--left-handed", action="store_true", default=None, help="diagrams for a left-handed player")
    sheet.set_defaults(run=_run)


def _run(options: argparse.Namespace) -> int:
    from harmonylib.classroom.handouts.kinds import OPTIONS, handout
    from harmonylib.pictures.look import LOOKS
    from harmonylib.tunes.bars import excerpt
    from harmonylib.tunes.reading import read

    what: Any = options.what if options.kind == "shapes" else " ".join(options.what)
    given = {name: getattr(options, name) for name in (*LOOKS, "left_handed") if getattr(options, name) is not None}
    of_tune = ("number", "bars", "tempo", "key") if options.kind in ("tune", "fills") else ()
    for name in ("root", "spread", "stages", "number", "bars", "tempo", "key"):
        value = getattr(options, name)
        if value is None:
            continue
        if name not in (*OPTIONS[options.kind], *of_tune):
            raise HarmonyError(f"--{name} does not go with a hand-out of {options.kind!r}")
        if name not in ("number", "bars"):
            given[name] = value.split(",") if name == "stages" else value
    if what and of_tune:
        what = read(what, 1 if options.number is None else options.number)
        what = excerpt(what, options.bars) if options.bars else what
    made = handout(options.kind, what or None, **given)
    files = made.write(options.out, formats=options.formats.split(","))
    say(plain_line(made.text))
    say_written(files)
    return 0
