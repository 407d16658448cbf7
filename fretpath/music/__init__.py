"""What is played, with no instrument yet."""
