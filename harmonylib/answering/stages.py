"""A tune in the stages in which it is taught: melody, roots, chords, answers; and the class's own settings for it.

`arrange` here is the one that chapters, panels and the command use: it knows all four stages and takes what the call
leaves open from the class's file (`harmonylib.settings`).

Source: the order of the stages is common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from harmonylib.answering.manner import Manner, check_manner
from harmonylib.answering.respond import respond as answered
from harmonylib.arranging import arrange as search
from harmonylib.arranging.arrangement import STAGES as CHORD_STAGES
from harmonylib.arranging.arrangement import Arrangement, Settings, settings_with
from harmonylib.errors import HarmonyError, expect, shown
from harmonylib.guitar.neck import Neck
from harmonylib.settings import section, takes
from harmonylib.theory.pitch import Name
from harmonylib.tunes.tune import Tune

STAGES = {**CHORD_STAGES, "answers": "block chords, and other voicings that answer between them"}
"""The ways to play a tune, each built on the one before it."""


def arrange(tune: Tune, settings: Settings | None = None, **changes: object) -> Arrangement:
    """The best block-chord arrangement of a tune, in any stage of `STAGES`.

    Settings are given whole or by name: ``arrange(tune, density="every", tempo=96)``, ``arrange(tune, stage="roots")``,
    ``arrange(tune, costs={"travel": 0.05})``. What is not given comes from the class's file, if there is one. Raises
    `HarmonyError` for a setting, key, pin or ban that cannot be followed.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E2 G2 | "Dm7"F2 A2 |]')
    >>> for stage in ("melody", "roots", "chords"):
    ...     print([str(choice.grip) for choice in arrange(tune, stage=stage).choices])
    ['xxxx5x', 'xxxx8x', 'xxxx6x', 'xxxxx5']
    ['x3xxx0', 'x3xxx3', 'x5xx6x', 'x5xxx5']
    ['x3545x', 'x7958x', 'x5756x', 'x5x565']
    """
    stage = changes.pop("stage", None)
    wanted = given(settings)
    stage = wanted.stage if stage is None else stage
    if stage not in STAGES:
        raise HarmonyError(f"{shown(stage)} is not a stage: choose {', '.join(STAGES)}")
    if stage == "answers":
        return respond(search.arrange(tune, settings_with(wanted, Settings, {**changes, "stage": "chords"})))
    return search.arrange(tune, settings_with(wanted, Settings, {**changes, "stage": stage}))


def respond(arrangement: Arrangement, manner: Manner | None = None, **changes: object) -> Arrangement:
    """The arrangement with its gaps answered; see `harmonylib.answering.respond`.

    What is not given comes from the class's file, if there is one.
    """
    return answered(arrangement, _made(Manner, section("answers")) if manner is None else manner, **changes)


def stages(tune: Tune, **changes: object) -> dict[str, Arrangement]:
    """The tune in all stages, one after the other: melody, roots, chords, answers.

    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E4 | "Dm7"F2 z2 |]')
    >>> [(name, len(made.answers)) for name, made in stages(tune).items()]
    [('melody', 0), ('roots', 0), ('chords', 0), ('answers', 2)]
    """
    return {stage: arrange(tune, None, **{**changes, "stage": stage}) for stage in STAGES}


def given(settings: Settings | None = None) -> Settings:
    """The settings themselves, or those of the class's file."""
    if settings is not None:
        return settings
    made: Settings = _made(Settings, section("arrange"))
    return replace(made, neck=Neck(**section("neck")))


def _made(kind: type[Any], held: Mapping[str, Any]) -> Any:
    return kind(**{key: tuple(value) if isinstance(value, list) else value for key, value in held.items()})


def _of_any_tune(kind: type[Any], *others: str) -> dict[str, Any]:
    """What the file may hold of settings: all with what the course ships, but those that name notes of one tune."""
    made = kind()
    return {item.name: getattr(made, item.name) for item in fields(kind) if item.name not in others}


def _check_taste(held: dict[str, Any]) -> None:
    stage, key = held.get("stage", "chords"), expect(str, held.get("key", "best"), "a key, as in 'Eb', or 'best'")
    if stage not in list(STAGES):
        raise HarmonyError(f"{shown(stage)} is not a stage: choose {', '.join(STAGES)}")
    if key != "best":
        Name.parse(key)  # of no mode: it is for tunes in major and in minor
    search.check_settings(_made(Settings, {**held, "stage": "chords"}))


takes("arrange", _of_any_tune(Settings, "neck", "pins", "bans"), _check_taste)
takes("answers", _of_any_tune(Manner, "keep", "bans"), lambda held: check_manner(_made(Manner, held)))
