"""Recipe and track facts to the plan of a clip: pure decisions, no audio and no files."""
