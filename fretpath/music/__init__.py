"""The music that is played, with no instrument yet."""
