"""Block chords for a tune: what is sound, what it costs, the candidates, and the cheapest chain of grips."""
