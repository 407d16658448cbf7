"""The lesson: tunes in order, answers marked, drills."""
