"""Facts to sentences, in ship time, with the names people use: a file a subject. Nothing reads what is written here."""
