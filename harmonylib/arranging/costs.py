"""Harmonising a tune: candidates for every note, what a chain of grips costs the hand, and the cheapest chain.

A tune is a row of columns, one a note; each column lists the grips that put the melody note on top (or, where no chord
fits, the places of a single note). A chain picks one grip a column. The cheapest chain is a shortest path through the
columns, found exactly by dynamic programming: the best way to reach a grip is the best way to reach some grip of the
column before, plus one step.

Conventions
- Costs are pure numbers that add up; the tables below give each weight and what it stands for. They are settings of
  taste (common practice), not measurements.
- Positions and travel are millimetres along the neck, times are seconds, tempo is quarter notes a minute.
- Notes are counted from 0 in the order of the tune.

`check` tells whether an arrangement is sound; it shares no code with the search.
"""

from __future__ import annotations

GRIP_COSTS = {
    # what             weight  a grip pays it for …
    "stretch": 0.04,  # ...... each millimetre of stretch beyond COMFORT_MM
    "open string": 2.0,  # ... each open string: it cannot be damped or slid by the hand that holds the chord
    "skipped string": 0.8,  #  each string inside the grip that must be damped
    "high fret": 0.6,  # ..... each fret its highest note lies beyond COMFORT_FRET, where the body is in the way
    "minor ninth": 1.5,  # ... an inner voice a minor ninth (or a semitone) under the melody: it grinds
    "left out": 1.0,  # ...... a form that leaves out extensions the symbol asks for
    "single": 1000.0,  # ..... a single note where a chord was wanted: only when no hand gets there
}


STEP_COSTS = {
    # what             weight  a step from grip to grip pays it for …
    "travel": 0.06,  # ....... each millimetre the hand moves along the neck
    "voices": 0.2,  # ........ each semitone that each lower voice moves
    "string set": 1.5,  # .... a change of strings
}


COMFORT_MM, COMFORT_FRET = 70.0, 12


TRAVEL_MM_S = 800.0  # the fastest the hand travels to a chord (common practice)


SHIFT_MM = 40.0  # a move this small needs no time of its own
