"""Prints whose truth is known: what the reader says of them against what is true."""
