"""What is taught: order, marking, drills."""
