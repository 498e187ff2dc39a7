"""Any text as a chord symbol: a chord that reads back, or a refusal that quotes the text; nothing else."""

from hypothesis import given
from hypothesis import strategies as st

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from tests.fuzz.strategies import heaps, mutated_symbols, quick

QUOTED_AT_MOST = 40


def read_or_refused(symbol: str) -> Chord | None:
    """The chord, after checking that it reads back and that block chords can hold what it asks for."""
    try:
        chord = Chord.parse(symbol)
    except HarmonyError as error:
        shown = symbol if len(symbol) <= QUOTED_AT_MOST else symbol[: QUOTED_AT_MOST - 1] + "…"
        assert str(error).startswith(f"{shown!r} is not a chord symbol: ")  # noqa: PT017  only refused ones have one
        assert "\n" not in str(error)  # noqa: PT017
        return None
    assert Chord.parse(chord.symbol) == chord
    assert Chord.parse(chord.symbol.replace("♭", "b").replace("♯", "#")) == chord
    for stack in chord.stacks:
        assert len({chord.pitch_class_of(degree) for degree in stack}) == len(stack) == 4
    for extension in chord.extensions:
        assert any(extension in stack for stack in chord.stacks)
    assert set(chord.tones) == {chord.pitch_class_of(degree) for stack in chord.stacks for degree in stack}
    return chord


@quick
@given(st.text(max_size=60))
def test_any_text_is_refused_with_a_quotation_or_reads_back(text):
    read_or_refused(text)


@quick
@given(heaps)
def test_any_heap_of_tokens_is_refused_or_reads_back(symbol):
    read_or_refused(symbol)


@quick
@given(mutated_symbols())
def test_any_symbol_with_slips_of_the_pen_is_refused_or_reads_back(symbol):
    read_or_refused(symbol)
