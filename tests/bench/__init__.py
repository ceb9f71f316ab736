"""Speed and memory as ratios against a baseline of the same run.

The bounds are loose, since a busy machine must not fail them: read the figures.
"""
