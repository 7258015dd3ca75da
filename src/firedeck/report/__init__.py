"""The record of a reading as one page that others can audit."""
