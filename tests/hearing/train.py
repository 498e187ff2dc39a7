"""Rebuild `harmonylib/hearing/weights.json`: ``python -m tests.hearing.train``.

Needs fluidsynth and the Debian package fluid-soundfont-gm. Trains on the project's own strings, on strings added up
partial by partial and on that soundfont's guitars; never on what the tests play. Thresholds are chosen by the same and
by further strings that trained nothing; the margins from which a fault is named by those alone; all of it on roots that
neither train nor test.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator

import numpy as np

from harmonylib.hearing import ear, verdicts
from harmonylib.hearing.partials import LOWEST, features
from harmonylib.hearing.questions import question
from harmonylib.hearing.spectra import HEARD, onset, spectra
from tests.hearing import material
from tests.hearing.material import GUITARS, KINDS, Asked, Note
from tests.hearing.measure import rightly_named

HIDDEN, ROUNDS, BATCH, RATE, DECAY = 16, 24, 512, 4e-3, 1e-5
MIX = {
    "right": 4,
    "semitone": 2,
    "family": 1,
    "inversion": 2,
    "missing": 3,
    "octave": 3,
    "single": 1,
    "extra": 3,
    "nothing": 1,
}
LIMITS = {
    "right": 0.01,
    "semitone": 0.007,
    "family": 0.007,
    "inversion": 0.014,
    "missing": 0.03,
    "nothing": 0.007,
    "extra": 0.1,
}
SEED, CHOOSING = 20_250, 2_250
BODIES = 12
NEW_BODIES = (100, 124)
"""Guitars, added up partial by partial, that choose the thresholds."""
NAMED_RIGHTLY, LEAST_NAMED = 0.97, 20

Guitar = Callable[[np.random.Generator], Note]
KindOf = Callable[[int, np.random.Generator], str]
Take = tuple[str, Asked, tuple[float, ...], np.ndarray]
Judged = tuple[str, tuple[int, ...], tuple[float, ...], ear.Heard]


def instrument(chance: np.random.Generator) -> Note:
    """One of the guitars that train."""
    kind = chance.choice(["font", "partials", "strings"], p=[0.5, 0.4, 0.1])
    if kind == "font":
        return material.of_font("FluidR3_GM", str(chance.choice(list(GUITARS))))
    return material.of_partials(int(chance.integers(BODIES))) if kind == "partials" else material.of_strings


def new_instrument(chance: np.random.Generator) -> Note:
    """One of the guitars that choose the thresholds."""
    return material.of_partials(int(chance.integers(*NEW_BODIES)))


def mixed(_: int, chance: np.random.Generator) -> str:
    """A kind of take by its share in what trains."""
    return str(chance.choice([kind for kind, share in MIX.items() for _ in range(share)]))


def alike(number: int, _: np.random.Generator) -> str:
    """The kinds in turn, all but a string off tune."""
    return KINDS[number % len(MIX)]


def off_tune(*_: object) -> str:
    return "off tune"


def takes(count: int, roots: tuple[int, ...], guitar: Guitar, kind_of: KindOf, seed: int) -> Iterator[Take]:
    """Takes: the kind, what was asked, what sounds, and the samples."""
    chance = np.random.default_rng(seed)
    grips = material.grips_on(roots)
    for number in range(count):
        one, kind = grips[int(chance.integers(len(grips)))], kind_of(number, chance)
        played = material.performed(one, kind, chance)
        before = grips[int(chance.integers(len(grips)))].midi if chance.random() < 0.5 else ()
        level = float(chance.choice([30, 20, 20, 10]))
        yield kind, one, played, material.recorded_take(played, guitar(chance), level, chance, before)


def gathered(count: int, roots: tuple[int, ...], guitar: Guitar, kind_of: KindOf, seed: int) -> list[tuple]:
    """Features of takes: kind, asked and played notes, rows, which can be judged, the onset's strength, detuning."""
    made = []
    for number, (kind, one, played, samples) in enumerate(takes(count, roots, guitar, kind_of, seed)):
        start, strength = onset(samples)
        chance = np.random.default_rng([seed, number])
        asked = one.midi
        if roots == material.TO_TRAIN and kind == "right" and chance.random() < 0.15:  # shells: two or three notes
            left = sorted(chance.choice(4, int(chance.integers(2, 4)), replace=False))
            asked = tuple(one.midi[n] for n in left)
        both = spectra(samples, start)
        rows, judged, cents = features(*both, asked)
        made.append((kind if asked == one.midi else "shell", asked, played, rows, judged, strength, cents, both[0]))
    return made


def fitted(rows: np.ndarray, sounds: np.ndarray, weight: np.ndarray, seed: int) -> dict:
    """A network with one hidden row, fitted by Adam to the cross entropy."""
    chance = np.random.default_rng(seed)
    mean, scale = rows.mean(axis=0), rows.std(axis=0) + 1e-3
    given = (rows - mean) / scale
    values = [
        chance.normal(0, 0.2, (rows.shape[1], HIDDEN)),
        np.zeros(HIDDEN),
        chance.normal(0, 0.2, HIDDEN),
        np.zeros(1),
    ]
    first, second, step = [0 * v for v in values], [0 * v for v in values], 0
    total = ROUNDS * (len(given) // BATCH)
    for _ in range(ROUNDS):
        order = chance.permutation(len(given))
        for at in range(0, len(order) - BATCH + 1, BATCH):
            pick = order[at : at + BATCH]
            x, y, importance = given[pick], sounds[pick], weight[pick]
            w1, b1, w2, b2 = values
            hidden = np.tanh(x @ w1 + b1)
            error = importance * (1 / (1 + np.exp(-np.clip(hidden @ w2 + b2, -30, 30))) - y) / BATCH
            back = np.outer(error, w2) * (1 - hidden**2)
            slopes = [
                x.T @ back + DECAY * w1,
                back.sum(axis=0),
                hidden.T @ error + DECAY * w2,
                error.sum(keepdims=True),
            ]
            step += 1
            pace = RATE * 0.5 * (1 + np.cos(np.pi * step / total))
            for n, slope in enumerate(slopes):
                first[n] = 0.9 * first[n] + 0.1 * slope
                second[n] = 0.999 * second[n] + 0.001 * slope**2
                move = first[n] / (1 - 0.9**step) / (np.sqrt(second[n] / (1 - 0.999**step)) + 1e-8)
                values[n] = values[n] - pace * move
    w1, b1, w2, b2 = (np.round(v, 4) for v in values)
    return {
        **{"mean": np.round(mean, 4).tolist(), "scale": np.round(scale, 4).tolist()},
        **{"w1": w1.tolist(), "b1": b1.tolist(), "w2": w2.tolist(), "b2": float(b2[0])},
    }


def examples(made: list[tuple]) -> tuple[tuple, tuple]:
    """Rows, truth and weight for the asked and for the foreign notes."""
    parts: dict[bool, list] = {True: [], False: []}
    for kind, asked, played, rows, judged, strength, *_ in made:
        if strength < HEARD or kind == "shell":
            continue
        notes = np.arange(LOWEST, LOWEST + len(rows))
        wanted, sounds = np.isin(notes, asked), np.isin(notes, played)
        near = np.isin(notes, [n + d for n in asked for d in (-2, -1, 1, 2, 12, -12)])
        for own in (True, False):
            pick = judged & (wanted == own)
            importance = np.where(sounds & ~wanted, 3.0, np.where(near, 1.5, 1.0))
            parts[own].append((rows[pick], sounds[pick].astype(float), importance[pick]))
    joined = {own: tuple(np.concatenate(column) for column in zip(*part, strict=True)) for own, part in parts.items()}
    return joined[True], joined[False]


def heard_to_miss(asked: tuple[int, ...], played: tuple[float, ...]) -> bool:
    """Whether the note that is gone is no twelfth over another one: such a note cannot be heard to miss."""
    return min(set(asked) - set(played)) - material.TWELFTH not in asked


def heard(made: list[tuple], table: dict) -> list[Judged]:
    """What the ear makes of takes by a table: kind, asked and played notes, and the scores."""
    found = []
    for kind, asked, played, rows, judged, strength, cents, long_ in made:
        notes = np.arange(LOWEST, LOWEST + len(rows))
        own, other = (
            {int(n): float(s) for n, s in zip(notes[pick], ear.scored(rows[pick], table[name]), strict=True)}
            for name, pick in (("asked", judged & np.isin(notes, asked)), ("foreign", judged & ~np.isin(notes, asked)))
        )
        found.append((kind, asked, played, ear.Heard(0, strength, cents, long_, own, other)))
    return found


def margins(chosen: list[Judged]) -> dict[str, np.ndarray]:
    """For each kind, the weakest asked and the strongest foreign score of every take."""
    found: dict[str, list] = {kind: [] for kind in MIX}
    for kind, asked, played, one in chosen:
        if kind == "missing" and not heard_to_miss(asked, played):
            continue
        sounds = (min(one.asked.values()), max(one.foreign.values()))
        found[kind].append(sounds if one.sounded else (-99.0, 99.0))
    return {kind: np.array(pairs).reshape(-1, 2) for kind, pairs in found.items()}


def thresholds(pairs: dict[str, np.ndarray]) -> tuple[float, float]:
    """The pair of thresholds that strays least from what is wanted, each kind measured by its own limit."""

    def cost(low: float, high: float) -> float:
        off = {kind: float(np.mean((p[:, 0] > low) & (p[:, 1] < high))) for kind, p in pairs.items() if len(p)}
        off["right"] = 1 - off["right"]
        return sum((off[kind] / limit) * (3 if kind == "right" else 1) for kind, limit in LIMITS.items() if kind in off)

    steps = np.arange(-4, 4.01, 0.1)
    return min(((low, high) for low in steps for high in steps), key=lambda both: cost(*both))


def naming(chosen: list[Judged], limits: dict[str, float]) -> dict[str, float]:
    """For each kind of fault, by how much it must lead to be named rightly in 97 % of these takes."""
    said: dict[str, list[tuple[float, bool]]] = {}
    for played_kind, asked, played, one in chosen:
        accepted = min(one.asked.values()) > limits["asked"] and max(one.foreign.values()) < limits["foreign"]
        if accepted or not one.sounded:
            continue
        kind, text, lead = verdicts.fault(one, question(asked), limits)
        if text:
            said.setdefault(kind, []).append((lead, rightly_named(kind, text, question(asked), played, played_kind)))
    found = {}
    for kind, pairs in sorted(said.items()):
        for limit in np.arange(0, 15, 0.25):
            right = [truth for lead, truth in pairs if lead >= limit]
            if len(right) >= LEAST_NAMED and np.mean(right) >= NAMED_RIGHTLY:
                found[kind] = float(limit)
                print(f"named {kind} from {limit}: {sum(right)}/{len(right)} of {len(pairs)}")
                break
        else:
            print(f"{kind} is never named")
    return found


def chosen(known: list[Judged], new: list[Judged], bent: list[Judged]) -> dict[str, dict[str, float]]:
    """Thresholds from guitars that trained and others that did not, and margins for naming from the others alone."""
    pairs = margins(known + new)
    low, high = thresholds(pairs)
    for kind, p in pairs.items():
        print(kind, len(p), round(100 * float(np.mean((p[:, 0] > low) & (p[:, 1] < high))), 1))
    accept = {"asked": round(float(low), 2), "foreign": round(float(high), 2)}
    return {"accept": accept, "named": naming(new + bent, accept)}


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--takes", type=int, default=4_000)
    count = reader.parse_args().takes
    own, other = examples(gathered(count, material.TO_TRAIN, instrument, mixed, SEED))
    table = {"asked": fitted(*own, SEED), "foreign": fitted(*other, SEED + 1)}
    known = heard(gathered(CHOOSING, material.TO_CHOOSE, instrument, alike, 11), table)
    new = heard(gathered(CHOOSING, material.TO_CHOOSE, new_instrument, alike, 12), table)
    bent = heard(gathered(CHOOSING // len(MIX), material.TO_CHOOSE, new_instrument, off_tune, 16), table)
    table |= chosen(known, new, bent)
    table["made"] = (
        f"{count} takes of the project's own strings, of strings added up partial by partial and of the guitars 24 to "
        f"27 of FluidR3_GM, grips on roots {material.TO_TRAIN}, seed {SEED}; thresholds from {CHOOSING} takes of "
        f"these and {CHOOSING} of strings that trained nothing, grips on roots {material.TO_CHOOSE}; margins for "
        f"naming from the latter and {len(bent)} with a string off tune, rightly in {NAMED_RIGHTLY:.0%}"
    )
    ear.TABLE.write_text(json.dumps(table, separators=(",", ":"), ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
