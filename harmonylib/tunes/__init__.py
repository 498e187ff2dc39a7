"""A melody over its changes: bars and the felt beat, the test of each note, reading MusicXML and ABC."""
