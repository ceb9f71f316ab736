"""The office's side of ship to shore."""
