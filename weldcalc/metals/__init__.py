"""Parts of the materials: their files, their curves and the model of a metal."""
