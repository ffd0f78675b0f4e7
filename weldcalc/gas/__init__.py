"""Parts of shielding: purging and the cover of hot metal."""
