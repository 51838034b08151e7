"""Named teeth to crank angle, and cam edges to angles over the cycle."""
