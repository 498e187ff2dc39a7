"""The teacher's week: sheets, marking, the repertoire by difficulty, the projector."""
