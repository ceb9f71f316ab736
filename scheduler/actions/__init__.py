"""What a person, a counter or a timer can do: load once, compute, save once. HTTP, command line and timers call these."""
