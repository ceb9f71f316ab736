"""The commands, one file a subject; heavy imports stay inside each, so that help answers at once."""
