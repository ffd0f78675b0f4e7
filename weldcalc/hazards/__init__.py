"""Parts of safety: eye exposure, laser hazard distances, oxygen in the room."""
