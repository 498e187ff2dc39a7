"""The command ``practice``: a track to practise a tune with, written as MP3 or WAV.

The grips are those for the fastest tempo, so that they serve at all of them; taste, neck and hand come from the class's
file, if there is one.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from harmonylib.commands.terminal import Commands, plain_line, say, say_written, told


def describe(commands: Commands) -> None:
    from harmonylib.answering.stages import STAGES
    from harmonylib.score.writing import SOUNDS
    from harmonylib.sound.practice import CLICKS, STEP

    practice = commands.add_parser(
        "practice",
        help="write a track to practise with, faster each time",
        description="Read a lead sheet (MusicXML or ABC) and write a track to practise with: counted in, clicked, the "
        "same grips again and again, a little faster each time.",
    )
    practice.add_argument("tune", metavar="TUNE", help="a .musicxml, .xml, .mxl or .abc file with chord symbols")
    practice.add_argument("--out", metavar="DIR", default=".", help="folder for the file (default: this one)")
    practice.add_argument("--number", metavar="N", type=int, default=1, help="which tune of an ABC book (default: 1)")
    practice.add_argument(
        "--bars", metavar="WHICH", help="these bars only: a section, as in B, or numbers, as in 1-8 (default: the form)"
    )
    practice.add_argument(
        "--stage",
        choices=tuple(STAGES),
        metavar="WHICH",
        help="what is played (default: the class's, or chords). " + "; ".join(f"{s}: {r}" for s, r in STAGES.items()),
    )
    tempo = "quarter notes a minute"
    practice.add_argument("--from", dest="slowest", metavar="BPM", type=float, help=f"{tempo} at first (default: half)")
    practice.add_argument("--to", metavar="BPM", type=float, help=f"{tempo} at last (default: the tune's own)")
    practice.add_argument("--step", metavar="BPM", type=float, default=STEP, help=f"faster by so much ({STEP:g})")
    practice.add_argument("--times", metavar="N", type=int, default=1, help="times at each tempo (default: 1)")
    practice.add_argument("--count-in", metavar="BARS", type=int, default=1, help="bars counted in at each tempo (1)")
    practice.add_argument("--rest", metavar="BARS", type=int, default=0, help="bars between the times (default: none)")
    practice.add_argument(
        "--click",
        choices=tuple(CLICKS),
        default="beats",
        metavar="WHICH",
        help="; ".join(f"{name}: {what}" for name, what in CLICKS.items()) + " (default: beats)",
    )
    practice.add_argument("--bass", action="store_true", help="a bass plays the roots under it")
    practice.add_argument("--swing", metavar="SHARE", type=float, default=0.5, help="first eighth's share of the beat")
    practice.add_argument("--sound", choices=SOUNDS, default="mp3", help="kind of file (default: mp3)")
    practice.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    from harmonylib.answering.stages import arrange
    from harmonylib.files import safe_stem, write_together
    from harmonylib.sound.listening import CAUTION
    from harmonylib.sound.practice import practice_track
    from harmonylib.sound.rendering import mp3, wav
    from harmonylib.tunes.reading import read

    tune = read(options.tune, options.number)
    arrangement = arrange(tune, None, **told({"tempo": options.to, "stage": options.stage}))
    track = practice_track(
        arrangement,
        options.slowest,
        options.to,
        options.step,
        options.times,
        options.bars,
        count_in=options.count_in,
        rest=options.rest,
        click=options.click,
        bass=options.bass,
        swing=options.swing,
    )
    stem = safe_stem(Path(options.tune).stem + (f"_{options.number}" if options.number > 1 else ""))
    sound = {"wav": wav, "mp3": mp3}[options.sound](track.samples)
    files = write_together({f"{stem}_practice.{options.sound}": sound}, options.out)
    for line in (*(f"Note: {remark}" for remark in (*tune.remarks, *arrangement.remarks)), str(track), CAUTION):
        say(plain_line(line))
    say_written(files)
    return 0
