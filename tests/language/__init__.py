"""The catalogues of the pages' languages: made anew from the sources, held complete."""
