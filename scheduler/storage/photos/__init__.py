"""Photos as files beside an SQLite database or as rows of a PostgreSQL one, and what a picture may be."""
