"""Changes by hand that each break a rule, and the tests that would notice. `python -m tests.mutants` tries them."""
