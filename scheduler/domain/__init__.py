"""Pure values and functions: no SQL, clock, files, environment, random, logging or network."""
