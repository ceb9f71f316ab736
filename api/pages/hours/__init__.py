"""The pages of running hours: the counters with what is asked about them, and hours entered by hand."""
