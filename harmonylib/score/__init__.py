"""An arrangement written out: MusicXML, engraved pages, PDF, MIDI, tables."""
