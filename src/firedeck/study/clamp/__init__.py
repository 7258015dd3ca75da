"""Playing with a predicted joint: one setting after another on bodies that are condensed once."""
