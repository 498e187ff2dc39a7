"""Standard tuning, sounding, string 6 → 1 (common practice): pitch, MIDI 1.0 number, Hz by ISO 16:1975."""

OPEN_STRINGS = (
    ("E2", 40, 82.41),
    ("A2", 45, 110.00),
    ("D3", 50, 146.83),
    ("G3", 55, 196.00),
    ("B3", 59, 246.94),
    ("E4", 64, 329.63),
)
OPEN_MIDI = tuple(midi for _, midi, _ in OPEN_STRINGS)
