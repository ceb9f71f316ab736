"""Pure planning: a frozen problem in, a plan with its certificate out, and a judge that does not know the builder."""
