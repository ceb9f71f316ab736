"""One file a step, named v0001_words.py. A step that was released is never edited."""
