"""What a chord is: spelled pitches, families, the reader of symbols, spread voicings, the diminished sevenths."""
