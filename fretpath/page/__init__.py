"""Pages to hand out: text in the trade's own forms."""
