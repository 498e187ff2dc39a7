"""Hand-outs for the music stand: shapes, cycles, scales, and tunes with diagrams over the bars."""
