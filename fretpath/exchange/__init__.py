"""Open file formats in and out, through music21."""
