"""What a pass does: its pulse, spread, seam and taper, and what to look at."""
