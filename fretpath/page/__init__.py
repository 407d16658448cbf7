"""What is handed out: text in the trade's own forms."""
