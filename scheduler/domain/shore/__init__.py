"""Ship to shore: what a ship changed, numbered and chained, and how it travels."""
