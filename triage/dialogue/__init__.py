"""The pure engine: events, their fold, judging a reading, ranking causes, gate, recommendation."""
