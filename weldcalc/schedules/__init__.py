"""Parts of the schedule: its tables, how they are read, written and checked."""
