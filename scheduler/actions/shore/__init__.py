"""Ship to shore: what the ship sends, and what the office does with it."""
