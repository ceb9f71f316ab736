"""The JSON API: routes and their answers, one file a subject."""
