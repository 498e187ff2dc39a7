"""What a teacher may write into an edit cell, right and wrong, drawn by seed; and tunes that ask for trouble."""

from __future__ import annotations

import random
from pathlib import Path

MADE = {
    "one_note": 'T:One note\nM:4/4\nL:1/4\nK:C\n"Cmaj7"e4|]',
    "no_gaps": 'T:No gaps\nM:4/4\nL:1/8\nK:F\n"Fmaj7"cdcdcdcd|"Gm7"defedefe|"C7"cdedcded|"F6"cccccccc|]',
    "only_triads": 'T:Only triads\nM:3/4\nL:1/4\nK:G\n"G"d B G|"C"e2 c|"D"d2 A|"Em"B3|"Am"c2 e|"D7"d2 c|"G"B3|]',
    "five_eight": 'T:Five eighths\nM:5/8\nL:1/8\nK:Dm\n"Dm7"d3 f2|"Gm7"g2 f3|"A7"e3 c2|"Dm6"d5|]',
    "long": "T:Two hundred bars\nM:4/4\nL:1/4\nK:Eb\n" + '"Ebmaj7"g2 b2|"Cm7"e4|"Fm7"c e d c|"Bb7"d4|\n' * 50,
    "no_chord": 'T:Silent start\nM:4/4\nL:1/4\nK:C\nz4|"N.C."c4|"N.C."d4|"Dm7"z4|"G7"z2 d2|]',
    "low": 'T:In the cellar\nM:4/4\nL:1/4\nK:C\n"C7"C,,4|"F7"F,,4|]',
    "slashes": 'T:Slashes\nM:6/8\nL:1/8\nK:A\n"A/C#"e3 c3|"D/E"d3 f3|"Bm11"e6|"E13(b9)"g6|"A6/9"e6|]',
    "pick_up": 'T:Pick-up\nM:4/4\nL:1/4\nK:Bb\nF|"Bbmaj7"d3 c|"Gm7"B4|"Cm7"G2 z2|"F7"A4|]',
    "odd_symbols": 'T:Odd symbols\nM:4/4\nL:1/4\nK:C\n"Gmn7"d4|"C°"e4|"H7"f4|"Ebaug"g4|"Dsus4"a4|]',
}

VALUES: dict[str, list[object]] = {
    "tune": [
        "slate_roof_blues",
        "tunes/slate_roof_blues.abc",
        "no such tune",
        "",
        7,
        None,
        "../x",
        "T:Broken\n",
        *MADE,
    ],
    "bars": [
        (1, 2),
        (4, 1),
        3,
        "2-3",
        (90, 99),
        "all",
        (0, 1),
        [2, 4],
        (1, 2, 3),
        (1.5, 2),
        None,
        (1, 200),
        True,
        (-3, 2),
    ],
    "key": ["", "F", "bb", "best", "Cm", "c minor", "H", "CM", "D♭", 5, None, "F# major", "gis"],
    "tempo": [40, 96, 300, 0, -5, "96", "fast", 72.5, 10_000, None, float("nan"), True],
    "density": ["every", "comfortable", "accents", "changes", "Every", "dense", 3, None],
    "chord": [
        *(
            "C",
            "Am",
            "ebm7",
            "bb7",
            "bb9",
            "C9",
            "G13",
            "C/E",
            "F#dim7",
            "Bdim",
            "Caug",
            "Dsus4",
            "c",
            "m7",
            "CM7",
            "cM7",
        ),
        *(
            "Cm(maj7)",
            "Abmaj7#5",
            "G7b5",
            "Ebm11",
            "hello",
            "",
            7,
            None,
            "F##m7",
            "Cb",
            "E6/9",
            "A7alt",
            "B#maj7",
            "N.C.",
        ),
    ],
    "spread": ["drop 2", "drop 3", "drop 2 and 4", "Drop2", "drop3", "drop 5", "close", "", 2, None],
    "strings": ["4321", "5432", "6543", "6432", "5321", "", "1234", "9", (5, 4, 3, 2), 5432, None, "6532"],
    "tuning": [
        *("standard", "dropped D", "all fourths", "open G", "seven strings", "Standard", "D2 A2 D3 G3 A3 D4", "DADGAD"),
        *("G4 C4 E4 A4", "E2 A2 D3", "e2 a2 d3 g3 b3 e4", "A1 D2 G2 C3 E3 A3", "", 6, None, "C2 G2 D3 A3 B3 E4"),
    ],
    "reach_mm": [105, 60, 45, 20, 5, 500, "wide", "90", 120.5, None, -1, 250],
    "frets": [15, 12, 22, 5, 1, 0, 99, "12", None],
    "capo": [0, 3, 7, 12, 20, -1, "2", None],
    "seed": [1, 99, "3", -4, None, 2.5, 10**9],
    "level": [1, 2, 3, 4, "2", None],
    "kinds": [("spell",), "drop", ("nonsense",), (), 3, ("spell", "mend", "shell"), None],
    "tempi": [96],
}


def write_tunes(folder: Path, shipped: Path) -> None:
    """A folder `tunes` with the course's own and the made ones."""
    tunes = folder / "tunes"
    tunes.mkdir()
    for path in shipped.iterdir():
        (tunes / path.name).write_bytes(path.read_bytes())
    for name, text in MADE.items():
        (tunes / f"{name}.abc").write_text(text, encoding="utf-8")


def drawn(seed: int, most: int = 3) -> dict[str, object]:
    """Some settings with values that may be right or wrong: the same seed, the same edit."""
    draws = random.Random(f"edit {seed}")
    names = draws.sample(sorted(VALUES), draws.randrange(1, most + 1))
    return {name: draws.choice(VALUES[name]) for name in names}
