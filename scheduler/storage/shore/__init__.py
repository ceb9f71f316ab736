"""Ship to shore, as stored on both sides."""
