"""Parts of the record: content, fields, files, goals, results and sources."""
