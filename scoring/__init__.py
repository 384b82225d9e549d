"""From a grid to a proven tally. Pure: no image, no clock, no network; importable alone."""
