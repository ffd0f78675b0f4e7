"""Parts of the process window: runs, limits, edges and files."""
