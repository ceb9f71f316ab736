"""Work on a pump: acts as they are told, the state they give, and what stands against an act."""
