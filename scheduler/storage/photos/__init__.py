"""Photos as files beside the database, and what a picture may be."""
