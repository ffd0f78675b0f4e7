"""Parts of the diagnosis: what a section shows as causes move."""
