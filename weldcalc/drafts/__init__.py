"""Parts of drafting: options, search, heat, proof and what binds."""
